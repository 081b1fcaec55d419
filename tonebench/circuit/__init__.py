# SPDX-License-Identifier: GPL-3.0-or-later
"""What was drawn: parts, controls, hook-up and their text files. No physics."""
