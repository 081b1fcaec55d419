# SPDX-License-Identifier: GPL-3.0-or-later
"""The time that ears bear a level, against the table of NIOSH's recommended limit."""

import pytest

from tonebench.study.exposure import exposure_words, minutes_a_day

#: NIOSH, recommended exposure limit: dBA and minutes a day.
TABLE = {85: 480, 88: 240, 91: 120, 94: 60, 97: 30, 100: 15, 103: 7.5}


@pytest.mark.parametrize("level", TABLE)
def test_time_halves_for_every_3_db_as_the_published_table_has_it(level: int) -> None:
    assert minutes_a_day(level) == pytest.approx(TABLE[level], rel=1e-12)


def test_caution_names_levels_with_the_times_of_the_table() -> None:
    told = exposure_words()
    for level in (85, 94, 100):
        assert f"{TABLE[level]}" in told
        assert f"{level} dBA" in told
