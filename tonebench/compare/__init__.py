# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs a plan: A against B on one take, at one level."""
