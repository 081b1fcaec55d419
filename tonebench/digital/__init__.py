# SPDX-License-Identifier: GPL-3.0-or-later
"""From the s-plane to samples: poles and zeros become a running filter."""
