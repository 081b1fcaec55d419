# SPDX-License-Identifier: GPL-3.0-or-later
"""Files are put together here byte by byte, as the formats' papers lay them out.

RIFF: Multimedia Programming Interface and Data Specifications 1.0 (1991); RF64 and
BW64: EBU Tech 3306 and ITU-R BS.2088; AIFF: Audio Interchange File Format 1.3 (1989).
"""

import errno
import os
import re
import struct
from pathlib import Path

import pytest

from tonebench.audio.chunks import header_fault, share_of_promise
from tonebench.errors import AudioError

SOUND = bytes(1000)


def chunk(name: bytes, body: bytes, order: str = "<", length: int | None = None):
    """Return a chunk: name, length, body, and a byte of padding if that is odd."""
    size = len(body) if length is None else length
    return name + struct.pack(f"{order}I", size) + body + bytes(len(body) % 2)


def container(head: bytes, kind: bytes, *chunks: bytes, order: str = "<") -> bytes:
    body = kind + b"".join(chunks)
    return head + struct.pack(f"{order}I", len(body)) + body


def wav(*before: bytes, length: int | None = None) -> bytes:
    form = chunk(b"fmt ", bytes(16))
    data = chunk(b"data", SOUND, length=length)
    return container(b"RIFF", b"WAVE", form, *before, data)


def rf64(head: bytes) -> bytes:
    sizes = chunk(b"ds64", struct.pack("<QQQI", 0, len(SOUND), 0, 0))
    data = chunk(b"data", SOUND, length=0xFFFFFFFF)
    return container(head, b"WAVE", sizes, chunk(b"fmt ", bytes(16)), data)


def big_endian(head: bytes, kind: bytes, name: bytes) -> bytes:
    return container(head, kind, chunk(name, SOUND, ">"), order=">")


WHOLE = {
    "RIFF": wav(),
    "RIFF with an odd chunk": wav(chunk(b"note", b"hello")),
    "RF64": rf64(b"RF64"),
    "BW64": rf64(b"BW64"),
    "RIFX": big_endian(b"RIFX", b"WAVE", b"data"),
    "AIFF": big_endian(b"FORM", b"AIFF", b"SSND"),
    "AIFC": big_endian(b"FORM", b"AIFC", b"SSND"),
}


def share_of(path: Path, data: bytes) -> float:
    path.write_bytes(data)
    return share_of_promise(path)


@pytest.mark.parametrize("kind", WHOLE)
def test_a_whole_file_keeps_its_promise(tmp_path, kind):
    assert share_of(tmp_path / "x", WHOLE[kind]) == 1


@pytest.mark.parametrize("kind", WHOLE)
@pytest.mark.parametrize("there", [0, 1, 250, 999])
def test_a_cut_off_file_keeps_the_share_that_is_there(tmp_path, kind, there):
    cut = WHOLE[kind][: len(WHOLE[kind]) - len(SOUND) + there]
    assert share_of(tmp_path / "x", cut) == there / 1000


def test_what_comes_after_the_sound_does_no_harm(tmp_path):
    assert share_of(tmp_path / "x", wav() + chunk(b"note", b"hello")) == 1


def test_a_length_that_was_never_filled_in_promises_nothing(tmp_path):
    assert share_of(tmp_path / "x", wav(length=0xFFFFFFFF)) == 1
    assert share_of(tmp_path / "x", wav(length=0)) == 1


@pytest.mark.parametrize("end", range(12, 44))
def test_a_header_that_ends_before_the_sound_promises_nothing(tmp_path, end):
    assert share_of(tmp_path / "x", wav()[:end]) == 1


@pytest.mark.parametrize("data", [b"R", b"fLaC" + bytes(100), b"a shopping list"])
def test_what_is_no_file_of_chunks_promises_nothing(tmp_path, data):
    assert share_of(tmp_path / "x", data) == 1


@pytest.mark.parametrize("name", ["none.wav", "none/none.wav", "a\0b.wav"])
def test_a_missing_file_is_told_in_one_sentence(tmp_path, name):
    with pytest.raises(AudioError, match="no such file; check its name and its folder"):
        share_of_promise(tmp_path / name)


def test_a_folder_is_told_in_one_sentence(tmp_path):
    with pytest.raises(AudioError, match="is a folder, not a recording; name one file"):
        share_of_promise(tmp_path)


def test_a_pipe_is_told_in_one_sentence(tmp_path):
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(AudioError, match="is not a file that can be read twice"):
        share_of_promise(tmp_path / "pipe.wav")


def test_an_empty_file_is_told_in_one_sentence(tmp_path):
    with pytest.raises(AudioError, match=r"is empty \(0 bytes\); copy or export"):
        share_of(tmp_path / "x.wav", b"")


def test_a_file_that_may_not_be_opened_is_told_in_one_sentence(tmp_path, monkeypatch):
    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    (tmp_path / "x.wav").write_bytes(wav())
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(AudioError, match=r"can't be opened \(Permission denied\)"):
        share_of_promise(tmp_path / "x.wav")


@pytest.mark.parametrize(
    ("share", "frames", "told"),
    [
        (0.999, 10, "is cut short, only 99 % of the sound"),
        (0.0, 0, "is cut short, only 0 % of the sound"),
        (1.0, 0, r"holds no sound \(0 frames\); record or export it again"),
        (1.0, 2**63 - 1, "doesn't say in its header how long it is; convert it to"),
        (1.0, 1, "^$"),
    ],
)
def test_a_fault_of_the_header_is_one_sentence(share, frames, told):
    assert re.search(told, header_fault(share, frames))
