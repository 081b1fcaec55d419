# SPDX-License-Identifier: GPL-3.0-or-later
"""A recorded tone measured: its frequency, its height, how clean and how steady it is.

Sines are fitted by least squares, as in IEEE Std 1057, the frequency too. Knows
digital full scale alone, no volts.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tonebench.audio.runs import RunFinder, Runs
from tonebench.units import to_db

Real = NDArray[np.float64]

#: Only so much of a recording is looked at, in seconds.
LONGEST_S = 20.0
_WINDOW_S = 0.1
#: The tone is where windows are within this of the loud ones.
_SAME_DB = 1.0
_HARMONICS = range(2, 11)


@dataclass(frozen=True, slots=True)
class ToneReading:
    """A tone, in the channel where it is loudest.

    Attributes
    ----------
    channel : int
        Which channel that is, from 1.
    seconds : float
        How long the tone stands, without its ends; nothing else is known if 0.
    frequency_hz : float
        Its frequency.
    peak : float
        The height of the fundamental, digital full scale is 1.
    rest : float
        The RMS of all else (distortion, hum, noise), as a share of the fundamental's.
    distortion : float
        The RMS of harmonics 2 to 10, as a share of the fundamental's.
    spread_db : float
        From the lowest to the highest of its windows of 100 ms.
    clipped : Runs
        Flat tops.
    """

    channel: int
    seconds: float
    frequency_hz: float = np.nan
    peak: float = np.nan
    rest: float = np.nan
    distortion: float = np.nan
    spread_db: float = np.nan
    clipped: Runs = field(default_factory=Runs)


def measure_tone(blocks: Iterable[Real], sample_rate_hz: int) -> ToneReading:
    """Measure a tone in the first 20 s of a recording.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (frames, channels)
        The recording, full scale is ±1.
    sample_rate_hz : int
        The sample rate.
    """
    most, held, frames = round(LONGEST_S * sample_rate_hz), [], 0
    for block in blocks:
        held.append(block[: most - frames])
        frames += len(held[-1])
        if frames >= most:
            break
    sound = np.concatenate(held)
    loudest = int(np.square(sound).sum(axis=0).argmax())
    column = np.ascontiguousarray(sound[:, loudest])
    found = _steady(column, sample_rate_hz)
    if len(found) < 3:  # less than a window between its ends
        return ToneReading(loudest + 1, 0.0)
    hz = _frequency(found, sample_rate_hz)
    peak, rest = _fitted(found, hz, sample_rate_hz)
    if not peak > 0:
        return ToneReading(loudest + 1, 0.0)
    finder = RunFinder()
    finder.feed(column)
    rms = peak / np.sqrt(2)
    harmonics = [k * hz for k in _HARMONICS if k * hz < 0.45 * sample_rate_hz]
    overtones = [_fitted(found, f, sample_rate_hz)[0] for f in harmonics]
    size = max(1, round(_WINDOW_S * sample_rate_hz))
    windows = found[: len(found) // size * size].reshape(-1, size)
    heights = [to_db(_fitted(w, hz, sample_rate_hz)[0]) for w in windows]
    return ToneReading(
        channel=loudest + 1,
        seconds=len(found) / sample_rate_hz,
        frequency_hz=hz,
        peak=peak,
        rest=float(np.sqrt(np.mean(np.square(rest))) / rms),
        distortion=float(np.sqrt(np.sum(np.square(overtones))) / peak),
        spread_db=max(heights, default=0.0) - min(heights, default=0.0),
        clipped=finder.clipped,
    )


def _steady(samples: Real, sample_rate_hz: int) -> Real:
    """Return the longest stretch of about one level, its first and last 100 ms off."""
    size = max(1, round(_WINDOW_S * sample_rate_hz))
    windows = samples[: len(samples) // size * size].reshape(-1, size)
    power = windows.var(axis=1)
    if not power.any():
        return np.empty(0)
    loud = np.median(power[power > power.max() / 4])
    ratio = 10 ** (_SAME_DB / 10)
    is_same = (power > loud / ratio) & (power < loud * ratio)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_same.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    if not len(starts):
        return np.empty(0)
    longest = int((ends - starts).argmax())
    return windows[starts[longest] + 1 : ends[longest] - 1].ravel()


def _frequency(samples: Real, sample_rate_hz: int) -> float:
    """Return the frequency of the strongest sine."""
    window = np.hanning(len(samples) + 1)[:-1]
    lines = np.abs(np.fft.rfft((samples - samples.mean()) * window))
    k = int(np.clip(lines.argmax(), 1, len(lines) - 2))
    below, here, above = np.log(np.maximum(lines[k - 1 : k + 2], 1e-300))
    bend = below - 2 * here + above
    offset = 0.5 * (below - above) / bend if bend else 0.0
    hz = float((k + offset) * sample_rate_hz / len(samples))
    half = len(samples) // 2
    for _ in range(4):  # by how far the phase runs on from one half to the other
        first, second = (
            _phase(part, hz, sample_rate_hz)
            for part in (samples[:half], samples[half : 2 * half])
        )
        turned = second - first - 2 * np.pi * hz * half / sample_rate_hz
        turned = (turned + np.pi) % (2 * np.pi) - np.pi
        hz += float(turned * sample_rate_hz / (2 * np.pi * half))
    return hz


def _waves(frames: int, hz: float, sample_rate_hz: int) -> Real:
    angle = 2 * np.pi * hz / sample_rate_hz * np.arange(frames)
    return np.column_stack([np.cos(angle), np.sin(angle), np.ones(frames)])


def _fit(samples: Real, hz: float, sample_rate_hz: int) -> tuple[Real, Real]:
    waves = _waves(len(samples), hz, sample_rate_hz)
    weights = np.asarray(np.linalg.solve(waves.T @ waves, waves.T @ samples), float)
    return weights, samples - waves @ weights


def _phase(samples: Real, hz: float, sample_rate_hz: int) -> float:
    weights, _ = _fit(samples, hz, sample_rate_hz)
    return float(np.arctan2(-weights[1], weights[0]))


def _fitted(samples: Real, hz: float, sample_rate_hz: int) -> tuple[float, Real]:
    """Return the height of the sine that fits best, and what it leaves."""
    weights, rest = _fit(samples, hz, sample_rate_hz)
    return float(np.hypot(weights[0], weights[1])), rest
