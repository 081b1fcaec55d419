# SPDX-License-Identifier: GPL-3.0-or-later
"""A calibrated take held against a circuit's noise and headroom.

Renders it in volts: what comes to the jack, what comes out, and how high each op-amp is
driven. Says nothing in words.
"""

from dataclasses import dataclass, replace

from tonebench.audio.files import TakeReader
from tonebench.audio.levels import LevelMeter
from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.errors import RequestError
from tonebench.render.route import route
from tonebench.render.runner import RouteRunner
from tonebench.study.headroom import jacks
from tonebench.study.hiss import Hiss
from tonebench.study.take_peaks import TakePeak, take_peaks
from tonebench.units import to_db

_BLOCK_FRAMES = 65536


@dataclass(frozen=True, slots=True)
class Played:
    """What a take comes to.

    Attributes
    ----------
    jack_peak_v : float
        The largest peak at the jack.
    output_rms_v : float
        At the circuit's output, over the whole take.
    over_hiss_db : float
        That over the A-weighted noise at the same setting.
    op_amps : tuple of TakePeak
        How high each is driven; nothing where none can clip.
    """

    jack_peak_v: float
    output_rms_v: float
    over_hiss_db: float
    op_amps: tuple[TakePeak, ...]

    @property
    def nearest(self) -> TakePeak | None:
        """The op-amp that comes nearest to its limit, or passes it most."""
        driven = [peak for peak in self.op_amps if peak.swing_v > 0]
        return max(driven, key=lambda p: p.peak_v / p.swing_v, default=None)


def played(take: Take, chain: Chain, changes: Settings, quiet: Hiss) -> Played:
    """Play a take through a chain, in volts.

    Raises
    ------
    RequestError
        If the take doesn't say how many volts its full scale is.
    """
    if take.full_scale_v is None:
        raise RequestError(
            f"{take.audio.name}: how many volts full scale is isn't known; "
            "write full_scale in its take file"
        )
    at_jack = max(
        (_meter(take, replace(chain, output=node), changes).peak)
        for node in jacks(chain)
    )
    out = _meter(take, chain, changes).rms * take.full_scale_v
    return Played(
        jack_peak_v=at_jack * take.full_scale_v,
        output_rms_v=out,
        over_hiss_db=to_db(out / quiet.weighted_v)
        if quiet.weighted_v
        else float("inf"),
        op_amps=take_peaks(take, chain, changes),
    )


def _meter(take: Take, chain: Chain, changes: Settings) -> LevelMeter:
    with TakeReader(take.audio) as reader:
        info = reader.info
        plan = route(chain, changes, info.sample_rate_hz, info.channels, take)
        runner, meter = RouteRunner(plan), LevelMeter(plan.channels_out)
        for block in reader.blocks(_BLOCK_FRAMES):
            meter.feed(runner.process(block))
    return meter
