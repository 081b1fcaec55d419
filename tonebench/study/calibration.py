# SPDX-License-Identifier: GPL-3.0-or-later
"""How many volts digital full scale is: from a recorded tone and a meter's reading.

The tone must be what it is said to be, steady, clean and not clipped; else the meter
and the recording told of different things. Says in words why a tone is refused.
"""

from dataclasses import dataclass

from tonebench.audio.files import TakeReader
from tonebench.audio.take import Take, parse_full_scale, parse_rms
from tonebench.audio.tone import ToneReading, measure_tone
from tonebench.errors import CheckFailed, RequestError, ValueTextError
from tonebench.units import DBU_VOLTS_RMS, format_frequency, parse_value, to_db

#: How far the tone may be from what it is said to be, and what it may hold beside: with
#: 3 % of other sounds a meter that reads all of them shows 0.05 % more.
_NEAR, _MOST_REST, _MOST_SPREAD_DB = 0.01, 0.03, 0.1
_LEAST_S = 1.0
#: Where a cheap meter still reads what is there (common practice, no source).
METER_HZ = (40.0, 1000.0)


@dataclass(frozen=True, slots=True)
class Calibration:
    """What a tone and a meter tell.

    Attributes
    ----------
    take : Take
        The recording of the tone.
    tone : ToneReading
        The tone as it was found.
    meter_v_rms : float
        What the meter read.
    full_scale_v : float
        Volts, peak, at the jack at digital full scale.
    """

    take: Take
    tone: ToneReading
    meter_v_rms: float
    full_scale_v: float

    @property
    def full_scale_dbu(self) -> float:
        """The same as the level of the sine that just reaches full scale."""
        return to_db(self.full_scale_v / 2**0.5 / DBU_VOLTS_RMS)

    @property
    def line_value(self) -> str:
        """What a take file says of it."""
        return f"{self.full_scale_v:.5g}V"

    @property
    def is_beyond_meters(self) -> bool:
        """Whether simple meters read a tone of this frequency wrongly."""
        return not METER_HZ[0] <= self.tone.frequency_hz <= METER_HZ[1]


def calibrate(take: Take, tone: str, meter: str) -> Calibration:
    """Return how many volts digital full scale is.

    Parameters
    ----------
    take : Take
        The recording of a steady sine.
    tone : str
        Its frequency, such as "400" or "1k".
    meter : str
        What a meter read at the jack meanwhile: volts RMS, or dBu.

    Raises
    ------
    RequestError
        If the texts can't be read, or make no sense.
    AudioError
        If the recording can't be read.
    CheckFailed
        If the tone isn't fit to go by.
    """
    try:
        expected_hz = parse_value(tone, "Hz")
    except ValueTextError as error:
        raise RequestError(
            f"--tone: cannot read '{tone}' as a frequency; write it like 400 or 1k"
        ) from error
    volts = parse_rms(meter)
    with TakeReader(take.audio) as reader:
        rate = reader.info.sample_rate_hz
        if not 20 <= expected_hz <= 0.4 * rate:
            raise RequestError(
                f"--tone must be from 20 to {0.4 * rate:.0f} Hz, got {expected_hz:g}"
            )
        found = measure_tone(reader.blocks(), rate)
    if fault := _fault(found, expected_hz):
        raise CheckFailed(f"{take.audio}: can't be gone by: {fault}")
    made = Calibration(take, found, volts, volts * 2**0.5 / found.peak)
    try:
        parse_full_scale(made.line_value)
    except RequestError as error:
        raise RequestError(
            f"--meter {meter} would make full scale {made.full_scale_v:.3g} V, and it "
            "must be from 1 mV to 100 V; is the reading right?"
        ) from error
    return made


def _fault(tone: ToneReading, expected_hz: float) -> str:
    """Return why a tone isn't fit; "" if it is."""
    if tone.seconds < _LEAST_S:
        return (
            "there is no steady tone of more than a second; record five seconds of it"
        )
    if tone.clipped.count:
        return "it is clipped; turn the tone or the gain down and record it again"
    if abs(tone.frequency_hz / expected_hz - 1) > _NEAR:
        return (
            f"the tone is {format_frequency(tone.frequency_hz)}, not "
            f"{format_frequency(expected_hz)}; is it the right recording?"
        )
    if tone.rest > _MOST_REST:
        return (
            f"{100 * tone.rest:.0f} % of other sounds are in it (distortion, hum, "
            f"noise), more than {100 * _MOST_REST:.0f} %; use a clean sine, and more "
            "level"
        )
    if tone.spread_db > _MOST_SPREAD_DB:
        return (
            f"its level moves by {tone.spread_db:.2f} dB, more than "
            f"{_MOST_SPREAD_DB:g} dB; let it settle, touch nothing"
        )
    return ""
