# SPDX-License-Identifier: GPL-3.0-or-later
"""What curves and takes mean."""
