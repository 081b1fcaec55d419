# SPDX-License-Identifier: GPL-3.0-or-later
"""What was asked for: hook-ups and comparisons as frozen values, and their files."""
