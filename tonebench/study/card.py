# SPDX-License-Identifier: GPL-3.0-or-later
"""The result card of a circuit with its hook-up: the figures that builders compare.

Loaded resonance, input and output impedance, low corner, gain and polarity, treble lost
at a lower volume, hiss and headroom. Judges nothing, and knows no words.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from tonebench.circuit.controls import Knob, Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import GROUND, Capacitor, Part, Resistor
from tonebench.errors import CircuitError
from tonebench.network.impedance import impedance, seen_by_load, seen_by_source
from tonebench.network.nodal import Network
from tonebench.network.response import response
from tonebench.network.roots import find_roots
from tonebench.study.bleed import bleed_parts
from tonebench.study.features import find_features
from tonebench.study.headroom import Headroom, headroom
from tonebench.study.hiss import hiss, treble_setting
from tonebench.study.knobs import KnobTrait
from tonebench.study.turned import Turned

IMPEDANCE_HZ = (100.0, 1000.0, 5000.0)
#: Lowest strings (equal temperament, A4 = 440 Hz): a bass's low B and E, a guitar's E.
STRINGS_HZ = {"low B": 30.868, "bass E": 41.203, "guitar E": 82.407}
#: Where gain and polarity are told.
GAIN_HZ = 500.0
#: Treble is told here, against the gain at 500 Hz.
TREBLE_HZ = 5000.0
#: A load of less than this many times what drives it is told (common practice: 10).
WANTED_RATIO = 10.0
_OUTPUT_HZ = 1000.0
_LOWER_VOLUME = 7.0
_MOST_HZ = 1e6


@dataclass(frozen=True, slots=True)
class Resonance:
    """A pickup under its load: its peak (None: damped away) and its −3 dB point."""

    peak_hz: float | None
    peak_db: float | None
    q: float | None
    corner_hz: float | None


@dataclass(frozen=True, slots=True)
class Load:
    """What an input's source looks into at one frequency, and its own impedance.

    `source_ohm` is None for an ideal source.
    """

    frequency_hz: float
    input_ohm: float
    source_ohm: float | None

    @property
    def ratio(self) -> float | None:
        """The load over what drives it."""
        return self.input_ohm / self.source_ohm if self.source_ohm else None


@dataclass(frozen=True, slots=True)
class InputCard:
    """What one input does at the setting of the card.

    `gain_db` is −inf for a silent one; `corner_hz` is None where the low end goes on
    below 1 Hz; `lost_db` says what each of `STRINGS_HZ` loses against the passband.
    """

    input: str
    resonance: Resonance | None
    loads: tuple[Load, ...]
    gain_db: float
    inverts: bool
    corner_hz: float | None
    lost_db: dict[str, float]


@dataclass(frozen=True, slots=True)
class TrebleLoss:
    """Treble lost with one volume turned from full to 7: at 5 kHz against 500 Hz.

    `bleed` names the parts that let treble by, and `without_db` is what is lost
    without them (None: there are none).
    """

    knob: str
    input: str
    lost_db: float
    bleed: tuple[str, ...] = ()
    without_db: float | None = None


@dataclass(frozen=True, slots=True)
class Card:
    """All figures of one circuit with its hook-up at one setting.

    Attributes
    ----------
    setting : mapping
        Where all controls stand.
    inputs : tuple of InputCard
    output_ohm : float
        Output impedance at 1 kHz, at the worst position of the level controls.
    output_at : mapping
        That position.
    treble : tuple of TrebleLoss
    hiss_v, treble_hiss_v : float or None
        A-weighted noise at the output, volts rms, at the setting and with the most
        treble that one knob gives.
    treble_at : mapping or None
        The knob and position of the latter.
    headroom : Headroom or None
        Largest peak at the jack before an op-amp clips; None if none can.
    """

    setting: Settings
    inputs: tuple[InputCard, ...]
    output_ohm: float
    output_at: Settings
    treble: tuple[TrebleLoss, ...]
    hiss_v: float | None
    treble_hiss_v: float | None
    treble_at: Settings | None
    headroom: Headroom | None


def result_card(turned: Turned, traits: tuple[KnobTrait, ...]) -> Card:
    """Return the figures of a chain where its controls stand.

    Parameters
    ----------
    turned : Turned
        The chain and where its controls stand.
    traits : tuple of KnobTrait
        What its controls do; says which of them are volumes.
    """
    chain, setting = turned.chain, turned.start
    volumes = [
        trait.control.name
        for trait in traits
        if trait.kind == "level" and isinstance(trait.control, Knob)
    ]
    try:
        bright = treble_setting(chain, setting)
    except CircuitError:  # a knob at its end shorts the source
        bright = None
    output_ohm, output_at = _output(turned, volumes)
    return Card(
        setting=setting,
        inputs=tuple(_input(turned, k) for k in range(len(chain.sources))),
        output_ohm=output_ohm,
        output_at=output_at,
        treble=tuple(loss for name in volumes for loss in _treble_losses(turned, name)),
        hiss_v=hiss(chain, setting).weighted_v,
        treble_hiss_v=None if bright is None else hiss(chain, bright).weighted_v,
        treble_at=None
        if bright is None
        else {
            name: place for name, place in bright.items() if place != turned.start[name]
        },
        headroom=headroom(chain, setting),
    )


# -- inputs ----------------------------------------------------------------------------


def _input(turned: Turned, k: int) -> InputCard:
    chain, setting = turned.chain, turned.start
    name = chain.sources[k].input
    port = seen_by_source(chain, name)
    looked = np.abs(
        impedance(Network(port.chain), setting, IMPEDANCE_HZ, port.node, port.back)
    )
    own = _source_ohm(chain, name, port.node, port.back)
    at_hz = [GAIN_HZ, *STRINGS_HZ.values()]
    answers = response(turned.network, setting, at_hz)[k]
    with np.errstate(divide="ignore"):
        levels = 20 * np.log10(np.abs(answers))
    corner, passband_db = _low_corner(turned, k)
    return InputCard(
        input=name,
        resonance=_resonance(turned, k, port.node, port.back),
        loads=tuple(
            Load(hz, float(ohm), own[hz] if own else None)
            for hz, ohm in zip(IMPEDANCE_HZ, looked, strict=True)
        ),
        gain_db=float(levels[0]),
        inverts=bool(answers[0].real < 0),
        corner_hz=corner,
        lost_db={}
        if passband_db is None
        else {
            string: passband_db - float(level)
            for string, level in zip(STRINGS_HZ, levels[1:], strict=True)
        },
    )


def _source_ohm(
    chain: Chain, name: str, node: str, back: str
) -> dict[float, float] | None:
    """Return the impedance of what drives an input; None for an ideal source."""
    own = (f"pickup.{name}", f"source.{name}")
    parts: list[Part] = [
        part
        for part in chain.parts
        if part.ref in own or part.ref.startswith(f"pickup.{name}.")
    ]
    if not parts:
        return None
    source = tuple(each for each in chain.sources if each.input == name)
    alone = replace(chain, parts=tuple(parts), sources=source, output=node, controls=())
    found = np.abs(impedance(Network(alone), {}, IMPEDANCE_HZ, node, back))
    return dict(zip(IMPEDANCE_HZ, found.tolist(), strict=True))


def _resonance(turned: Turned, k: int, node: str, back: str) -> Resonance | None:
    """Return what is left of a coil's own peak at its terminals; None without one."""
    chain = turned.chain
    name = chain.sources[k].input
    if back != GROUND or not any(
        part.ref == f"pickup.{name}" and not isinstance(part, (Resistor, Capacitor))
        for part in chain.parts
    ):
        return None
    roots = find_roots(Network(replace(chain, output=node)), turned.start)[k]
    features = find_features(roots, highest_hz=_MOST_HZ)
    corner = next((f.frequency_hz for f in features if f.kind == "low-pass"), None)
    peaks = [f for f in features if f.kind == "peak"]
    if not peaks:
        return Resonance(None, None, None, corner)
    peak = peaks[-1]
    return Resonance(peak.frequency_hz, peak.level_db, peak.q, corner)


