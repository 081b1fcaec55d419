# SPDX-License-Identifier: GPL-3.0-or-later
"""Which parts let treble by around a volume, found by where they lie."""

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.parts import GROUND, Capacitor, Pot, Resistor


def bleed_parts(circuit: Circuit, knob: str) -> tuple[str, ...]:
    """Return the parts that let treble by around a volume.

    A capacitor, or one in series with a resistor, that joins the wiper of a pot to an
    end of its track that isn't ground.
    """
    found: list[str] = []
    for pot in circuit.parts:
        if not isinstance(pot, Pot) or pot.knob != knob:
            continue
        for end in pot.ends:
            if end != GROUND:
                found += _bridge(circuit, pot.wiper, end)
    return tuple(dict.fromkeys(found))


def _bridge(circuit: Circuit, one: str, other: str) -> list[str]:
    pairs = [
        part
        for part in circuit.parts
        if isinstance(part, (Capacitor, Resistor)) and len(set(part.across)) == 2
    ]
    found: list[str] = []
    for part in pairs:
        if set(part.across) == {one, other}:
            found += [part.ref] if isinstance(part, Capacitor) else []
            continue
        ends = set(part.across) & {one, other}
        if not isinstance(part, Capacitor) or len(ends) != 1:
            continue
        (middle,) = set(part.across) - ends
        (rest,) = {one, other} - ends
        for second in pairs:
            if isinstance(second, Resistor) and set(second.across) == {middle, rest}:
                found += [part.ref, second.ref]
    return found
