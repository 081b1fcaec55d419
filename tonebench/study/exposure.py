# SPDX-License-Identifier: GPL-3.0-or-later
"""How long one may listen at a level before it harms: what workplaces go by.

Knows decibels at the ear only, which no file tells: a sound level meter does.
"""

#: NIOSH, "Criteria for a Recommended Standard: Occupational Noise Exposure", 1998.
_LIMIT_DBA, _LIMIT_MINUTES, _HALVING_DB = 85.0, 480.0, 3.0


def minutes_a_day(level_dba: float) -> float:
    """Return how many minutes a day a level is taken for bearable.

    480 minutes at 85 dBA, and half of it for every 3 dB more.

    Parameters
    ----------
    level_dba : float
        The level at the ear, A-weighted, in dB re 20 µPa.

    Examples
    --------
    >>> minutes_a_day(94)
    60.0
    """
    return float(_LIMIT_MINUTES / 2 ** ((level_dba - _LIMIT_DBA) / _HALVING_DB))


def exposure_words() -> str:
    """Return the caution for ears, with three levels to go by.

    >>> exposure_words()  # doctest: +ELLIPSIS
    'Long and loud listening damages hearing: workplaces go by 480 minutes a day at ...'
    """
    first, *others = (
        f"{minutes_a_day(level):.0f}{unit} at {level} dBA"
        for level, unit in ((85, " minutes a day"), (94, ""), (100, ""))
    )
    told = ", ".join([first, *others])
    return f"Long and loud listening damages hearing: workplaces go by {told} (NIOSH)."
