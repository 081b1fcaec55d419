# SPDX-License-Identifier: GPL-3.0-or-later
"""The colours of pictures, on light paper and on dark.

A and B are told apart by dashes as well, so that colour alone never carries the answer.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours as #rrggbb: of text and paper, of A, of B and of what is between them."""

    ink: str
    paper: str
    grid: str
    a: str
    b: str
    difference: str


LIGHT = Theme("#22211e", "#ffffff", "#d8d4cc", "#0072B2", "#D55E00", "#5b5750")
DARK = Theme("#e9e5dc", "#1c1b19", "#3a3833", "#56B4E9", "#E69F00", "#b3ada1")
