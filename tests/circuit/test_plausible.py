# SPDX-License-Identifier: GPL-3.0-or-later
"""Doubts about values: what is usual passes, what was meant otherwise is offered.

The limits are common practice, no source.
"""

import pytest

from tonebench.circuit.plausible import doubt
from tonebench.units import parse_value

UNITS = {
    **{"resistor": "Ω", "pot": "Ω", "inductor": "H"},
    **{"capacitor": "F", "capacitance": "F"},
}


def doubt_about(kind: str, written: str | float) -> tuple[str, str] | None:
    return doubt(kind, written, parse_value(written, UNITS[kind]))


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("resistor", ["4k7", "10", 470, "4R7", "4.7Ω", "0R1", "100M", 0, "1e6"]),
        ("pot", ["100R", "250R", "1k", "500k", "10M", 250e3]),
        ("capacitor", ["1p", "47n", "4u7", "220u", "1000uF", "10m", "4.7e-8", 1e-9]),
        ("capacitance", ["120p", "700pF", "22n", 3e-10, 0]),
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
        ("capacitor", "4700", "4700 is 4700 F; meant 4n7?"),
        ("capacitor", "22", "22 is 22 F; meant 22u or 22p?"),
        ("capacitor", "22m", "22m is 22 mF; is the prefix right?"),
        ("capacitor", "22M", "22M is 22 MF; m is milli, M is mega"),
        ("capacitor", "0.5p", "0.5p is 0.5 pF; is the prefix right?"),
        ("capacitance", "700", "700 is 700 F; meant 700p?"),
        ("capacitance", "333", "333 is 333 F; meant 333p?"),
        ("capacitance", 0.7, "0.7 is 0.7 F; meant 700p?"),
        ("capacitance", "700u", "700u is 700 µF; is the prefix right?"),
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


@pytest.mark.parametrize(
    ("written", "said"),
    [
        # Two digits and a number of zeros, in picofarads: common practice, no source.
        ("333", "333 is 333 F; meant 33n, as the code 333 on a part says?"),
        (104, "104 is 104 F; meant 100n, as the code 104 on a part says?"),
        ("472", "472 is 472 F; meant 4n7, as the code 472 on a part says?"),
        ("105", "105 is 105 F; meant 1u, as the code 105 on a part says?"),
        ("104K", "104K is 104 kF; meant 100n, as the code 104K on a part says?"),
        ("470", "470 is 470 F; meant 470p? as a code on a part, 470 is 47p"),
        ("337", "337 is 337 F; meant 337p?"),  # nothing has seven zeros
    ],
)
def test_a_code_as_printed_on_a_capacitor_is_told(
    written: str | int, said: str
) -> None:
    assert "; ".join(doubt_about("capacitor", written) or ()) == said


@pytest.mark.parametrize("written", ["333", "104K"])
def test_a_code_of_three_digits_is_a_plain_number_on_other_parts(written: str) -> None:
    assert doubt_about("resistor", written) is None


@pytest.mark.parametrize("written", ["4R7", "250R", "4.7m"])
def test_the_way_out_that_is_offered_raises_no_doubt(written: str) -> None:
    kind = {"4R7": "resistor", "250R": "pot"}.get(written, "capacitor")
    assert doubt_about(kind, written) is None


@pytest.mark.parametrize("value", [0.0, -470.0, float("nan")])
def test_what_is_refused_elsewhere_raises_no_doubt(value: float) -> None:
    assert doubt("resistor", str(value), value) is None
