# SPDX-License-Identifier: GPL-3.0-or-later
"""What other programs rely on in a manifest: its keys, its numbers, and no more."""

import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from commands import DIVIDER, VOLUME, drawn
from sounds import sine, write_float

from tonebench import __version__
from tonebench.audio.take import Take
from tonebench.circuit.files import read_circuit
from tonebench.compare.clips import write_clips
from tonebench.compare.manifest import manifest_bytes, manifest_of
from tonebench.compare.measured import measure
from tonebench.compare.written import Compared
from tonebench.plan.comparison import Comparison, Pairing, Side


def run_in(folder: Path) -> Compared:
    """Run a comparison of three pairings, the last one silent, in a folder."""
    take = write_float(folder / "take.wav", sine(1000, 0.5))
    a = read_circuit(drawn(folder, "divider", DIVIDER))
    b = read_circuit(drawn(folder, "volume", VOLUME))
    pairings = (
        Pairing("as they start"),
        Pairing("half", b={"volume": 5}),
        Pairing("nothing", b={"volume": 0}),
    )
    client = {"by": "the workshop by the sea", "for": "ein Gitarrist — 🎸"}
    comparison = Comparison(
        "t", (Take(take),), Side(a), Side(b), pairings, client=client
    )
    (folder / "out").mkdir()
    return write_clips(measure(comparison), folder / "out")


@pytest.fixture
def manifest(tmp_path: Path) -> dict[str, Any]:
    text = manifest_bytes(manifest_of(run_in(tmp_path))).decode("utf-8")

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is no JSON (RFC 8259)")

    values = json.loads(text, parse_constant=refuse)
    assert isinstance(values, dict)
    return values


def texts(values: object) -> Iterator[str]:
    match values:
        case str():
            yield values
        case dict():
            for key, value in values.items():
                yield from (key, *texts(value))
        case list():
            for value in values:
                yield from texts(value)


def test_manifest_has_the_keys_that_programs_build_on(manifest: dict[str, Any]) -> None:
    assert manifest["schema"] == 1
    assert manifest["tonebench"] == __version__
    assert {"title", "differs", "takes", "match", "trim_db", "pairings"} <= {*manifest}
    assert len(manifest["pairings"]) == 3
    for pairing in manifest["pairings"]:
        assert {"name", "is_matched", "notices", "verdict", "jump_db"} <= {*pairing}
        assert set(pairing["jump_db"]) == {"loudness", "rms", "frequency"}
        assert len(pairing["verdict"]) == 3
        assert set(pairing["clips"]) == {"a", "b"}
        for clip in pairing["clips"].values():
            keys = {"file", "chain", "settings", "loudness_lufs", "gain_db", "sha256"}
            assert keys <= {*clip}
            assert len(clip["sha256"]) == 64
            assert isinstance(clip["gain_db"], float)


def test_manifest_tells_the_take_and_the_settings(manifest: dict[str, Any]) -> None:
    (take,) = manifest["takes"]
    assert take["file"] == "take.wav"
    got = take["sample_rate_hz"], take["channels"], take["frames"]
    assert got == (48_000, 1, 24_000)
    settings = [p["clips"]["b"]["settings"] for p in manifest["pairings"]]
    assert settings == [{"volume": 10.0}, {"volume": 5.0}, {"volume": 0.0}]
    assert manifest["client"]["for"] == "ein Gitarrist — 🎸"


def test_silence_is_null_in_a_manifest(manifest: dict[str, Any]) -> None:
    clips = [p["clips"]["b"] for p in manifest["pairings"]]
    assert [clip["loudness_lufs"] is None for clip in clips] == [False, False, True]
    assert manifest["pairings"][2]["jump_db"]["loudness"] is None


def test_manifest_knows_no_path_of_this_machine(
    tmp_path: Path, manifest: dict[str, Any]
) -> None:
    for text in texts(manifest):
        assert str(tmp_path) not in text
        assert "/" not in text
        assert "\\" not in text


def test_manifest_is_the_same_wherever_and_whenever_it_was_made(
    tmp_path: Path,
) -> None:
    made = []
    for name in ("here", "there"):
        folder = tmp_path / name
        folder.mkdir()
        made.append(manifest_bytes(manifest_of(run_in(folder))))
        shutil.rmtree(folder)
    assert made[0] == made[1]
    assert made[0].endswith(b"}\n")


def test_values_of_a_manifest_keep_full_precision(tmp_path: Path) -> None:
    compared = run_in(tmp_path)
    values = json.loads(manifest_bytes(manifest_of(compared)))
    assert values == manifest_of(compared)
    a = compared.pairs[0].clips["a"]
    told = values["pairings"][0]["clips"]["a"]
    assert told["loudness_lufs"] == a.loudness_lufs
    assert told["gain_db"] == a.gain_db
