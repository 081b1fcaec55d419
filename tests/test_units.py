# SPDX-License-Identifier: GPL-3.0-or-later
"""Values as builders write them, against the code of IEC 60062 and plain arithmetic."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tonebench.errors import InputError, ValueTextError
from tonebench.units import (
    DBU_VOLTS_RMS,
    format_code,
    format_db,
    format_frequency,
    format_position,
    format_value,
    from_db,
    parse_share,
    parse_value,
    printed_capacitance,
    to_db,
)


@pytest.mark.parametrize(
    ("code", "ohm"),
    [
        ("R47", 0.47),
        ("4R7", 4.7),
        ("470R", 470),
        ("4K7", 4.7e3),
        ("47K", 47e3),
        ("47K3", 47.3e3),
        ("4M7", 4.7e6),
    ],
)
def test_resistor_codes_of_iec_60062_are_read(code: str, ohm: float) -> None:
    # Examples of IEC 60062 as listed in the encyclopedia article "RKM code".
    assert parse_value(code, "Ω") == ohm


@pytest.mark.parametrize(
    ("code", "farad"), [("4n7", 4.7e-9), ("p47", 0.47e-12), ("4u7", 4.7e-6)]
)
def test_capacitor_codes_put_the_prefix_at_the_decimal_point(
    code: str, farad: float
) -> None:
    # IEC 60062 for capacitors, from memory.
    assert parse_value(code, "F") == farad


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4k7", "Ω", 4700),
        ("4.7k", "Ω", 4700),
        ("4.7 kΩ", "Ω", 4700),
        ("4.7k\N{OHM SIGN}", "Ω", 4700),
        ("4700", "Ω", 4700),
        (4700.0, "Ω", 4700),
        ("2n2", "F", 2.2e-9),
        ("100n", "F", 1e-7),
        ("100nF", "F", 1e-7),
        ("1u", "F", 1e-6),
        ("1uF", "F", 1e-6),
        ("1µ", "F", 1e-6),  # micro sign
        ("1\N{GREEK SMALL LETTER MU}", "F", 1e-6),
        ("0.56H", "H", 0.56),
        (".56", "H", 0.56),
        ("1M", "Ω", 1e6),
        ("1m", "A", 1e-3),
        ("1Meg", "Ω", 1e6),
        ("4.7e-9", "F", 4.7e-9),
        ("-470", "Ω", -470),
        ("-4k7", "Ω", -4700),
        ("-k47", "Ω", -470),
        ("  22n ", "F", 2.2e-8),
        ("9V", "V", 9),
        ("3MHz", "Hz", 3e6),
        ("0", "Ω", 0),
    ],
)
def test_a_value_is_read_exactly_as_its_decimal_text(
    text: str | float, unit: str, value: float
) -> None:
    assert parse_value(text, unit) == value


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("4,7k", "use a decimal point: '4.7k'"),
        ("A250k", "letters differ by region; write linear or audio"),
        ("250kA", "letters differ by region; write linear or audio"),
        ("B 500 k", "letters differ by region; write linear or audio"),
        ("4k7k", "write it like '4k7'"),
        ("k", "write it like '4k7'"),
        ("", "write it like '4k7'"),
        ("4x7", "write it like '4k7'"),
        ("4k7 or 5k6", "write it like '4k7'"),
        ("nan", "write it like '4k7'"),
        ("1e400", "it must be finite"),
        ("1e99999", "write it like '4k7'"),
        (math.inf, "it must be finite"),
        (math.nan, "it must be finite"),
        (10**400, "it must be finite"),
        (True, "write it like '4k7'"),
        (None, "write it like '4k7'"),
    ],
)
def test_a_text_that_is_no_value_is_refused_with_a_hint(
    text: object, hint: str
) -> None:
    with pytest.raises(ValueTextError) as caught:
        parse_value(text, "Ω")  # type: ignore[arg-type]
    assert hint in caught.value.hint
    assert hint in str(caught.value)


@pytest.mark.parametrize(
    ("text", "unit", "hint"),
    [
        ("1,000", "Ω", "for 1000 write '1k', for 1 write '1'"),
        ("4,700", "Ω", "for 4700 write '4.7k', for 4.7 write '4.7'"),
        ("12,345", "Ω", "for 12345 write '12.345k', for 12.345 write '12.345'"),
        ("1,000p", "F", "for 1000p write '1n', for 1p write '1p'"),
        ("1,000n", "F", "for 1000n write '1u', for 1n write '1n'"),
        ("1,000,000", "Ω", "write '1M'"),
        ("0,047u", "F", "use a decimal point: '0.047u'"),
        ("4,70k", "Ω", "use a decimal point: '4.70k'"),
        ("1.000,5", "Ω", "leave out marks between thousands, and use a decimal point"),
        ("1,000.5", "Ω", "leave out marks between thousands, and use a decimal point"),
    ],
)
def test_a_comma_is_read_as_what_it_can_be(text: str, unit: str, hint: str) -> None:
    with pytest.raises(ValueTextError) as caught:
        parse_value(text, unit)
    assert caught.value.hint == hint


@pytest.mark.parametrize(
    ("text", "unit", "offers"),
    [
        ("33nf", "F", ["33n", "33nF"]),
        ("33NF", "F", ["33n", "33nF"]),
        ("4N7", "F", ["4n7", "4n7F"]),
        ("10 uf", "F", ["10u", "10uF"]),
        ("10 microfarads", "F", ["10u", "10uF"]),
        ("4.7KOhmS", "Ω", ["4.7k", "4.7kΩ"]),
        ("4.7k OHM", "Ω", ["4.7k", "4.7kΩ"]),
        ("4k7 Ohms", "Ω", ["4k7", "4k7Ω"]),
        ("4.7 kilohms", "Ω", ["4.7k", "4.7kΩ"]),
        ("470r", "Ω", ["470R"]),
        ("4r7", "Ω", ["4R7"]),
        ("560mh", "H", ["560m", "560mH"]),
        ("0.56 henry", "H", ["0.56", "0.56H"]),
        ("9 volts", "V", ["9", "9V"]),
        ("1.2ma", "A", ["1.2m", "1.2mA"]),
        ("3mhz", "Hz", ["3M", "3MHz"]),  # nobody means millihertz
        ("22N", "", ["22n"]),
    ],
)
def test_a_value_with_its_unit_written_otherwise_is_offered_repaired(
    text: str, unit: str, offers: list[str]
) -> None:
    with pytest.raises(ValueTextError) as caught:
        parse_value(text, unit)
    quoted = (f"'{offer}'" for offer in offers)
    assert caught.value.hint == f"write {' or '.join(quoted)}"
    assert len({parse_value(offer, unit) for offer in offers}) == 1


@pytest.mark.parametrize("text", ["22mfd", "22MFD", "22 mf"])
def test_an_m_before_farads_may_be_micro_or_milli(text: str) -> None:
    # Old drawings write mfd for microfarads: common practice, no source.
    hint = "write '22u' for microfarads, '22m' for millifarads"
    with pytest.raises(ValueTextError, match=hint):
        parse_value(text, "F")


@pytest.mark.parametrize(
    ("text", "unit"),
    [("33nf", "Ω"), ("33nh", "F"), ("470r", "F"), ("10KK", "Ω"), ("4k7kohm", "Ω")],
)
def test_a_value_that_no_unit_repairs_gets_the_general_hint(
    text: str, unit: str
) -> None:
    with pytest.raises(ValueTextError) as caught:
        parse_value(text, unit)
    assert caught.value.hint == "write it like '4k7', '22n', '0.56H' or '470'"


@pytest.mark.parametrize("letter", "ABCDGSW")
def test_pot_letters_are_known_before_and_after_a_value(letter: str) -> None:
    # The letters that makers print on pots: common practice, no source.
    texts = (f"{letter}250k", f"250k{letter}", f"{letter.lower()}1M", f"4K7 {letter}")
    for text in texts:
        with pytest.raises(ValueTextError, match="letters differ by region"):
            parse_value(text, "Ω")


@pytest.mark.parametrize(
    ("text", "unit"), [("10KK", "Ω"), ("X250k", "Ω"), ("9A", "V"), ("250kA", "V")]
)
def test_what_is_no_pot_letter_is_not_taken_for_one(text: str, unit: str) -> None:
    with pytest.raises(ValueTextError) as caught:
        parse_value(text, unit)
    assert "letters" not in caught.value.hint


@pytest.mark.parametrize(
    ("code", "farad"),
    # Two digits and a number of zeros, in picofarads: common practice, no source.
    [("333", 33e-9), ("104", 100e-9), ("472", 4.7e-9), ("220", 22e-12), ("105J", 1e-6)],
)
def test_a_code_of_three_digits_is_read_as_picofarads(code: str, farad: float) -> None:
    assert printed_capacitance(code) == farad


@pytest.mark.parametrize("text", ["33", "3333", "033", "339", "33n", "33 3", "333nF"])
def test_what_is_no_code_of_three_digits_is_not_read_as_one(text: str) -> None:
    assert printed_capacitance(text) is None


def test_a_printed_code_with_its_tolerance_letter_is_told() -> None:
    with pytest.raises(ValueTextError, match="as a code on a part, 333J is 33n"):
        parse_value("333J", "F")


def test_a_value_in_another_unit_is_refused() -> None:
    with pytest.raises(ValueTextError, match="'22nF' is in F, but this value is in Ω"):
        parse_value("22nF", "Ω")


def test_a_value_with_any_unit_is_read_when_none_is_expected() -> None:
    assert parse_value("22nF") == 2.2e-8


MANTISSAS = st.integers(1000, 9999)


@given(MANTISSAS, st.integers(-15, 6))
@settings(deadline=None)
def test_a_written_value_reads_as_itself(mantissa: int, exponent: int) -> None:
    value = float(f"{mantissa}e{exponent}")  # four digits, 1 p to 10 G
    assert parse_value(format_value(value)) == value
    assert parse_value(format_value(value, "F"), "F") == value


@given(MANTISSAS, st.integers(-5, 6))
@settings(deadline=None)
def test_a_written_resistor_code_reads_as_itself(mantissa: int, exponent: int) -> None:
    value = float(f"{mantissa}e{exponent}")
    assert parse_value(format_code(value), "Ω") == value


@given(MANTISSAS, st.integers(-15, -7))
@settings(deadline=None)
def test_a_written_capacitor_code_reads_as_itself(mantissa: int, exponent: int) -> None:
    value = float(f"{mantissa}e{exponent}")  # below 1 mF
    assert parse_value(format_code(value), "F") == value


@given(st.text(max_size=8) | st.floats() | st.integers())
@settings(deadline=None)
def test_reading_a_value_gives_a_finite_number_or_an_input_error(
    text: str | float,
) -> None:
    try:
        value = parse_value(text)
    except InputError:
        return
    assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "share"),
    [("1%", 0.01), ("±5%", 0.05), ("2.5 %", 0.025), (".5%", 0.005), (0.1, 0.1), (0, 0)],
)
def test_a_tolerance_is_read_as_a_share(text: str | float, share: float) -> None:
    assert parse_share(text) == share


@pytest.mark.parametrize("text", ["100%", "-1%", "five", "5", 1, -0.1, math.nan, True])
def test_a_tolerance_out_of_range_is_refused(text: str | float) -> None:
    with pytest.raises(ValueTextError):
        parse_share(text)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (4700, "Ω", "4.7 kΩ"),
        (999.96, "Ω", "1 kΩ"),
        (0.47, "Ω", "470 mΩ"),
        (1e-7, "F", "100 nF"),
        (7e-10, "F", "700 pF"),
        (1e-13, "F", "0.1 pF"),
        (1e6, "Ω", "1 MΩ"),
        (0, "Ω", "0 Ω"),
        (-4700, "Ω", "-4.7 kΩ"),
    ],
)
def test_values_are_shown_with_their_prefix(value: float, unit: str, text: str) -> None:
    assert format_value(value, unit) == text


def test_levels_turn_into_ratios_and_back() -> None:
    assert to_db(10) == 20
    assert to_db(0) == -math.inf
    assert from_db(6) == pytest.approx(1.9952623, rel=1e-7)  # 10^0.3
    assert from_db(to_db(0.123)) == pytest.approx(0.123, rel=1e-12)


def test_zero_dbu_is_a_milliwatt_in_six_hundred_ohms() -> None:
    assert math.isclose(DBU_VOLTS_RMS**2 / 600, 1e-3)
    assert round(DBU_VOLTS_RMS, 7) == 0.7745967


def test_levels_are_shown_with_a_sign_but_zero_without() -> None:
    assert format_db(4.25) in {"+4.2 dB", "+4.3 dB"}
    assert format_db(-3) == "−3.0 dB"
    assert format_db(0.04) == format_db(-0.04) == "0.0 dB"
    assert format_db(-math.inf) == "silent"


def test_frequencies_are_shown_with_three_digits() -> None:
    assert format_frequency(82.4069) == "82.4 Hz"  # E2
    assert format_frequency(4054.6) == "4.05 kHz"


@pytest.mark.parametrize(
    ("position", "text"),
    [(0, "0"), (7.5, "7½"), (0.25, "¼"), (9.75, "9¾"), (3.3, "3.3")],
)
def test_positions_are_shown_as_read_off_a_knob(position: float, text: str) -> None:
    assert format_position(position) == text
