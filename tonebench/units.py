# SPDX-License-Identifier: GPL-3.0-or-later
"""Component values, levels and knob positions as texts and as numbers.

Reads both ways of writing values that are found on drawings: the SI prefix behind the
number ("4.7k", "100nF"), and the prefix in place of the decimal point ("4k7", as in
IEC 60062).
Nothing here knows what a resistor is.
"""

import math
import re

from tonebench.errors import ValueTextError

_EXPONENT = {
    "p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "R": 0,
    "k": 3, "K": 3, "M": 6, "Meg": 6, "meg": 6, "MEG": 6, "G": 9,
}  # fmt: skip
_UNIT_SIGN = {
    "Ω": "Ω", "\N{OHM SIGN}": "Ω", "ohm": "Ω", "Ohm": "Ω", "ohms": "Ω",
    "F": "F", "H": "H", "V": "V", "A": "A", "S": "S", "Hz": "Hz",
}  # fmt: skip
_PREFIX = "|".join(sorted(_EXPONENT, key=len, reverse=True))
_UNIT = "|".join(sorted(_UNIT_SIGN, key=len, reverse=True))
_BEHIND = re.compile(
    rf"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{{1,4}})?)\s*({_PREFIX})?\s*({_UNIT})?"
)
_INSIDE = re.compile(rf"([+-]?\d*)({_PREFIX})(\d+)\s*({_UNIT})?")
_POT_LETTER_HINT = "letters differ by region; write linear or audio as the taper"
_POT_VALUE = r"\d+\.?\d*\s*[kM]\d*\s*(?:Ω|ohms?)?"
_POT_LETTER = re.compile(  # the letters that makers use, common practice, no source
    rf"[ABCDGSW][-\s]?{_POT_VALUE}|{_POT_VALUE}[-\s]?[ABCDGSW]", re.IGNORECASE
)

#: A number with a prefix and a unit in any spelling, and what they are read as.
_LOOSE = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d{1,4})?|[+-]?\d*[a-zµμ]\d+)\s*"
    r"(pico|nano|micro|milli|kilo?|mega?|[pnumkgrµμ])?\s*"
    r"(f|fd|farads?|h|hy|henr(?:y|ys|ies)|Ω|ohms?|v|volts?|a|amps?|amperes?"
    r"|s|siemens|hz|hertz)?",
    re.IGNORECASE,
)
_LOOSE_PREFIX = {
    "pico": "p", "nano": "n", "micro": "u", "milli": "m", "kil": "k", "kilo": "k",
    "meg": "M", "mega": "M", "p": "p", "n": "n", "u": "u", "k": "k", "g": "G", "r": "R",
}  # fmt: skip
_LOOSE_UNIT = {"f": "F", "h": "H", "ω": "Ω", "o": "Ω", "v": "V", "a": "A", "s": "S"}
_THOUSANDS = re.compile(r"([+-]?[1-9]\d{0,2})((?:,\d{3})+)(?![\d,])(.*)")

_SIGN_OF_EXPONENT = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}


