# SPDX-License-Identifier: GPL-3.0-or-later
"""Doubts about values: what is usual passes, what was meant otherwise is offered.

The limits are common practice, no source.
"""

import pytest

from tonebench.circuit.plausible import doubt
from tonebench.units import parse_value

UNITS = {"resistor": "Ω", "pot": "Ω", "capacitor": "F", "inductor": "H"}


def doubt_about(kind: str, written: str | float) -> tuple[str, str] | None:
    return doubt(kind, written, parse_value(written, UNITS[kind]))


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("resistor", ["4k7", "10", 470, "4R7", "4.7Ω", "0R1", "100M", 0, "1e6"]),
        ("pot", ["100R", "250R", "1k", "500k", "10M", 250e3]),
        ("capacitor", ["1p", "47n", "4u7", "220u", "1000uF", "10m", "4.7e-8", 1e-9]),
        ("inductor", ["1u", "0.56H", 2.2, "100", "560m"]),
    ],
)
def test_usual_values_raise_no_doubt(kind: str, values: list[str | float]) -> None:
    assert [doubt_about(kind, value) for value in values] == [None] * len(values)


@pytest.mark.parametrize(
    ("kind", "written", "said"),
    [
        ("capacitor", ".047", ".047 is 0.047 F; meant 47n?"),
        ("capacitor", 0.047, "0.047 is 0.047 F; meant 47n?"),
        ("capacitor", ".0047", ".0047 is 0.0047 F; meant 4n7? otherwise write 4.7m"),
        ("capacitor", "470", "470 is 470 F; meant 470p?"),
        ("capacitor", "22", "22 is 22 F; meant 22u or 22p?"),
        ("capacitor", "22m", "22m is 22 mF; is the prefix right?"),
        ("capacitor", "22M", "22M is 22 MF; m is milli, M is mega"),
        ("capacitor", "0.5p", "0.5p is 0.5 pF; is the prefix right?"),
        ("resistor", "4.7", "4.7 is 4.7 Ω; meant 4k7? otherwise write 4R7"),
        ("resistor", 2.2, "2.2 is 2.2 Ω; meant 2k2? otherwise write 2R2"),
        ("resistor", "1m", "1m is 1 mΩ; m is milli, M is mega"),
        ("resistor", "220M", "220M is 220 MΩ; is the prefix right?"),
        ("pot", 250, "250 is 250 Ω; meant 250k? otherwise write 250R"),
        ("pot", "1m", "1m is 1 mΩ; m is milli, M is mega"),
        ("pot", "22M", "22M is 22 MΩ; is the prefix right?"),
        ("pot", "50R", "50R is 50 Ω; is the prefix right?"),
        ("inductor", "560", "560 is 560 H; meant 560m?"),
        ("inductor", "560n", "560n is 560 nH; is the prefix right?"),
    ],
)
def test_a_doubt_says_what_the_value_is_and_what_may_be_meant(
    kind: str, written: str | float, said: str
) -> None:
    assert "; ".join(doubt_about(kind, written) or ()) == said


@pytest.mark.parametrize("written", ["4R7", "250R", "4.7m"])
def test_the_way_out_that_is_offered_raises_no_doubt(written: str) -> None:
    kind = {"4R7": "resistor", "250R": "pot"}.get(written, "capacitor")
    assert doubt_about(kind, written) is None


@pytest.mark.parametrize("value", [0.0, -470.0, float("nan")])
def test_what_is_refused_elsewhere_raises_no_doubt(value: float) -> None:
    assert doubt("resistor", str(value), value) is None
