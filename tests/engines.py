# SPDX-License-Identifier: GPL-3.0-or-later
"""The engines that can be asked for here: without the kernel there is one alone."""

from tonebench.digital.kernel.engine import compiled

#: Words for the environment variable TONEBENCH_KERNEL; the last one is scipy.
ENGINES = ("auto", "baseline", "off") if compiled() else ("off",)
