# SPDX-License-Identifier: GPL-3.0-or-later
"""What a render made, in words and as values."""

import math

from tonebench.circuit.hookup import Chain
from tonebench.render.offline import Rendered
from tonebench.units import format_db, format_level


def take_notice(chain: Chain) -> str:
    """Return what a take counts as, where its own recording chain isn't known."""
    has_pickup = any(part.ref.startswith("pickup.") for part in chain.parts)
    whose = "pickup" if has_pickup else "source"
    return f"the take counts as the {whose}'s own voltage"


def rendered_words(chain: Chain, done: Rendered) -> str:
    """Return the lines that ``render`` prints."""
    length = done.frames / done.sample_rate_hz
    level = format_level(done.peak_dbfs, "dBFS")
    channels = "1 channel" if done.channels == 1 else f"{done.channels} channels"
    lines = [
        f"{chain.line}: {take_notice(chain)}",
        f"wrote {done.path}: {length:.2f} s, {channels} at {done.sample_rate_hz} Hz, "
        f"peak {level}",
    ]
    if done.trim_db:
        lines.append(f"trimmed by {format_db(done.trim_db)} to fit")
    if done.notice:
        lines.append(done.notice)
    return "\n".join(lines)


def rendered_json(chain: Chain, done: Rendered) -> dict[str, object]:
    """Return the values that ``render --json`` prints."""
    return {
        "schema": 1,
        "chain": chain.line,
        "file": str(done.path),
        "frames": done.frames,
        "channels": done.channels,
        "sample_rate_hz": done.sample_rate_hz,
        "peak_dbfs": None if math.isinf(done.peak_dbfs) else done.peak_dbfs,
        "trim_db": done.trim_db,
        "lead_frames": done.lead_frames,
        "notices": [take_notice(chain)] + ([done.notice] if done.notice else []),
    }
