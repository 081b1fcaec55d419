# SPDX-License-Identifier: GPL-3.0-or-later
"""Curve families: gain and phase over frequency, for settings of one chain.

The analogue answer is solved directly at every frequency; with a rate, the filter that
renders the sound stands beside it. Draws nothing.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonebench.circuit.controls import Knob, Settings, no_such
from tonebench.circuit.hookup import Chain
from tonebench.digital.cascade import Method, design
from tonebench.errors import RequestError
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots
from tonebench.units import format_position

Real = NDArray[np.float64]

#: What is drawn and listed when no frequencies are asked for: 10 Hz to 24 kHz.
DEFAULT_HZ: Real = np.geomspace(10, 24_000, 481)
_FAMILY_POSITIONS = (0.0, 5.0, 10.0)
_MOST_CURVES = 729
#: Below this ratio, −300 dB, a response is rounding and counts as silence.
_SILENT = 1e-15


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """The response from one input at one setting; −inf dB where nothing comes out.

    `digital_gain_db` is NaN beyond half the rate.
    """

    setting: Settings
    input: str
    frequency_hz: Real
    gain_db: Real
    phase_deg: Real
    digital_gain_db: Real | None = None


def curves(
    chain: Chain,
    settings: Sequence[Settings],
    frequency_hz: ArrayLike = DEFAULT_HZ,
    *,
    sample_rate_hz: float | None = None,
    method: Method = "corrected",
) -> tuple[Curve, ...]:
    """Return one curve per setting and input.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    settings : sequence of mappings
        Positions of controls; those left out stand where they start.
    frequency_hz : array_like, shape (F,)
        Frequencies in Hz, above 0.
    sample_rate_hz : float, optional
        Rate of the filter whose gain is shown beside the circuit's.
    method : {"corrected", "plain"}
        How the filter is designed.
    """
    at_hz = np.atleast_1d(np.asarray(frequency_hz, dtype=float))
    if not (at_hz.size and np.all(at_hz > 0) and np.all(np.isfinite(at_hz))):
        raise RequestError("frequencies must be numbers above 0 Hz")
    if sample_rate_hz is not None and not 1000 <= sample_rate_hz <= 1e6:
        raise RequestError(
            f"rate must be from 1000 to 1000000 Hz, got {sample_rate_hz:g}"
        )
    network = Network(chain)
    found = []
    for changes in settings:
        setting = network.setting(changes)
        answers = response(network, setting, at_hz)
        digital: list[Real | None] = [None] * len(answers)
        if sample_rate_hz is not None:
            is_sampled = at_hz <= sample_rate_hz / 2
            digital = [
                np.where(
                    is_sampled,
                    _db(design(roots, sample_rate_hz, method).response(at_hz)),
                    np.nan,
                )
                for roots in find_roots(network, setting)
            ]
        for name, answer, filtered in zip(
            network.inputs, answers, digital, strict=True
        ):
            phase_deg = np.degrees(np.angle(answer))
            found.append(Curve(setting, name, at_hz, _db(answer), phase_deg, filtered))
    return tuple(found)


def _db(answer: NDArray[np.complex128]) -> Real:
    magnitude = np.abs(answer)
    with np.errstate(divide="ignore"):
        return np.where(magnitude > _SILENT, 20 * np.log10(magnitude), -np.inf)


def family(
    chain: Chain, names: Sequence[str], changes: Settings
) -> tuple[Settings, ...]:
    """Return the settings of a family: all combinations of some controls' positions.

    Knobs stand at 0, 5 and 10, switches at each of their positions; everything else as
    in `changes`.
    """
    controls = {control.name: control for control in chain.controls}
    choices: list[Sequence[float | str]] = []
    names = tuple(dict.fromkeys(names))
    for name in names:
        if name not in controls:
            raise RequestError(no_such("knob or switch", name, controls))
        control = controls[name]
        choices.append(
            _FAMILY_POSITIONS if isinstance(control, Knob) else control.positions
        )
    count = int(np.prod([len(choice) for choice in choices]))
    if count > _MOST_CURVES:
        raise RequestError(
            f"a family of {count} curves can't be read; name fewer controls"
        )
    return tuple(
        {**changes, **dict(zip(names, positions, strict=True))}
        for positions in itertools.product(*choices)
    )


def curve_values(curve: Curve) -> Mapping[str, object]:
    """Return a curve as plain values for JSON, null standing for silence."""
    values: dict[str, object] = {
        "settings": dict(curve.setting),
        "input": curve.input,
        "frequency_hz": curve.frequency_hz.tolist(),
        "gain_db": _with_null(curve.gain_db),
        "phase_deg": [
            phase if np.isfinite(gain) else None
            for phase, gain in zip(
                curve.phase_deg.tolist(), curve.gain_db.tolist(), strict=True
            )
        ],
    }
    if curve.digital_gain_db is not None:
        values["digital_gain_db"] = _with_null(curve.digital_gain_db)
    return values


def _with_null(values: Real) -> list[float | None]:
    return [value if np.isfinite(value) else None for value in values.tolist()]


def setting_words(setting: Settings, names: Sequence[str] = ()) -> str:
    """Return a setting in words ("bass 7½, range high"), or some controls of it."""
    shown = [name for name in setting if not names or name in names]
    return ", ".join(
        f"{name} {format_position(position)}"
        if isinstance(position := setting[name], float | int)
        else f"{name} {position}"
        for name in shown
    )