def parse_value(text: str | float, unit: str = "") -> float:
    """Read a component value such as ``"4k7"``, ``"22n"``, ``"0.56H"`` or ``470``.

    Parameters
    ----------
    text : str or float
        A number with an optional prefix (``p n u µ m R k K M G``, ``m`` is milli and
        ``M`` mega) behind it or in place of the decimal point (IEC 60062), and an
        optional unit.
    unit : str
        The unit that is expected: ``"Ω"``, ``"F"``, ``"H"``, ``"V"``, ``"A"``,
        ``"S"``, ``"Hz"``; a different one in the text is refused. Empty: any.

    Returns
    -------
    float
        The value in the unit, exactly as the decimal text reads.

    Raises
    ------
    ValueTextError
        If `text` is not a value; the message repeats it.

    Examples
    --------
    >>> parse_value("22n")
    2.2e-08
    >>> parse_value("4k7") == parse_value("4.7 kΩ") == 4700
    True
    >>> parse_value("R47")
    0.47
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise ValueTextError(
            f"cannot read {text!r} as a component value", "write it like '4k7' or '22n'"
        )
    if not isinstance(text, str):
        try:
            return _finite(float(text), repr(text))
        except OverflowError:  # a whole number beyond what a float can hold
            return _finite(math.inf, "a number of hundreds of digits")
    stripped = text.strip()
    if match := _BEHIND.fullmatch(stripped):
        number, prefix, sign = match.groups()
    elif match := _INSIDE.fullmatch(stripped):
        whole, prefix, decimals, sign = match.groups()
        number = f"{whole or '0'}.{decimals}"
        if whole in ("+", "-"):
            number = f"{whole}0.{decimals}"
    else:
        raise ValueTextError(
            f"cannot read '{text}' as a component value", _hint_for(stripped, unit)
        )
    found = _UNIT_SIGN[sign] if sign else ("Ω" if prefix == "R" else "")
    if unit and found and found != unit:
        raise ValueTextError(
            f"'{text}' is in {found}, but this value is in {unit}",
            _pot_letter_hint(stripped, unit) or f"write it in {unit}",
        )
    mantissa, _, exponent = number.lower().partition("e")
    scale = int(exponent or 0) + (_EXPONENT[prefix] if prefix else 0)
    return _finite(float(f"{mantissa}e{scale}"), text)


def _finite(value: float, text: str) -> float:
    if not math.isfinite(value):
        raise ValueTextError(f"cannot read '{text}' as a value", "it must be finite")
    return value


def _hint_for(text: str, unit: str) -> str:
    """Return what would be right in place of a text that is not a value."""
    if re.search(r"\d,\d", text):
        return _comma_hint(text)
    if meant := _repaired(text, unit):
        return f"write {meant}"
    farad = printed_capacitance(text) if unit == "F" else None
    if farad is not None:
        return f"as a code on a part, {text} is {format_code(farad)}"
    general = "write it like '4k7', '22n', '0.56H' or '470'"
    return _pot_letter_hint(text, unit) or general


def _pot_letter_hint(text: str, unit: str) -> str:
    is_one = unit in ("", "Ω") and _POT_LETTER.fullmatch(text)
    return _POT_LETTER_HINT if is_one else ""


def _comma_hint(text: str) -> str:
    """Return how to write a number with commas: for thousands, or for decimals."""
    if "." in text:
        return "leave out marks between thousands, and use a decimal point"
    if not (match := _THOUSANDS.fullmatch(text)):
        return f"use a decimal point: '{text.replace(',', '.')}'"
    first, groups, rest = match.groups()
    whole = f"{first}{groups.replace(',', '')}{rest}"
    short = whole
    if _BEHIND.fullmatch(whole):
        short = format_value(parse_value(whole), digits=15).replace(" ", "")
        short = short.replace("µ", "u")
    if groups.count(",") > 1:
        return f"write '{short}'"
    decimal = f"{first}.{groups[1:]}".rstrip("0").rstrip(".") + rest
    return f"for {whole} write '{short}', for {decimal} write '{decimal}'"


def _repaired(text: str, unit: str) -> str:
    """Return a text in quotes with prefix and unit set right, or nothing."""
    if not (match := _LOOSE.fullmatch(text)):
        return ""
    number, prefix, word = (group or "" for group in match.groups())
    number = re.sub("[A-Za-z]", lambda m: _LOOSE_PREFIX.get(m[0].lower(), m[0]), number)
    word = word.casefold()
    sign = "Hz" if word in ("hz", "hertz") else _LOOSE_UNIT.get(word[:1], "")
    if unit and sign not in ("", unit):
        return ""
    sign = sign or unit
    if sign == "F" and prefix in ("m", "M"):  # old drawings write mfd and mf for µF
        return f"'{number}u' for microfarads, '{number}m' for millifarads"
    prefix = _LOOSE_PREFIX.get(prefix.lower(), prefix)
    prefix = "M" if (prefix, sign) == ("m", "Hz") else prefix
    short = f"{number}{prefix}"
    if not (_BEHIND.fullmatch(short) or _INSIDE.fullmatch(short)):
        return ""
    if "R" in short:
        return f"'{short}'" if sign in ("", "Ω") else ""
    return f"'{short}' or '{short}{sign}'" if sign else f"'{short}'"


def printed_capacitance(text: str) -> float | None:
    """Return the farads of a three-digit code as printed on a part; None if it's none.

    Two digits and the number of zeros behind them, in picofarads; a letter at the end
    is the tolerance (common practice, no source).

    Examples
    --------
    >>> printed_capacitance("333"), printed_capacitance("104K")
    (3.3e-08, 1e-07)
    >>> printed_capacitance("33n")
    """
    match = re.fullmatch(r"([1-9]\d)([0-6])[A-Z]?", text, re.ASCII)
    return float(f"{match[1]}e{int(match[2]) - 12}") if match else None


def parse_share(text: str | float) -> float:
    """Read a tolerance such as ``"5%"`` (or a plain share, 0.05) as a share of one.

    Examples
    --------
    >>> parse_share("1%")
    0.01
    """
    if isinstance(text, str) and (
        match := re.fullmatch(r"±?\s*(\d+\.?\d*|\.\d+)\s*%", text.strip())
    ):
        share = float(f"{match[1]}e-2")
    elif isinstance(text, (int, float)) and not isinstance(text, bool):
        share = float(text)
    else:
        raise ValueTextError(
            f"cannot read '{text}' as a tolerance", "write it like '5%'"
        )
    if not 0 <= share < 1:
        raise ValueTextError(
            f"tolerance must be from 0 to below 100 %, got '{text}'",
            "write it like '5%'",
        )
    return share


def format_value(value: float, unit: str = "", digits: int = 4) -> str:
    """Write a value with its SI prefix, as tables and sentences show it.

    Examples
    --------
    >>> format_value(4700, "Ω"), format_value(2.2e-8, "F"), format_value(0, "Ω")
    ('4.7 kΩ', '22 nF', '0 Ω')
    """
    if value == 0 or not math.isfinite(value):
        return f"{value:g} {unit}".rstrip()
    rounded = float(f"{value:.{digits}g}")
    power = 3 * math.floor(math.log10(abs(rounded)) / 3 + 1e-12)
    power = min(9, max(-12, power))
    scaled = float(f"{rounded / 10.0**power:.{digits}g}")
    number = f"{scaled:.{max(digits, 3)}g}"  # two digits of 580 are no "5.8e+02"
    return f"{number} {_SIGN_OF_EXPONENT[power]}{unit}".rstrip()


def format_code(value: float) -> str:
    """Write a value in the code of IEC 60062, as parts lists show it.

    Examples
    --------
    >>> format_code(4700), format_code(0.47), format_code(2.2e-8), format_code(470)
    ('4k7', 'R47', '22n', '470R')
    """
    number, _, sign = format_value(value, "").partition(" ")
    sign = {"": "R", "µ": "u"}.get(sign, sign)
    if sign == "m" and value > 0:  # below an ohm the code starts with R
        number, sign = f"{value:.4g}", "R"
    whole, point, decimals = number.partition(".")
    if not point:
        return f"{whole}{sign}"
    return f"{'' if whole == '0' else whole}{sign}{decimals}"


def to_db(ratio: float) -> float:
    """Return 20·lg(ratio): the level of an amplitude ratio in dB; −inf for 0."""
    return 20 * math.log10(ratio) if ratio > 0 else -math.inf


def from_db(level_db: float) -> float:
    """Return the amplitude ratio of a level in dB."""
    return float(10 ** (level_db / 20))


#: 0 dBu in volts rms: the voltage that puts 1 mW into 600 Ω (IEC 60268-17 practice).
DBU_VOLTS_RMS = math.sqrt(0.6)


def format_frequency(frequency_hz: float) -> str:
    """Write a frequency with three significant digits ("82.4 Hz", "4.05 kHz").

    Examples
    --------
    >>> format_frequency(4051.3), format_frequency(38), format_frequency(1000)
    ('4.05 kHz', '38 Hz', '1 kHz')
    """
    return format_value(frequency_hz, "Hz", digits=3)


def format_db(level_db: float) -> str:
    """Write a level with its sign and one decimal ("+4.2 dB", "−0.3 dB", "0.0 dB").

    Examples
    --------
    >>> format_db(4.21), format_db(-0.04), format_db(-3)
    ('+4.2 dB', '0.0 dB', '−3.0 dB')
    """
    if level_db == -math.inf:
        return "silent"
    text = f"{abs(level_db):.1f} dB"
    if float(f"{level_db:.1f}") == 0:
        return text
    return ("+" if level_db > 0 else "−") + text


def format_level(level: float, unit: str) -> str:
    """Write an absolute level with one decimal ("−23.1 LUFS"); "silent" for −inf.

    Examples
    --------
    >>> format_level(-23.06, "LUFS"), format_level(0.04, "dBFS")
    ('−23.1 LUFS', '0.0 dBFS')
    """
    if level == -math.inf:
        return "silent"
    sign = "+" if round(level, 1) > 0 else ""
    return f"{sign}{level:.1f} {unit}".replace("-", "−")


_FRACTIONS = {0.25: "¼", 0.5: "½", 0.75: "¾"}


def format_position(position: float) -> str:
    """Write a knob position 0 to 10 as it is read off a knob ("7½", "5", "3.3").

    Examples
    --------
    >>> format_position(7.5), format_position(5), format_position(0.25)
    ('7½', '5', '¼')
    """
    whole, rest = int(position), position - int(position)
    if rest in _FRACTIONS:
        return f"{whole or ''}{_FRACTIONS[rest]}"
    return f"{position:g}"
