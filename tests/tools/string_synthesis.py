# SPDX-License-Identifier: GPL-3.0-or-later
"""Plucked strings under magnetic pickups, as sums of decaying partials.

The answer is the pickups' own voltage: what the moving string induces, before any
coil, lead or circuit has touched it. This file knows strings, hands and pickups; it
doesn't know any tune or file.
"""

from dataclasses import dataclass
from math import exp2, inf

import numpy as np
from noises import SAMPLE_RATE_HZ, Chance, Floats, Rub, noise_floor
from numpy.typing import NDArray

LEAD_IN_S = 0.25  # silence before beat 0
HIGHEST_PARTIAL_HZ = 20_000.0
QUIET_V = 2e-8  # below this (a third of a 24-bit step at 1 V) a partial has ended
GLIDE_S = 0.18  # a note that starts sharp settles with this time constant
STOP_RAMP_S = 0.012  # the stopping hand settles on the string within this time
PARTIALS_AT_ONCE = 16
SKIN = Rub(rise_s=0.008, fall_s=0.028, centre_hz=350.0)


@dataclass(frozen=True, slots=True)
class String:
    """One open string.

    ``key`` is the key number of its pitch (A4 is 69), ``stiffness`` Fletcher's
    inharmonicity coefficient B, ``volts_per_speed`` what a pickup under it gives,
    V/(m/s).
    """

    name: str
    key: int
    stiffness: float
    tension_n: float
    volts_per_speed: float

    @property
    def open_hz(self) -> float:
        """Pitch of the open string in equal temperament (ISO 16: A4 is 440 Hz)."""
        return 440.0 * exp2((self.key - 69) / 12)


@dataclass(frozen=True, slots=True)
class Technique:
    """How a hand sets a string going; each pair is (softest, hardest).

    ``place_m`` is the distance of the plucking point from the bridge, give or take
    ``spread_m``; ``force_n`` the force at velocity 1 (it falls with velocity to the
    power 1.5, and is negative for a stroke the other way), ``contact_m`` the radius of
    the bend under finger or pick (small is bright), ``pull_s`` how long the string is
    drawn aside before it slips off, ``scrape`` the contact noise relative to the first
    partial and ``rub`` its kind, ``glide_cents`` how far a note of velocity 1 starts
    sharp (a wide swing stretches the string), ``stop_scrape`` the noise of the hand
    that ends the note, ``muting_per_s`` the loss to a hand that lies on the string,
    and ``muting_per_cycle`` what it adds for each hertz.
    """

    place_m: float
    force_n: float
    contact_m: tuple[float, float]
    pull_s: tuple[float, float]
    scrape: float
    glide_cents: float
    spread_m: float = 0.008
    stop_scrape: float = 0.01
    muting_per_s: float = 0.0
    muting_per_cycle: float = 0.0
    rub: Rub = SKIN


@dataclass(frozen=True, slots=True)
class Note:
    """One stroke: when, where, how hard (0 to 1), and until when it may ring."""

    beat: float
    string: str
    fret: int
    velocity: float
    beats: float
    technique: Technique


@dataclass(frozen=True, slots=True)
class Performance:
    """What is played on which instrument; each pickup becomes one channel."""

    title: str
    tuning: tuple[String, ...]
    scale_m: float
    pickups_m: tuple[float, ...]  # from the bridge
    aperture_m: float  # length of string that a pickup averages over
    beats_per_minute: float
    beats: float
    notes: tuple[Note, ...]
    seed: int

    @property
    def beat_s(self) -> float:
        """Length of a beat in seconds."""
        return 60.0 / self.beats_per_minute

    def string(self, name: str) -> String:
        """Find a string by its name."""
        return next(string for string in self.tuning if string.name == name)


def stiffness_at(string: String, fret: int) -> float:
    """Inharmonicity coefficient B of the stopped string: it goes with 1/length²."""
    return string.stiffness * exp2(fret / 6)


