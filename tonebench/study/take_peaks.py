# SPDX-License-Identifier: GPL-3.0-or-later
"""How high a calibrated take drives each op-amp: whether the real unit clips on it.

Renders the take to where the op-amps' outputs are, in volts. Says nothing in words.
"""

from dataclasses import dataclass, replace

import numpy as np

from tonebench.audio.files import TakeReader
from tonebench.audio.levels import LevelMeter
from tonebench.audio.take import Take
from tonebench.circuit.controls import Settings
from tonebench.circuit.hookup import Chain
from tonebench.circuit.parts import OpAmp
from tonebench.errors import RequestError
from tonebench.render.route import Route, route
from tonebench.render.runner import RouteRunner
from tonebench.study.headroom import swings

_BLOCK_FRAMES = 65536
#: How long a circuit's answer to a click is listened to, in seconds.
_CLICK_S = 2.0


@dataclass(frozen=True, slots=True)
class TakePeak:
    """How high a take drives one op-amp, and how high it may."""

    ref: str
    peak_v: float
    swing_v: float

    @property
    def is_clipped(self) -> bool:
        """Whether the real unit would clip here."""
        return self.peak_v > self.swing_v


def take_peaks(
    take: Take,
    chain: Chain,
    changes: Settings,
    volts: float | None = None,
    *,
    is_bound_enough: bool = False,
) -> tuple[TakePeak, ...]:
    """Return how high a calibrated take drives each op-amp; nothing if none can clip.

    Parameters
    ----------
    take : Take
        What is played; it must be calibrated.
    chain : Chain
        The circuit with its hook-up; the circuit's own op-amps are looked at.
    changes : mapping
        Positions of controls; those left out stand where they start.
    volts : float, optional
        What the battery gives now; default: the circuit's supply.
    is_bound_enough : bool
        Spare an op-amp that can't clip whatever is played at the take's peak its pass
        through the take; its `peak_v` is then the bound that proves it.

    Raises
    ------
    RequestError
        If the take doesn't say how many volts its full scale is.
    """
    swing = swings(chain.circuit, volts)
    if not swing:
        return ()
    if take.full_scale_v is None:
        raise RequestError(
            f"{take.audio.name}: how many volts full scale is isn't known; "
            "write full_scale in its take file"
        )
    nodes = {p.ref: p.out for p in chain.circuit.parts if isinstance(p, OpAmp)}
    with TakeReader(take.audio) as reader:
        info = reader.info
        routes = {
            ref: route(
                replace(chain, output=nodes[ref]),
                changes,
                info.sample_rate_hz,
                info.channels,
                take,
            )
            for ref in swing
        }
        peaks = {}
        if is_bound_enough:
            played = _peak(reader)
            peaks = {
                ref: played * _most_gain(plan, info.sample_rate_hz)
                for ref, plan in routes.items()
            }
        near = {
            ref: RouteRunner(plan)
            for ref, plan in routes.items()
            if peaks.get(ref, np.inf) * take.full_scale_v > swing[ref]
        }
        meters = {ref: LevelMeter(routes[ref].channels_out) for ref in near}
        for block in reader.blocks(_BLOCK_FRAMES) if near else ():
            for ref, runner in near.items():
                meters[ref].feed(runner.process(block))
        peaks |= {ref: meter.peak for ref, meter in meters.items()}
    return tuple(
        TakePeak(ref, peaks[ref] * take.full_scale_v, swing[ref]) for ref in swing
    )


def _peak(reader: TakeReader) -> float:
    meter = LevelMeter(reader.info.channels)
    for block in reader.blocks(_BLOCK_FRAMES):
        meter.feed(block)
    return meter.peak


def _most_gain(plan: Route, sample_rate_hz: float) -> float:
    """Return the most that a peak of 1 can come to: the sum of |answer to a click|."""
    frames = int(_CLICK_S * sample_rate_hz)
    total = 0.0
    for channel in range(plan.channels_in if plan.is_summed else 1):
        click = np.zeros((frames, plan.channels_in))
        click[0, channel] = 1.0
        total += float(np.abs(RouteRunner(plan).process(click)).max(axis=1).sum())
    return total
