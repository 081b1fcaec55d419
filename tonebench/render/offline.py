# SPDX-License-Identifier: GPL-3.0-or-later
"""A take through a circuit, block by block: the same at any length and block size.

Puts the filters of a chain behind the channels of a take. Knows nothing of comparisons
and of how loud things should be.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.files import ClipWriter, TakeReader
from tonebench.audio.levels import LevelMeter, common_trim_db
from tonebench.audio.outputs import is_same_file
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.digital.cascade import Cascade, aligned, design, lead_frames
from tonebench.digital.runner import Runner
from tonebench.errors import AudioError, RequestError
from tonebench.network.nodal import Network
from tonebench.network.roots import find_roots
from tonebench.units import from_db, to_db

BLOCK_FRAMES = 65536

Real = NDArray[np.float64]
#: Called with the share of the work that is done, 0 to 1.
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """Which filter each channel of a take goes through, and whether they are summed.

    `cascades` has one entry for all channels, or one per channel, aligned with each
    other; `lead_frames` is how many frames early they answer, at all frequencies alike;
    `notice` is what a listener should know of how the take drives the inputs.
    """

    cascades: tuple[Cascade, ...]
    channels_in: int
    is_summed: bool
    lead_frames: float
    notice: str = ""

    @property
    def channels_out(self) -> int:
        """How many channels come out."""
        return 1 if self.is_summed else self.channels_in


def route(
    chain: Chain, changes: Settings, sample_rate_hz: float, channels: int
) -> Route:
    """Design the filters for a take of `channels` channels.

    One input: every channel goes through the circuit on its own. Several inputs: a take
    with as many channels drives them one by one, a mono take drives all of them; the
    output is one channel, the sum.

    Raises
    ------
    RequestError
        For an unknown control or a position out of range.
    CircuitError
        If the circuit has no stable answer at this setting.
    AudioError
        If the take has neither one channel nor as many as there are inputs.
    """
    network = Network(chain)
    inputs = network.inputs
    if len(inputs) > 1 and channels == 1:
        notice = f"one channel drives all inputs: {', '.join(inputs)}"
        roots = find_roots(network, changes, drive="together")
    elif channels == len(inputs) or len(inputs) == 1:
        notice, roots = "", find_roots(network, changes)
    else:
        raise AudioError(
            f"the take has {channels} channels, but {chain.circuit.name} has "
            f"{len(inputs)} inputs ({', '.join(inputs)}); use a mono take or one with "
            f"{len(inputs)} channels"
        )
    cascades = tuple(design(found, sample_rate_hz) for found in roots)
    leads = [lead_frames(*both) for both in zip(cascades, roots, strict=True)]
    if len(cascades) > 1:
        cascades = tuple(map(aligned, cascades, leads))
        leads = [0.0]
    return Route(cascades, channels, len(inputs) > 1, leads[0], notice)


class RouteRunner:
    """Run a take's blocks through a route; keeps the filters' memory."""

    def __init__(self, plan: Route) -> None:
        self._plan = plan
        if plan.is_summed:
            self._runners = [Runner(cascade, 1) for cascade in plan.cascades]
        else:
            self._runners = [Runner(plan.cascades[0], plan.channels_in)]

    def process(self, block: Real) -> Real:
        """Return the output of one block, shape (frames, channels out)."""
        if not self._plan.is_summed:
            return self._runners[0].process(block)
        total = np.zeros((len(block), 1))
        for k, runner in enumerate(self._runners):
            total += runner.process(block[:, k : k + 1])
        return total

    def reset(self) -> None:
        """Forget all that was heard."""
        for runner in self._runners:
            runner.reset()


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
    notice: str


def render_take(
    take: Path,
    chain: Chain,
    changes: Settings,
    output: Path,
    *,
    subtype: str = "float",
    trim: bool = False,
    force: bool = False,
    block_frames: int = BLOCK_FRAMES,
    progress: Progress = lambda share: None,
) -> Rendered:
    """Render a take through a chain: true gain, sample-aligned, same length.

    Parameters
    ----------
    take, output : Path
        Recording to read, clip to write (``.wav`` or ``.flac``).
    chain : Chain
        The circuit with its hook-up.
    changes : mapping
        Positions of controls; those left out stand where they start.
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
        If the clip would be written over the take; as `route` does.
    CheckFailed
        If the result is over full scale in an integer format, and `trim` is off.
    """
    if is_same_file(take, output):
        raise RequestError(
            f"{output}: is the take itself, and would be lost; give another name"
        )
    with TakeReader(take) as reader:
        info = reader.info
        plan = route(chain, changes, info.sample_rate_hz, info.channels)
        passes = 2 if trim else 1
        writer = ClipWriter(
            output,
            info.sample_rate_hz,
            plan.channels_out,
            subtype=subtype,
            frames_expected=info.frames,
            force=force,
        )

        def outputs(number: int) -> Iterator[Real]:
            runner, done = RouteRunner(plan), number * info.frames
            for block in reader.blocks(block_frames):
                yield runner.process(block)
                done += len(block)
                progress(done / (info.frames * passes))

        trim_db = 0.0
        if trim:
            meter = LevelMeter(plan.channels_out)
            for out in outputs(0):
                meter.feed(out)
            trim_db = common_trim_db([meter.peak_dbfs])
            reader.rewind()
        gain = from_db(trim_db)
        with writer:
            for out in outputs(passes - 1):
                writer.write(out * gain)
    return Rendered(
        path=output,
        frames=writer.frames,
        channels=plan.channels_out,
        sample_rate_hz=info.sample_rate_hz,
        peak_dbfs=to_db(writer.peak),
        trim_db=trim_db,
        lead_frames=plan.lead_frames,
        notice=plan.notice,
    )