def _low_corner(turned: Turned, k: int) -> tuple[float | None, float | None]:
    """Return the low corner and the gain of the passband above it."""
    roots = find_roots(turned.network, turned.start)[k]
    if roots.is_silent:
        return None, None
    for feature in find_features(roots, lowest_hz=1.0):
        if feature.kind == "high-pass":
            return feature.frequency_hz, feature.level_db
    return None, None


# -- output and volumes ----------------------------------------------------------------


def _output(turned: Turned, volumes: list[str]) -> tuple[float, Settings]:
    """Return the worst output impedance, and where, if the volumes change it."""
    port = seen_by_load(turned.chain)
    network = Network(port.chain)
    found: list[tuple[float, Settings]] = []
    error = CircuitError("")
    settings: list[Settings] = [{name: p / 2} for name in volumes for p in range(21)]
    for changes in settings or [{}]:
        full = {**turned.start, **changes}
        try:
            ohm = impedance(network, full, [_OUTPUT_HZ], port.node, port.back)[0]
        except CircuitError as unsolved:
            error = unsolved
            continue
        found.append((float(abs(ohm)), changes))
    if not found:
        raise error
    worst, at = max(found, key=lambda each: each[0])
    least = min(ohm for ohm, _ in found)
    return worst, at if worst > 1.01 * least else {}


def _treble_losses(turned: Turned, knob: str) -> list[TrebleLoss]:
    circuit = turned.chain.circuit
    bleed = bleed_parts(circuit, knob)
    lost = _lost_db(turned, knob)
    without: dict[str, float] = {}
    if bleed:
        kept = tuple(part for part in turned.chain.parts if part.ref not in bleed)
        opened = Turned(replace(turned.chain, parts=kept), turned.start)
        without = _lost_db(opened, knob)
    return [
        TrebleLoss(
            knob, name, each, bleed if name in without else (), without.get(name)
        )
        for name, each in lost.items()
    ]


def _lost_db(turned: Turned, knob: str) -> dict[str, float]:
    """Return the treble lost by input; inputs that the knob hardly turns left out."""
    settings = [{knob: 10.0}, {knob: _LOWER_VOLUME}]
    levels = turned.levels_db(settings, np.array([GAIN_HZ, TREBLE_HZ]))
    with np.errstate(invalid="ignore"):
        change = levels[1] - levels[0]
    return {
        name: float(middle - treble)
        for name, (middle, treble) in zip(turned.network.inputs, change, strict=True)
        if math.isfinite(middle) and math.isfinite(treble) and middle < -1
    }
