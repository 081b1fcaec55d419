# SPDX-License-Identifier: GPL-3.0-or-later
"""A blind test of a comparison's folder, from its first trial or from where it stands.

Everything is kept in the folder: the session that goes on, and each result. Knows
neither the terminal nor the sound card; both are handed in.
"""

import hashlib
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import Any

from tonebench.audio.devices import OutputOpener
from tonebench.audio.mixer import QUIET_DB, Mixer
from tonebench.compare.blind import Plan
from tonebench.compare.blind_clips import Heard, read_part, trial_files
from tonebench.compare.blind_folder import BlindPair, LevelGap, find_pair, measure_gap
from tonebench.compare.blind_result import result_of, write_result
from tonebench.compare.blind_session import Session, read_session, save_session
from tonebench.compare.blind_sitting import CAUTION, Sitting, keys_words
from tonebench.errors import InputError, RequestError
from tonebench.units import format_db

_SEAL_WORDS = (
    "The number of trials and their order stand now. The seal proves that to whoever "
    "has it before the first answer: send it to somebody. On your own machine the "
    "order is kept from your eyes, not from a person who is set on finding it."
)


@dataclass(frozen=True, slots=True)
class AskedTest:
    """What a listener asks for; None where nothing is said.

    `start_s` and `end_s` are the part that is played, `files` a folder for trial files
    in place of a sound card.
    """

    kind: str | None = None
    trials: int | None = None
    level: float | None = None
    pairing: str | None = None
    listener: str = ""
    start_s: float | None = None
    end_s: float | None = None
    files: Path | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """How far a test has come: its result and where that lies; None before the end."""

    session: Session
    result: dict[str, Any] | None
    path: Path


def session_path(folder: Path, listener: str) -> Path:
    """Return where a listener's test that goes on is kept."""
    return folder / f"{_stem(listener)}.session.json"


def _stem(listener: str) -> str:
    plain = re.sub("[^A-Za-z0-9]+", "-", listener).strip("-")
    if plain != listener:  # two names must not become one
        plain += f"-{hashlib.sha256(listener.encode()).hexdigest()[:6]}"
    return f"blind-{plain.strip('-')}" if listener else "blind"


def blind_test(
    folder: Path,
    asked: AskedTest,
    *,
    opener: OutputOpener,
    read_key: Callable[[], str],
    say: Callable[[str], None],
) -> Outcome:
    """Begin a blind test, or go on with the listener's open one, as far as they like.

    Parameters
    ----------
    folder : Path
        What ``tonebench compare`` wrote.
    asked : AskedTest
        What the test shall be; what contradicts an open one is refused.
    opener : callable
        Opens the sound card; not called with `asked.files`.
    read_key, say : callable
        The listener's keys, "" at their end, and sentences to them.

    Raises
    ------
    CheckFailed
        If A and B aren't at one level within 0.1 dB, or one is silent.
    RequestError, InputError, AudioError, OutputError
        If the folder, the open session and what is asked for don't go together.
    DeviceError, MissingPartError
        As `opener` raises them; nothing was written then.
    """
    path = session_path(folder, asked.listener)
    session = read_session(path) if path.exists() else None
    pair = _pair(folder, asked, session)
    if session:
        _refuse_other(path, session.plan, asked)
    gap = measure_gap(pair)
    gap.refuse_if_apart()
    heard = read_part(pair, asked.start_s, asked.end_s)
    told = _opening(pair, heard, gap)
    session = session or Session.begun(_plan(pair, asked))
    if not session.is_done:  # all but the result may have been done before
        sat = _Sat(path, heard, told, read_key, say)
        if asked.files:
            session = sat.with_files(session, asked.files)
        else:
            session = sat.with_card(session, opener)
    if not session.is_done:
        return Outcome(session, None, path)
    played_by = "files" if asked.files else "sound card"
    result = result_of(session, gap.as_json(), played_by)
    written = folder / f"{_stem(asked.listener)}-{session.seal[:8]}.json"
    write_result(written, result)
    path.unlink(missing_ok=True)
    return Outcome(session, result, written)


