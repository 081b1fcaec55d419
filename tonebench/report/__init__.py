# SPDX-License-Identifier: GPL-3.0-or-later
"""For eyes: tables, plots and pages."""
