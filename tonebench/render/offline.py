# SPDX-License-Identifier: GPL-3.0-or-later
"""A take through a circuit, block by block: the same at any length and block size.

Knows nothing of comparisons and of how loud things should be.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.clip_files import ClipWriter
from tonebench.audio.files import TakeReader
from tonebench.audio.levels import LevelMeter, common_trim_db
from tonebench.audio.outputs import is_same_file
from tonebench.audio.overlap import Behind, ahead
from tonebench.audio.take import Take
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.plan.after import Step
from tonebench.plan.moves import Changes
from tonebench.render.after import ready
from tonebench.render.route import route
from tonebench.render.stream import played
from tonebench.units import from_db, to_db

BLOCK_FRAMES = 65536

Real = NDArray[np.float64]
#: Called with the share of the work that is done, 0 to 1.
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Rendered:
    """What a render made, and how loud it came out."""

    path: Path
    frames: int
    channels: int
    sample_rate_hz: int
    peak_dbfs: float
    trim_db: float
    lead_frames: float
    peak_v: float | None
    notices: tuple[str, ...]
    after: tuple[Mapping[str, object], ...] = ()


def render_take(
    take: Take,
    chain: Chain,
    changes: Changes,
    output: Path,
    *,
    after: Sequence[Step] = (),
    subtype: str = "float",
    trim: bool = False,
    force: bool = False,
    block_frames: int = BLOCK_FRAMES,
    progress: Progress = lambda share: None,
) -> Rendered:
    """Render a take through a chain: true gain, sample-aligned, same length.

    Parameters
    ----------
    take : Take
        What to play.
    output : Path
        Clip to write (``.wav`` or ``.flac``).
    chain : Chain
        The circuit with its hook-up.
    changes : mapping
        Positions of controls, or moves as lists of [seconds, position]; those left out
        stand where they start.
    after : sequence of Step
        What comes after the circuit, in order.
    subtype : {"float", "pcm24", "pcm16"}
        Sample format of the clip.
    trim : bool
        Turn the whole clip down as far as an integer format needs to hold it.
    force : bool
        Replace an existing clip.
    block_frames : int
        Frames at a time; changes no bit of the result.
    progress : callable
        Told the share that is done.

    Raises
    ------
    RequestError
        If the clip would be written over the take, or what comes after; as `route`
        does.
    InputError, MissingPartError
        As `tonebench.render.after.ready` does; if a plug-in fails while it plays.
    CheckFailed
        If the result is over full scale in an integer format, and `trim` is off.
    """
    if is_same_file(take.audio, output):
        raise RequestError(
            f"{output}: is the take itself, and would be lost; give another name"
        )
    if any(is_same_file(step.path, output) for step in after):
        raise RequestError(
            f"{output}: is what comes after, and would be lost; give another name"
        )
    with TakeReader(take.audio) as reader:
        info = reader.info
        plan = route(chain, changes, info.sample_rate_hz, info.channels, take)
        behind = ready(after, info.sample_rate_hz, plan.channels_out)
        plan = replace(plan, after=behind)
        passes = 2 if trim else 1
        writer = ClipWriter(
            output,
            info.sample_rate_hz,
            plan.channels_out,
            subtype=subtype,
            frames_expected=info.frames,
            force=force,
        )

        def play(number: int, take_in: Callable[[Real], object]) -> None:
            done = number * info.frames
            with (
                ahead(reader.blocks(block_frames)) as blocks,
                closing(played([plan], blocks)) as stream,
                Behind(take_in) as end,
            ):
                for block, (output,) in stream:
                    end.put(output)
                    done += len(block)
                    progress(done / (info.frames * passes))

        trim_db = 0.0
        if trim:
            meter = LevelMeter(plan.channels_out)
            play(0, meter.feed)
            trim_db = common_trim_db([meter.peak_dbfs])
            reader.rewind()
        gain = from_db(trim_db)
        with writer:
            play(passes - 1, lambda output: writer.write(output * gain))
    volts = take.full_scale_v
    return Rendered(
        path=output,
        frames=writer.frames,
        channels=plan.channels_out,
        sample_rate_hz=info.sample_rate_hz,
        peak_dbfs=to_db(writer.peak),
        trim_db=trim_db,
        lead_frames=plan.lead_frames,
        # behind a recorded cabinet or a plug-in there are no volts
        peak_v=None if volts is None or behind else volts * writer.peak,
        notices=plan.notices + (behind.notices if behind else ()),
        after=tuple(behind.facts) if behind else (),
    )
