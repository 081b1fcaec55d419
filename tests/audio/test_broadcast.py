# SPDX-License-Identifier: GPL-3.0-or-later
"""What a WAV says of itself, read by libsndfile and by the offsets of the standard.

EBU Tech 3285 version 2 gives the layout of ``bext``; its offsets here are counted from
the lengths of its fields, written down a second time.
"""

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from clip_helpers import write_wave

from tonebench.audio.broadcast import (
    Broadcast,
    LevelsTold,
    broadcast_chunk,
    chunk,
    coding_history,
    info_chunk,
    plain_text,
)
from tonebench.audio.wav_copy import copy_wav

LEVELS = LevelsTold(-23.056, 7.25, -1.004, -18.5, -20.0)
TOLD = Broadcast(
    description="A tern: bass 6½ → 1 MΩ",
    originator="tonebench 0",
    reference="0123456789abcdef" * 2,
    history=coding_history(48000, 24, 1, "tonebench 0"),
    date="2026-01-31",
    levels=LEVELS,
)
#: SFC_GET_BROADCAST_INFO of libsndfile's sndfile.h.
_GET_BROADCAST_INFO = 0x10F0


def read_by_libsndfile(path: Path) -> bytes:
    """Return the structure that libsndfile fills in: as the chunk, up to 602 bytes."""
    with soundfile.SoundFile(path) as sound:
        size = 602 + 2 + 4 + 256  # with its padding, and a history behind its length
        room: Any = soundfile._ffi.new("char[]", size)
        assert soundfile._snd.sf_command(sound._file, _GET_BROADCAST_INFO, room, size)
        return bytes(soundfile._ffi.buffer(room))


def tagged(folder: Path, *chunks: bytes) -> Path:
    source = write_wave(folder / "in.wav", np.arange(5)[:, None], 3, 48000)
    copy_wav(source, folder / "out.wav", chunks)
    return folder / "out.wav"


def test_libsndfile_reads_every_field(tmp_path: Path) -> None:
    found = read_by_libsndfile(tagged(tmp_path, broadcast_chunk(TOLD)))
    assert found[:256].rstrip(b"\0") == b"A tern: bass 6.5 -> 1 Mohm"
    assert found[256:288].rstrip(b"\0") == b"tonebench 0"
    assert found[288:320] == b"0123456789abcdef" * 2
    assert found[320:338] == b"2026-01-31" + bytes(8)
    low, high, version = struct.unpack("<IIH", found[338 + 2 : 350])
    assert (low, high, version) == (0, 0, 2)


def test_levels_stand_in_hundredths_where_the_standard_puts_them() -> None:
    body = broadcast_chunk(TOLD)[8:]
    # 256 + 32 + 32 + 10 + 8 + 4 + 4, then the version, then a UMID of 64 bytes
    assert struct.unpack_from("<H", body, 346) == (2,)
    assert struct.unpack_from("<5h", body, 346 + 2 + 64) == (
        *(-2306, 725, -100, -1850, -2000),
    )
    assert body[422:602] == bytes(180)
    assert (
        body[602:].rstrip(b"\0").decode()
        == "A=PCM,F=48000,W=24,M=mono,T=tonebench 0\r\n"
    )


@pytest.mark.parametrize("level", [None, float("-inf"), float("nan"), -1000.0])
def test_a_level_that_is_not_told_stands_as_7fff(level: float | None) -> None:
    told = Broadcast("d", "o", "r", "h", levels=LevelsTold(loudness_lufs=level))
    assert struct.unpack_from("<5h", broadcast_chunk(told)[8:], 412) == (0x7FFF,) * 5


def test_texts_that_are_too_long_are_cut_at_their_fields_ends() -> None:
    told = Broadcast("d" * 300, "o" * 40, "r" * 40, "")
    body = broadcast_chunk(told)[8:]
    assert len(body) == 602
    assert body[:330] == b"d" * 256 + b"o" * 32 + b"r" * 32 + bytes(10)


def test_libsndfile_reads_the_titles(tmp_path: Path) -> None:
    titles = info_chunk({"INAM": "A → B", "IART": "", "IPRD": "odd"})
    with soundfile.SoundFile(tagged(tmp_path, titles)) as sound:
        found = {k: v for k, v in sound.copy_metadata().items() if v}
    assert found == {"title": "A -> B", "album": "odd"}
    assert b"IART" not in titles


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("", ""),
        ("½, 6¼", "0.5, 6.25"),
        ("1\N{OHM SIGN}", "1ohm"),
        ("Flügel", "Flugel"),
        ("Flu\N{COMBINING DIAERESIS}gel", "Flugel"),
        ("Weiß · “x”", 'Weiss - "x"'),
        ("чай", "???"),
    ],
)
def test_signs_are_spelled(text: str, plain: str) -> None:
    assert plain_text(text) == plain


@pytest.mark.parametrize("text", ["", "x", "xy"])
def test_every_chunk_of_a_clip_is_even(text: str) -> None:
    for written in (
        broadcast_chunk(Broadcast("d", "o", "r", text)),
        info_chunk({"INAM": text}),
    ):
        assert struct.unpack_from("<I", written, 4)[0] % 2 == 0


def test_an_odd_chunk_is_padded_but_its_length_does_not_count_it() -> None:
    assert chunk(b"note", b"abc") == b"note\x03\0\0\0abc\0"
