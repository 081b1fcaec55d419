# SPDX-License-Identifier: GPL-3.0-or-later
"""The inner loops in C, and the choice between them and scipy."""
