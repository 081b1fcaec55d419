# SPDX-License-Identifier: GPL-3.0-or-later
"""How the channels of a take go through a chain: which filters, and what is summed.

What already loaded the pickup when the take was made is divided out here, so that no
load counts twice. Reads and writes no sound.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.digital.bank import Clip, Feed, side_by_side, summed
from tonebench.digital.cascade import Cascade, aligned, design, lead_frames
from tonebench.digital.moving import Designs
from tonebench.errors import AudioError
from tonebench.network.nodal import Network
from tonebench.network.quotient import divided
from tonebench.network.roots import Drive, Roots, find_roots
from tonebench.plan.moves import Changes, moving_setting
from tonebench.render.after import After
from tonebench.units import format_db, format_frequency

Real = NDArray[np.float64]

#: More treble gain than this is said: the noise of the take comes up with it.
MOST_TREBLE_DB = 12.0
_TREBLE_FROM_HZ, _TREBLE_TO_HZ, _MIDDLE_HZ = 2_000.0, 20_000.0, 500.0


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """Which filter each channel of a take goes through, and whether they are summed.

    `cascades` has one entry for all channels, or one per channel, aligned with each
    other; where knobs move these are the first ones, and `designs` has those that
    follow. `lead_frames` is how many frames early they answer, at all frequencies
    alike; `notices` is what a listener should know. `after` is what their output goes
    through then.
    """

    cascades: tuple[Cascade, ...]
    channels_in: int
    is_summed: bool
    lead_frames: float
    notices: tuple[str, ...] = ()
    designs: Designs | None = None
    after: After | None = None

    @property
    def channels_out(self) -> int:
        """How many channels come out."""
        return 1 if self.is_summed else self.channels_in

    @property
    def clip(self) -> Clip:
        """The filters as a bank takes them."""
        if self.is_summed and len(self.cascades) > 1:
            return summed(self.cascades)
        if len(self.cascades) > 1:
            return [[Feed(each, column)] for column, each in enumerate(self.cascades)]
        return side_by_side(self.cascades[0], self.channels_in)


def route(
    chain: Chain,
    changes: Changes,
    sample_rate_hz: float,
    channels: int,
    take: Take | None = None,
) -> Route:
    """Design the filters for a take of `channels` channels; controls may move.

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
    notices = []
    is_summed = len(inputs) > 1
    if is_summed and channels == 1:
        notices.append(f"one channel drives all inputs: {', '.join(inputs)}")
    elif channels > 1 and not is_summed:
        notices.append(
            f"each of the {channels} channels goes through the circuit on its own"
        )
    elif channels != len(inputs):
        raise AudioError(
            f"the take has {channels} channels, but {chain.circuit.name} has "
            f"{len(inputs)} inputs ({', '.join(inputs)}); use a mono take or one with "
            f"{len(inputs)} channels"
        )
    loads = _old_loads(take, channels, inputs) if take is not None else []

    def roots_at(setting: Settings) -> tuple[Roots, ...]:
        drive: Drive = "together" if is_summed and channels == 1 else "each"
        return _without(loads, find_roots(network, setting, drive), channels)

    def design_at(setting: Settings) -> tuple[Cascade, ...]:
        return _designed(roots_at(setting), sample_rate_hz)[0]

    moving = moving_setting(chain.controls, changes)
    roots = roots_at(moving.at(0))
    if loads:
        notices += _treble_notice(roots, sample_rate_hz)
    cascades, lead = _designed(roots, sample_rate_hz)
    designs = None
    if moving.is_moving:
        designs = Designs(moving.schedule(sample_rate_hz), design_at)
    told = tuple(notices)
    return Route(cascades, channels, is_summed, lead, told, designs)


def _designed(
    roots: Sequence[Roots], sample_rate_hz: float
) -> tuple[tuple[Cascade, ...], float]:
    """Return the filters, aligned if there are several, and the lead that is left."""
    cascades = tuple(design(found, sample_rate_hz) for found in roots)
    leads = [lead_frames(*both) for both in zip(cascades, roots, strict=True)]
    if len(cascades) == 1:
        return cascades, leads[0]
    return tuple(map(aligned, cascades, leads)), 0.0


def _old_loads(take: Take, channels: int, inputs: Sequence[str]) -> list[Roots]:
    """Return what loaded the take, channel by channel or once for all of them.

    The take's pickups go to the inputs of their names, or else are in the order of the
    channels.
    """
    loads = [
        find_roots(Network(chain), {}, drive="together")[0] for chain in take.loads
    ]
    if len(loads) > 1 and len(loads) != channels:
        has = "1 channel" if channels == 1 else f"{channels} channels"
        raise AudioError(
            f"{take.audio.name}: its take file names {len(loads)} pickups, but it has "
            f"{has}"
        )
    names = list(take.recorded.pickups) if take.recorded else []
    if len(loads) > 1 and set(names) == set(inputs):
        loads = [loads[names.index(name)] for name in inputs]
    return loads


def _without(
    loads: Sequence[Roots], roots: tuple[Roots, ...], channels: int
) -> tuple[Roots, ...]:
    """Divide by what loaded the take: H_total/H_recorded, channel by channel."""
    if not loads:
        return roots
    count = max(len(roots), len(loads) if channels > 1 else 1)
    pairs = [
        (roots[k if len(roots) > 1 else 0], loads[k if len(loads) > 1 else 0])
        for k in range(count)
    ]
    return tuple(divided(total, load) for total, load in pairs)


def _treble_notice(roots: Sequence[Roots], sample_rate_hz: float) -> list[str]:
    """Return what is said of the channel whose treble is lifted most, if it is much."""
    top = min(_TREBLE_TO_HZ, 0.45 * sample_rate_hz)
    hz = np.geomspace(min(_TREBLE_FROM_HZ, top / 2), top, 60)
    most_db, where_hz = MOST_TREBLE_DB, 0.0
    for found in roots:
        if found.is_silent:
            continue
        middle = np.abs(found.response(np.array([_MIDDLE_HZ])))[0]
        lift_db = 20 * np.log10(np.abs(found.response(hz)) / middle)
        k = int(np.argmax(lift_db))
        if lift_db[k] > most_db:
            most_db, where_hz = float(lift_db[k]), float(hz[k])
    if not where_hz:
        return []
    return [
        f"from the take to this clip, with the old load taken out, "
        f"{format_frequency(where_hz)} rises by {format_db(most_db)} against "
        f"{_MIDDLE_HZ:g} Hz; the take's hiss rises with it"
    ]
