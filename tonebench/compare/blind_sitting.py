# SPDX-License-Identifier: GPL-3.0-or-later
"""A listener's sitting: keys in, sentences out, every answer kept at once.

No score, no right and no wrong before the end. Knows neither the terminal nor the
sound card: keys and sentences go through functions.
"""

import time
from collections.abc import Callable
from pathlib import Path

from tonebench.audio.mixer import QUIET_DB, Mixer
from tonebench.compare.blind_clips import Heard
from tonebench.compare.blind_session import Session, save_session
from tonebench.study.exposure import exposure_words

CAUTION = (
    "Turn your listening level down before the first sound, then raise it. Loud or "
    f"sudden sound can damage hearing and loudspeakers. {exposure_words()}"
)
_VOICES = {
    "x": "the hidden one",
    "a": "A",
    "b": "B",
    "f": "the first",
    "s": "the second",
}
_STEP_DB = 3.0
_LONG_S = 20 * 60.0  # common practice from listening tests: 20 to 30 minutes at most


def keys_words(kind: str, with_sound: bool) -> list[str]:
    """Return what each key does, a line each."""
    if kind == "which":
        hear = "  a, b   hear A, hear B\n  x      hear the hidden one"
        answers = "  1      the hidden one is A\n  2      the hidden one is B"
    else:
        hear = "  f, s   hear the first, hear the second"
        answers = "  1      rather the first\n  2      rather the second"
    sound = [
        "  space  play, pause",
        "  r      from the start of the part",
        "  + -    louder, softer",
        *hear.splitlines(),
    ]
    return [
        *(sound if with_sound else []),
        *answers.splitlines(),
        "  q      stop here; what is answered is kept",
    ]


class Sitting:
    """Leads a listener through the open trials of a session.

    Parameters
    ----------
    session : Session
        As far as it has come.
    path : Path
        Its file, replaced after every answer.
    heard : Heard
        The clips.
    mixer : Mixer or None
        What plays them; None if another program does.
    read_key : callable
        Returns the next key that is pressed; "" when no more will come.
    say : callable
        Tells a sentence.
    clock : callable
        Seconds that go by.
    """

    def __init__(
        self,
        session: Session,
        path: Path,
        heard: Heard,
        mixer: Mixer | None,
        *,
        read_key: Callable[[], str],
        say: Callable[[str], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.session = session
        self._path, self._heard, self._mixer = path, heard, mixer
        self._read_key, self._say, self._clock = read_key, say, clock
        self._level_db = QUIET_DB

    def run(self) -> Session:
        """Go on until every trial is answered, or the listener stops."""
        is_long, begun = False, self._clock()
        while not self.session.is_done:
            self._lay_out()
            answer = self._answer()
            if not answer:
                break
            self.session = self.session.answered(answer)
            save_session(self._path, self.session)
            if not is_long and self._clock() - begun > _LONG_S:
                is_long = True
                self._say(
                    "You have listened for 20 minutes: a rest helps. q stops here, "
                    "and what is answered is kept."
                )
        if self._mixer:
            self._mixer.pause()
        return self.session

    def _lay_out(self) -> None:
        done, plan = len(self.session.answers), self.session.plan
        drawn = self.session.order[done]
        if self._mixer:
            self._mixer.exchange(self._heard.voices(plan.kind, drawn))
        self._say(f"Trial {done + 1} of {plan.trials}.")

    def _answer(self) -> int:
        """Return the listener's answer to this trial; 0 if there will be none."""
        while key := self._read_key():
            match key.lower():
                case "1" | "2" if missing := self._unheard():
                    self._say(f"Listen to {missing} first.")
                case "1" | "2":
                    return int(key)
                case "q":
                    return 0
                case other if not (self._mixer and self._steer(self._mixer, other)):
                    self._say("No such key. These are:")
                    for line in keys_words(self.session.plan.kind, bool(self._mixer)):
                        self._say(line)
        return 0

    def _unheard(self) -> str:
        """Return what must be heard before an answer counts; "" if all was."""
        if not self._mixer:
            return ""
        needed = "x" if self.session.plan.kind == "which" else "fs"
        missing = [_VOICES[v] for v in needed if not self._mixer.was_heard(v)]
        return " and ".join(missing)

    def _steer(self, mixer: Mixer, key: str) -> bool:
        """Do what a key asks of the player; False if it asks for nothing."""
        kind = self.session.plan.kind
        match key:
            case " ":
                if mixer.is_playing:
                    mixer.pause()
                    self._say("Paused.")
                else:
                    mixer.play()
                    self._say(f"You hear {_VOICES[mixer.voice]}.")
            case "r":
                mixer.restart()
            case "+" | "=" | "-":
                step_db = -_STEP_DB if key == "-" else _STEP_DB
                self._level_db = min(0.0, max(-60.0, self._level_db + step_db))
                mixer.turn_to(self._level_db)
                self._say(f"{self._level_db:.0f} dB.".replace("-", "−"))
            case "x" | "a" | "b" | "f" | "s" if (key in "xab") == (kind == "which"):
                mixer.choose(key)
                mixer.play()
                self._say(f"You hear {_VOICES[key]}.")
            case _:
                return False
        return True