def partials_hz(string: String, fret: int = 0) -> Floats:
    """Partials of a stiff string, n·f0·√(1 + B·n²) (Fletcher), up to 20 kHz."""
    f0 = string.open_hz * exp2(fret / 12)
    n = np.arange(1, int(HIGHEST_PARTIAL_HZ / f0) + 1, dtype=np.float64)
    frequency: Floats = n * f0 * np.sqrt(1.0 + stiffness_at(string, fret) * n**2)
    return frequency[frequency < HIGHEST_PARTIAL_HZ]


def losses_per_s(frequency_hz: Floats, fret: int) -> Floats:
    """Decay rates: supports and air at the bottom, the string's material above.

    Common practice, no source: time constants of 2 s for a low E, 0.15 s at 3 kHz.
    """
    supports = 0.35 * exp2(fret / 12)
    return supports + 1.4e-3 * frequency_hz + 2e-7 * frequency_hz**2


def onset_frame(performance: Performance, index: int) -> int:
    """Frame where note ``index`` slips off the finger: its beat, give or take 6 ms."""
    late_s = 0.006 * float(Chance(performance.seed, index).even(1)[0])
    onset_s = LEAD_IN_S + performance.notes[index].beat * performance.beat_s + late_s
    return round(onset_s * SAMPLE_RATE_HZ)


def render(performance: Performance, seconds: float = inf) -> Floats:
    """Play a performance, or only its first seconds: volts, (frames, pickups)."""
    whole_s = LEAD_IN_S + performance.beats * performance.beat_s
    frames = round(min(whole_s, seconds) * SAMPLE_RATE_HZ)
    out = noise_floor(performance.seed, frames, len(performance.pickups_m))
    for index in range(len(performance.notes)):
        onset = onset_frame(performance, index)
        if onset - SAMPLE_RATE_HZ // 10 < frames:  # the finger arrives before the onset
            before, voltage = _stroke(performance, index, frames - onset)
            start = onset - before
            end = min(frames, start + len(voltage))
            if start < end:
                out[start:end] += voltage[: end - start]
    return out


def _stroke(performance: Performance, index: int, room: int) -> tuple[int, Floats]:
    """One note from the finger's arrival on, and how many frames that is early."""
    note = performance.notes[index]
    hand = note.technique
    string = performance.string(note.string)
    chance = Chance(performance.seed, index)
    _, harder, along, tune, turn = chance.even(5)  # the first one is in onset_frame
    velocity = note.velocity * (1.0 + 0.04 * harder)

    # the string's shape at the moment it slips off, and what each pickup sees of it
    length = performance.scale_m * exp2(-note.fret / 12)
    frequency = partials_hz(string, note.fret)
    if note.fret:
        frequency = frequency * exp2(1.5 * tune / 1200)
    n = np.arange(1, len(frequency) + 1)
    wave = n * np.pi / length
    place = hand.place_m + hand.spread_m * along
    force = hand.force_n * velocity**1.5
    contact = float(np.interp(velocity, (0.0, 1.0), hand.contact_m))
    bend = 2.0 * force / (length * string.tension_n * wave**2)  # an ideal string's
    bend /= 1.0 + stiffness_at(string, note.fret) * n**2
    bend *= np.sin(wave * place)
    bend *= np.exp(-0.5 * (wave * contact) ** 2)
    seen = np.sin(np.outer(wave, performance.pickups_m))
    seen *= np.sinc(wave * performance.aperture_m / (2.0 * np.pi))[:, np.newaxis]
    shape = string.volts_per_speed * bend[:, np.newaxis] * seen

    # two polarisations: towards the pickup, and across it: weaker, slower, detuned
    angle = np.deg2rad(35.0 + 10.0 * turn)
    loss = losses_per_s(frequency, note.fret) * (1.0 + 0.12 * chance.even(len(n)))
    apart = np.exp2((1.2 + 0.6 * chance.even(len(n))) / 1200)
    shape = np.vstack([np.cos(angle) * shape, 0.3 * np.sin(angle) * shape])
    frequency = np.concatenate([frequency, frequency * apart])
    loss = np.concatenate([1.2 * loss, 0.65 * loss])
    loss = loss + hand.muting_per_s + hand.muting_per_cycle * frequency

    stop_s = note.beats * performance.beat_s
    cents = hand.glide_cents * velocity**2
    ringing = _ring(frequency, loss, shape, stop_s, cents, room)

    # before that, the finger draws the string aside
    pull_s = float(np.interp(velocity, (0.0, 1.0), hand.pull_s))
    before = round(pull_s * SAMPLE_RATE_HZ)
    speed = np.sin(np.pi * np.arange(before) / before)
    speed *= SAMPLE_RATE_HZ / speed.sum()
    out = np.vstack([np.outer(speed, shape.sum(axis=0)), ringing])

    # skin or pick on the windings when it slips off, skin when the other hand stops it
    peak_v = 2.0 * np.pi * frequency[0] * float(np.abs(shape[0]).max())
    stopped = before + round(stop_s * SAMPLE_RATE_HZ)
    for rub, at, from_m, share in (
        (hand.rub, before, place, hand.scrape),
        (SKIN, stopped, length, hand.stop_scrape),
    ):
        late = _late_frames(performance, string, from_m)
        burst = rub.burst(chance, share * peak_v)
        _add_rub(out, at - rub.rise_frames, burst, late)
    return before, out


