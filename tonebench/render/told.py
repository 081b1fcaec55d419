# SPDX-License-Identifier: GPL-3.0-or-later
"""What a render made, in words and as values."""

import math
from collections.abc import Sequence

from tonebench.audio.take import Take
from tonebench.circuit.hookup import Chain
from tonebench.plan.after import Step, line_with_after
from tonebench.render.offline import Rendered
from tonebench.units import format_db, format_level, format_value


def take_notice(take: Take, chain: Chain) -> str:
    """Return what a take counts as."""
    if take.loads:
        lines = dict.fromkeys(load.line for load in take.loads)
        return f"what loaded the take is taken out: {'; '.join(lines)}"
    has_pickup = any(part.ref.startswith("pickup.") for part in chain.parts)
    whose = "pickup" if has_pickup else "source"
    return f"the take counts as the {whose}'s own voltage"


def rendered_words(
    take: Take, chain: Chain, done: Rendered, after: Sequence[Step] = ()
) -> str:
    """Return the lines that ``render`` prints."""
    length = done.frames / done.sample_rate_hz
    level = format_level(done.peak_dbfs, "dBFS")
    channels = "1 channel" if done.channels == 1 else f"{done.channels} channels"
    lines = [
        f"{line_with_after(chain.line, after)}: {take_notice(take, chain)}",
        f"wrote {done.path}: {length:.2f} s, {channels} at {done.sample_rate_hz} Hz, "
        f"peak {level}{_volts(done)}",
    ]
    if done.trim_db:
        lines.append(f"trimmed by {format_db(done.trim_db)} to fit")
    if done.peak_dbfs > 0:
        lines.append("over full scale: float holds that, a sound card doesn't")
    lines += done.notices
    return "\n".join(lines)


def _volts(done: Rendered) -> str:
    return "" if done.peak_v is None else f", {format_value(done.peak_v, 'V', 3)}"


def rendered_json(
    take: Take, chain: Chain, done: Rendered, after: Sequence[Step] = ()
) -> dict[str, object]:
    """Return the values that ``render --json`` prints."""
    return {
        "schema": 1,
        "chain": line_with_after(chain.line, after),
        "file": str(done.path),
        "frames": done.frames,
        "channels": done.channels,
        "sample_rate_hz": done.sample_rate_hz,
        "peak_dbfs": None if math.isinf(done.peak_dbfs) else done.peak_dbfs,
        "peak_v": done.peak_v,
        "trim_db": done.trim_db,
        "lead_frames": done.lead_frames,
        **({"after": list(done.after)} if done.after else {}),
        "notices": [take_notice(take, chain), *done.notices],
    }
