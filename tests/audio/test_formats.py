# SPDX-License-Identifier: GPL-3.0-or-later
"""A clip's name and subtype say what kind of file it is, or are refused."""

import pytest

from tonebench.audio.formats import clip_format
from tonebench.errors import RequestError


@pytest.mark.parametrize(
    ("name", "subtype", "container", "encoding"),
    [
        ("x.wav", "float", "WAV", "FLOAT"),
        ("x.WAV", "pcm24", "WAV", "PCM_24"),
        ("x.wav", "pcm16", "WAV", "PCM_16"),
        ("x.Flac", "pcm24", "FLAC", "PCM_24"),
        ("x.flac", "pcm16", "FLAC", "PCM_16"),
    ],
)
def test_the_ending_and_the_subtype_say_the_format(name, subtype, container, encoding):
    kind = clip_format(name, subtype, 2)
    assert (kind.container, kind.subtype, kind.encoding) == (
        container,
        subtype,
        encoding,
    )


@pytest.mark.parametrize(
    ("subtype", "channels", "frame_bytes"),
    [("float", 1, 4), ("pcm24", 2, 6), ("pcm16", 1, 2), ("pcm16", 8, 16)],
)
def test_a_plain_wav_ends_just_below_4_gib(subtype, channels, frame_bytes):
    # RIFF (1991): lengths have 32 bits
    end = clip_format("x.wav", subtype, channels).max_frames
    assert 2**32 - 8192 < end * frame_bytes < 2**32 - 1024
    assert clip_format("x.wav", subtype, channels, end).container == "WAV"
    longer = clip_format("x.wav", subtype, channels, end + 1)
    assert longer.container == "RF64"
    assert longer.max_frames > 2**36 - 1
    assert clip_format("x.flac", "pcm24", channels, end + 1).container == "FLAC"


@pytest.mark.parametrize("name", ["x.mp3", "x", "x.wav.gz", "wav", ".flac"])
def test_a_name_that_says_no_known_format_is_refused(name):
    with pytest.raises(RequestError, match=r"must end in \.wav or \.flac, got '"):
        clip_format(name, "pcm24", 1)


def test_a_float_flac_is_refused_with_the_way_out():
    told = "FLAC holds integers only, got float; choose pcm24, or a name that ends in"
    with pytest.raises(RequestError, match=told):
        clip_format("x.flac", "float", 1)


@pytest.mark.parametrize("subtype", ["pcm8", "PCM_24", ""])
def test_an_unknown_subtype_is_refused(subtype):
    with pytest.raises(RequestError, match=f"float, pcm24 or pcm16, got '{subtype}'"):
        clip_format("x.wav", subtype, 1)
