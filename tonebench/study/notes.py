# SPDX-License-Identifier: GPL-3.0-or-later
"""What solving a circuit tells its builder at once: order, gain, flatness, ranges.

Behind the echo of ``check``: figures that prove a file against the paper, and settings
that have no answer. The circuit stands alone, driven by a nearly ideal source.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.hookup import Hookup, Pickup, join
from tonebench.circuit.parts import OpAmp
from tonebench.errors import CircuitError, Fault
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots
from tonebench.study.curves import setting_words
from tonebench.units import format_db, format_frequency

#: An ideal source would be shorted by a volume that shorts its pickup.
_SOURCE = Hookup(source_ohm=1.0, inner_farad=0.0)
#: What passive controls work against: a coil of usual size (common practice, no
#: source). Active circuits hardly notice it, since a knob is told against its start.
_COIL = Pickup("coil", 7000.0, 3.0, 120e-12, losses_ohm=300e3)
_LEAD_FARAD = 500e-12
#: Where gains are looked at: a little more than what an instrument reaches.
_RANGE_HZ = np.geomspace(20, 20_000, 241)
_MIDDLE_HZ = 500.0
#: An ideal op-amp hides that its inputs are swapped; one with a pole doesn't.
_STAND_IN_HZ, _STAND_IN_GAIN = 3e6, 1e5
_MOST_CORNERS = 512
#: Gains below this are rounding.
SILENT_DB = -200.0


@dataclass(frozen=True, slots=True)
class KnobEnd:
    """What a knob does at one end, from one input: its largest change of gain.

    `change_db` is −inf where it silences, inf where it ends a silence; `at_hz` is None
    where it changes all frequencies alike.
    """

    input: str
    change_db: float
    at_hz: float | None

    def __str__(self) -> str:
        if self.change_db == -math.inf:
            return "silent"
        if self.change_db == math.inf:
            return "heard"
        if self.at_hz is None:
            return format_db(self.change_db)
        return f"{format_db(self.change_db)} at {format_frequency(self.at_hz)}"


@dataclass(frozen=True, slots=True)
class KnobRange:
    """What a knob does alone at 0 and at 10, against where it starts, by input."""

    knob: str
    at_0: tuple[KnobEnd, ...]
    at_10: tuple[KnobEnd, ...]

    def __str__(self) -> str:
        told = []
        for low, high in zip(self.at_0, self.at_10, strict=True):
            whose = f" (from {low.input})" if len(self.at_0) > 1 else ""
            moves = any(abs(end.change_db) >= 0.05 for end in (low, high))
            if moves:
                told.append(f"0: {low}, 10: {high}{whose}")
        return f"{self.knob}  {'; '.join(told) or 'moves nothing in this setting'}"


@dataclass(frozen=True, slots=True)
class CircuitNotes:
    """What is worth knowing of a circuit before it is listened to.

    Attributes
    ----------
    order : int
        How many poles it has where its controls start.
    dc_gain_db, middle_gain_db : dict of float
        Gain by input at 0 Hz (−inf: blocked) and at 500 Hz, controls where they start.
    inverts : dict of bool
        Whether an input comes out with its polarity turned.
    flat_within_db : float
        Half the spread of the curve from 20 Hz to 20 kHz with every knob at 5.
    ranges : tuple of KnobRange
        What each knob does alone behind a usual coil, the rest where it starts; left
        out where there are faults.
    faults, warnings : tuple of Fault
        Settings without an answer; settings that oscillate or latch.
    """

    order: int
    dc_gain_db: dict[str, float]
    middle_gain_db: dict[str, float]
    inverts: dict[str, bool]
    flat_within_db: float
    ranges: tuple[KnobRange, ...]
    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()


def circuit_notes(circuit: Circuit) -> CircuitNotes:
    """Solve a circuit where its controls start, at its centre and at all its corners.

    Raises
    ------
    CircuitError
        If it has no answer even where its controls start.
    """
    network = Network(join(circuit, _SOURCE))
    start = network.setting({})
    roots = find_roots(network, start)
    names = network.inputs
    middle = response(network, start, [_MIDDLE_HZ])[:, 0]
    faults, warnings = _judge_corners(circuit)
    return CircuitNotes(
        order=max(len(found.poles) for found in roots),
        dc_gain_db=dict(zip(names, map(_dc_gain_db, roots), strict=True)),
        middle_gain_db=dict(zip(names, _db(middle).tolist(), strict=True)),
        inverts=dict(zip(names, (middle.real < 0).tolist(), strict=True)),
        flat_within_db=_spread_db(network) / 2,
        ranges=() if faults else tuple(_range(circuit, knob) for knob in circuit.knobs),
        faults=faults,
        warnings=warnings,
    )


def _db(answer: NDArray[np.complex128]) -> NDArray[np.float64]:
    return 20 * np.log10(np.maximum(np.abs(answer), 1e-15))


def _dc_gain_db(roots: Roots) -> float:
    if roots.is_silent or np.any(roots.zeros == 0):
        return -math.inf
    return float(_db(roots.at(np.array([1e-6 + 0j])))[0])


def _spread_db(network: Network) -> float:
    knobs = {c.name: 5.0 for c in network.chain.controls if isinstance(c, Knob)}
    gains = _db(response(network, knobs, _RANGE_HZ))
    spread = gains.max(axis=1) - gains.min(axis=1)
    return float(spread.max())


def _range(circuit: Circuit, knob: Knob) -> KnobRange:
    """Return what a knob does behind a usual coil."""
    around = Hookup({"": _COIL}, cable_farad=_LEAD_FARAD, load_ohm=1e6)
    network = Network(join(circuit, around))
    start = response(network, {}, _RANGE_HZ)
    ends = [
        tuple(
            _end(name, _db(from_start), _db(turned))
            for name, turned, from_start in zip(
                network.inputs,
                response(network, {knob.name: position}, _RANGE_HZ),
                start,
                strict=True,
            )
        )
        for position in (0.0, 10.0)
    ]
    return KnobRange(knob.name, *ends)


def _end(
    name: str, start_db: NDArray[np.float64], turned_db: NDArray[np.float64]
) -> KnobEnd:
    if turned_db.max() <= SILENT_DB:
        return KnobEnd(name, -math.inf, None)
    if start_db.max() <= SILENT_DB:
        return KnobEnd(name, math.inf, None)
    change_db = turned_db - start_db
    most = int(np.abs(change_db).argmax())
    is_alike = change_db.max() - change_db.min() < 0.1
    at_hz = None if is_alike else float(_RANGE_HZ[most])
    return KnobEnd(name, float(change_db[most]), at_hz)


def _judge_corners(
    circuit: Circuit,
) -> tuple[tuple[Fault, ...], tuple[Fault, ...]]:
    """Solve every corner; return settings without an answer, and unstable ones."""
    network = Network(join(_with_real_op_amps(circuit), _SOURCE))
    faults: dict[str, Fault] = {}
    warnings: dict[str, Fault] = {}
    for setting in itertools.islice(_corners(circuit), _MOST_CORNERS):
        try:
            found = find_roots(network, setting)
        except CircuitError as error:
            where = setting_words(setting) or "this setting"
            faults.setdefault(str(error), Fault(str(error), f"met with {where}"))
            continue
        if all(roots.is_stable for roots in found):
            continue
        poles = np.concatenate([roots.poles for roots in found])
        worst = poles[np.argmax(poles.real)]
        hz = abs(worst.imag) / (2 * math.pi)
        how = f"oscillates near {format_frequency(hz)}" if hz > 1 else "latches"
        message = f"the circuit {how}"
        where = setting_words(setting)
        hint = "are the inputs of an op-amp swapped?"
        hint = f"met with {where}; {hint}" if where else hint
        warnings.setdefault(how.split()[0], Fault(message, hint))
    return tuple(faults.values()), tuple(warnings.values())


def _corners(circuit: Circuit) -> Iterator[Settings]:
    names = [control.name for control in circuit.controls]
    choices: list[Sequence[float | str]] = [
        (0.0, 10.0) if isinstance(control, Knob) else control.positions
        for control in circuit.controls
    ]
    for positions in itertools.product(*choices):
        yield dict(zip(names, positions, strict=True))


def _with_real_op_amps(circuit: Circuit) -> Circuit:
    parts = tuple(
        replace(part, gbw_hz=_STAND_IN_HZ, open_loop_gain=_STAND_IN_GAIN)
        if isinstance(part, OpAmp) and part.is_ideal
        else part
        for part in circuit.parts
    )
    return replace(circuit, parts=parts)