def _ring(
    frequency_hz: Floats,
    loss_per_s: Floats,
    shape: Floats,
    stop_s: float,
    glide_cents: float,
    room: int,
) -> Floats:
    """Sum of the partials' induced voltages from the onset on, (frames, pickups).

    A string let go at rest moves as cos(ωt), so its speed starts from nothing as
    -ω·sin(ωt): there is no click to hide.
    """
    omega = 2.0 * np.pi * frequency_hz
    peak = -omega[:, np.newaxis] * shape
    stop_per_s = 55.0 + 0.03 * frequency_hz  # the hand takes the treble first
    fade = np.log(np.maximum(np.abs(peak).max(axis=1) / QUIET_V, 1.0))
    stopped_s = fade + stop_per_s * (stop_s + STOP_RAMP_S / 2)
    stopped_s = np.maximum(stopped_s / (loss_per_s + stop_per_s), stop_s + STOP_RAMP_S)
    life_s = np.minimum(fade / loss_per_s, stopped_s)
    life = np.ceil(life_s * SAMPLE_RATE_HZ).astype(int)

    # room for the noise of the stopping hand, whatever still rings then
    total = max(int(life.max()), round((stop_s + 0.03) * SAMPLE_RATE_HZ))
    t = np.arange(max(0, min(total, room))) / SAMPLE_RATE_HZ
    glided = t + (exp2(glide_cents / 1200) - 1) * GLIDE_S * -np.expm1(-t / GLIDE_S)
    since = np.clip(t - stop_s, 0.0, None)
    settling = np.minimum(since, STOP_RAMP_S)
    pressed = settling**2 / (2.0 * STOP_RAMP_S) + (since - settling)
    out = np.zeros((len(t), shape.shape[1]))
    order = np.argsort(-life, kind="stable")
    for first in range(0, len(order), PARTIALS_AT_ONCE):
        rows = order[first : first + PARTIALS_AT_ONCE]
        end = min(len(t), int(life[rows[0]]))
        decay = np.outer(loss_per_s[rows], t[:end])
        decay += np.outer(stop_per_s[rows], pressed[:end])
        waves = np.exp(-decay) * np.sin(np.outer(omega[rows], glided[:end]))
        # not a matrix product: its sum's order depends on the number of threads
        out[:end] += np.einsum("pf,pc->fc", waves, peak[rows])
    return out


def _late_frames(
    performance: Performance, string: String, from_m: float
) -> NDArray[np.int64]:
    """How much later than at the nearest pickup a wave from a place is at each."""
    away_m = np.abs(np.array(performance.pickups_m) - from_m)
    speed = 2.0 * performance.scale_m * string.open_hz
    late = (away_m - away_m.min()) / speed * SAMPLE_RATE_HZ
    return np.asarray(np.rint(late), dtype=np.int64)


def _add_rub(out: Floats, at: int, burst: Floats, late: NDArray[np.int64]) -> None:
    """Add a noise that begins at frame ``at``, later at each pickup, in place."""
    for channel, start in enumerate(at + late):
        end = min(len(out), start + len(burst))
        if start < end:
            out[start:end, channel] += burst[: end - start]
