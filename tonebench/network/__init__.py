# SPDX-License-Identifier: GPL-3.0-or-later
"""The physics: exact answers in the s-plane, for a chain at a setting."""
