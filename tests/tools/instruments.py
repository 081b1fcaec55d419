# SPDX-License-Identifier: GPL-3.0-or-later
"""The basses that the shipped takes are played on, and the hands that play them.

Knows strings and strokes, as numbers; no tune. Tensions, pickup strengths and the
numbers of the strokes are common practice, no source.
"""

from dataclasses import replace

from noises import Rub
from string_synthesis import String, Technique

# B follows from a steel core of 0.52 mm (E) down to 0.40 mm (G):
# B = π³·E·d⁴ / (64·T·L²) on a scale of 0.762 m.
SHORT_SCALE = (
    String("E", 28, stiffness=9.0e-5, tension_n=135.0, volts_per_speed=0.33),
    String("A", 33, stiffness=5.2e-5, tension_n=145.0, volts_per_speed=0.30),
    String("D", 38, stiffness=3.5e-5, tension_n=150.0, volts_per_speed=0.23),
    String("G", 43, stiffness=3.0e-5, tension_n=145.0, volts_per_speed=0.18),
)

# The low B from J. A. Kemp, SN Applied Sciences 2 (2020) 636: the 10th partial about
# 100 cents sharp at fret 12, so B = (2^(200/1200) − 1) / 10² there and a quarter of it
# open. The others as above, on a scale of 0.864 m.
LOW_FIVE = (
    String("B", 23, stiffness=3.06e-4, tension_n=150.0, volts_per_speed=0.36),
    String("E", 28, stiffness=6.0e-5, tension_n=170.0, volts_per_speed=0.33),
    String("A", 33, stiffness=3.5e-5, tension_n=180.0, volts_per_speed=0.30),
    String("D", 38, stiffness=2.4e-5, tension_n=185.0, volts_per_speed=0.23),
    String("G", 43, stiffness=2.1e-5, tension_n=180.0, volts_per_speed=0.18),
)

FINGER = Technique(
    place_m=0.165,
    force_n=5.0,
    contact_m=(0.0070, 0.0016),
    pull_s=(0.040, 0.026),
    scrape=0.05,
    glide_cents=12.0,
)
GHOST = Technique(
    place_m=0.175,
    force_n=4.0,
    contact_m=(0.0070, 0.0030),
    pull_s=(0.030, 0.022),
    scrape=0.12,
    glide_cents=0.0,
    stop_scrape=0.024,
    muting_per_s=38.0,
)

# A pick is hard and narrow, lets go at once, and clicks on the windings; it swings
# both ways and always meets the string at nearly the same place.
PLECTRUM = Rub(rise_s=0.0012, fall_s=0.009, centre_hz=1800.0)
DOWN = Technique(
    place_m=0.090,
    force_n=4.5,
    contact_m=(0.0035, 0.0005),
    pull_s=(0.016, 0.009),
    scrape=0.45,
    glide_cents=10.0,
    spread_m=0.004,
    rub=PLECTRUM,
)
UP = replace(DOWN, place_m=0.096, force_n=-4.2, scrape=0.55)
# the edge of the hand on the strings beside the bridge: short, and dull soon
PALM = replace(DOWN, glide_cents=5.0, muting_per_s=5.0, muting_per_cycle=0.016)
PALM_UP = replace(PALM, place_m=UP.place_m, force_n=UP.force_n, scrape=UP.scrape)
# the left hand lies on the strings: no pitch, only the stroke
CHOKED = replace(UP, force_n=-4.0, scrape=0.65, glide_cents=0.0, muting_per_s=45.0)
