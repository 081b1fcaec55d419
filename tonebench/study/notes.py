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
from tonebench.circuit.hookup import Hookup, join
from tonebench.circuit.parts import OpAmp
from tonebench.errors import CircuitError, Fault
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import Roots, find_roots
from tonebench.study.curves import setting_words
from tonebench.units import format_db, format_frequency

#: An ideal source would be shorted by a volume that shorts its pickup.
_SOURCE = Hookup(source_ohm=1.0, inner_farad=0.0)
#: Where gains are looked at: a little more than what an instrument reaches.
_RANGE_HZ = np.geomspace(20, 20_000, 241)
_MIDDLE_HZ = 500.0
#: An ideal op-amp hides that its inputs are swapped; one with a pole doesn't.
_STAND_IN_HZ, _STAND_IN_GAIN = 3e6, 1e5
_MOST_CORNERS = 512
_SILENT_DB = -200.0


@dataclass(frozen=True, slots=True)
class KnobRange:
    """How far a knob moves the gain at any frequency, from where it starts."""

    knob: str
    least_db: float
    least_hz: float
    most_db: float
    most_hz: float

    def __str__(self) -> str:
        if self.most_db == -math.inf:
            return f"{self.knob}: silent where it starts"
        told = []
        if self.least_db < -0.05:
            where = format_frequency(self.least_hz)
            told.append(
                "down to silence"
                if self.least_db <= _SILENT_DB
                else f"{format_db(self.least_db)} at {where}"
            )
        if self.most_db > 0.05:
            where = format_frequency(self.most_hz)
            told.append(f"{format_db(self.most_db)} at {where}")
        return f"{self.knob}: {' and '.join(told) or 'moves nothing in this setting'}"


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
        What each knob does alone, the other controls where they start.
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
        ranges=tuple(_range(network, knob) for knob in circuit.knobs),
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


def _range(network: Network, knob: Knob) -> KnobRange:
    """Return the range over a knob's turn, summed over inputs driven alike."""
    start = _db(response(network, {}, _RANGE_HZ).sum(axis=0))
    if start.max() <= _SILENT_DB:
        return KnobRange(knob.name, -math.inf, 0.0, -math.inf, 0.0)
    changes = np.array(
        [
            _db(response(network, {knob.name: position}, _RANGE_HZ).sum(axis=0)) - start
            for position in (0.0, 2.5, 5.0, 7.5, 10.0)
        ]
    )
    low, high = changes.min(axis=0), changes.max(axis=0)
    least, most = int(low.argmin()), int(high.argmax())
    return KnobRange(
        knob=knob.name,
        least_db=float(low[least]),
        least_hz=float(_RANGE_HZ[least]),
        most_db=float(high[most]),
        most_hz=float(_RANGE_HZ[most]),
    )


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