@dataclass(frozen=True, slots=True)
class _Sat:
    """A sitting's surroundings: its file, what is heard, what is told, and to whom."""

    path: Path
    heard: Heard
    told: tuple[str, ...]
    read_key: Callable[[], str]
    say: Callable[[str], None]

    def with_files(self, session: Session, folder: Path) -> Session:
        """Write the trials as files, and take the answers."""
        names = trial_files(folder, session, self.heard)
        return self._run(
            session,
            None,
            f"{len(names)} clips are in {folder}, numbered by trial. A program could "
            "tell which of them are alike; they are for ears alone.",
        )

    def with_card(self, session: Session, opener: OutputOpener) -> Session:
        """Play the trials, and take the answers."""
        heard = self.heard
        voices = heard.voices(session.plan.kind, 1)
        mixer = Mixer(voices, heard.sample_rate_hz)
        channels = heard.a.shape[1]
        with opener(mixer.process, heard.sample_rate_hz, channels) as output:
            return self._run(
                session,
                mixer,
                f"Plays through {output.words}, and begins at {format_db(QUIET_DB)}.",
            )

    def _run(self, session: Session, mixer: Mixer | None, where: str) -> Session:
        save_session(self.path, session)
        lines = [*self.told, where, "", *_fixed(session), "", CAUTION, ""]
        for line in [*lines, *keys_words(session.plan.kind, mixer is not None), ""]:
            self.say(line)
        sitting = Sitting(
            session,
            self.path,
            self.heard,
            mixer,
            read_key=self.read_key,
            say=self.say,
        )
        return sitting.run()


def _pair(folder: Path, asked: AskedTest, session: Session | None) -> BlindPair:
    """Return the pairing that is asked for, or that the open session is of."""
    if session is None:
        return find_pair(folder, asked.pairing)
    plan = session.plan
    full = f"{plan.pairing}, {PurePath(plan.take).stem}"
    if asked.pairing not in (None, plan.pairing, full):
        _refuse(session_path(folder, asked.listener), "pairing", plan.pairing)
    pair = find_pair(folder, full)
    if pair.sha256 != plan.clips:
        raise InputError(
            f"{folder}: holds other clips than when the test began; move "
            f"{session_path(folder, asked.listener).name} away and begin again"
        )
    return pair


def _plan(pair: BlindPair, asked: AskedTest) -> Plan:
    return Plan(
        kind=asked.kind or "which",
        trials=16 if asked.trials is None else asked.trials,
        level=asked.level or 0.05,
        listener=asked.listener,
        comparison=pair.comparison,
        pairing=pair.name,
        take=pair.take,
        clips=pair.sha256,
    )


def _refuse_other(path: Path, plan: Plan, asked: AskedTest) -> None:
    """Refuse what contradicts a test that goes on."""
    for word, given, stands in (
        ("kind", asked.kind, plan.kind),
        ("trials", asked.trials, plan.trials),
        ("level", asked.level, plan.level),
        ("listener", asked.listener, plan.listener),
    ):
        if given not in (None, stands):
            _refuse(path, word, stands)


def _refuse(path: Path, word: str, stands: object) -> None:
    raise RequestError(
        f"a test with {word} {stands} is open, and what was fixed stays; leave "
        f"--{word} out to go on, or move {path} away to drop it"
    )


def _opening(pair: BlindPair, heard: Heard, gap: LevelGap) -> tuple[str, ...]:
    """Return what is listened to, and at which levels."""
    what = f"{pair.comparison}: {pair.name}; {pair.take}, {heard.words}"
    return what, f"By {gap.words()}."


def _fixed(session: Session) -> list[str]:
    """Return what stands before the first answer, and how far it has come."""
    plan, done = session.plan, len(session.answers)
    question = (
        "Which of the two is the hidden one?"
        if plan.kind == "which"
        else "Which one would you rather have?"
    )
    wanted = "right" if plan.kind == "which" else "for one side"
    return [
        f"{question} {plan.trials} trials, of which {plan.least} {wanted} show it: "
        f"chance alone does that at most {100 * plan.level:.0f} times in 100.",
        f"Seal: {session.seal}",
        f"This goes on: {done} of {plan.trials} are answered." if done else _SEAL_WORDS,
    ]
