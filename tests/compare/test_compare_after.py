# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison with a cabinet or a plug-in after it: aligned, and matched behind it."""

import json
import signal
import subprocess
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pyloudnorm
import pytest
import strange_plugins
from commands import DIVIDER, LOW_PASS, VOLUME, asked, drawn, names_in, refused
from commands import tonebench as run
from scipy.signal import oaconvolve
from sounds import RATE, impulse, noise, read_clip, write_float

from tonebench.audio import plugin_host

Capsys = pytest.CaptureFixture[str]
TEXT = """
schema = 1
title = "Through a cabinet"
take = "take.wav"
after = ["cab.wav"]
dry = true
match = "MODE"

[a]
circuit = "lowpass"

[b]
circuit = "volume"

[[pairings]]
name = "flat"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with two circuits, a take of 6 s and a cabinet."""
    t = np.arange(6 * RATE) / RATE
    write_float(tmp_path / "take.wav", noise(len(t))[:, 0] * 10 ** (-3 * (t % 0.8)))
    response = noise(4000, seed=5)[:, 0] * np.exp(-np.arange(4000) / 500)
    write_float(tmp_path / "cab.wav", response + impulse(4000, (90, 0.8)))
    drawn(tmp_path, "lowpass", LOW_PASS)
    drawn(tmp_path, "volume", VOLUME)
    for mode in ("loudness", "rms", "none"):
        text = TEXT.replace("MODE", mode)
        (tmp_path / f"{mode}.toml").write_text(text, encoding="utf-8")
    text = TEXT.replace("MODE", "none").replace('after = ["cab.wav"]', "")
    (tmp_path / "bare.toml").write_text(text, encoding="utf-8")
    return tmp_path


def compared(folder: Path, mode: str, *words: object) -> dict[str, Any]:
    assert run("compare", folder / f"{mode}.toml", "-o", folder / mode, *words) == 0
    text = (folder / mode / "manifest.json").read_text(encoding="utf-8")
    values: dict[str, Any] = json.loads(text)
    return values


def clips(folder: Path, mode: str) -> dict[str, Any]:
    text = (folder / mode / "manifest.json").read_text(encoding="utf-8")
    (pairing,) = json.loads(text)["pairings"]
    return {
        letter: read_clip(folder / mode / clip["file"])[1]
        for letter, clip in pairing["clips"].items()
    }


def test_every_clip_is_the_bare_clip_through_the_cabinet(folder: Path) -> None:
    bare = compared(folder, "bare")
    behind = compared(folder, "none")
    # the trims of the two sets differ, and are told
    gain = 10 ** ((behind["trim_db"] - bare["trim_db"]) / 20)
    _, response = read_clip(folder / "cab.wav")
    found, expected = clips(folder, "none"), clips(folder, "bare")
    assert found.keys() == {"a", "b", "dry", "switch"}
    for letter in ("a", "b", "dry"):
        whole = oaconvolve(expected[letter], response, axes=0)[: 6 * RATE]
        # 24 bits on both ways, and the response has a gain of a few
        assert found[letter] == pytest.approx(gain * whole, abs=2e-6)


@pytest.mark.parametrize("mode", ["loudness", "rms"])
def test_clips_are_of_one_level_behind_the_cabinet(folder: Path, mode: str) -> None:
    compared(folder, mode)
    found = clips(folder, mode)
    if mode == "rms":
        levels = [10 * np.log10(np.mean(found[x] ** 2)) for x in ("a", "b", "dry")]
    else:
        meter = pyloudnorm.Meter(RATE)  # a second meter than ours
        levels = [meter.integrated_loudness(found[x]) for x in ("a", "b", "dry")]
    assert max(levels) - min(levels) < 0.02


def test_a_set_stays_under_full_scale_behind_a_loud_cabinet(folder: Path) -> None:
    write_float(folder / "cab.wav", impulse(100, (10, 40.0)))
    values = compared(folder, "loudness")
    assert values["trim_db"] < -6
    for clip in clips(folder, "loudness").values():
        assert 20 * np.log10(np.abs(clip).max()) < -0.99


def test_the_chain_goes_on_and_the_difference_does_not_tell(
    folder: Path, capsys: Capsys
) -> None:
    values = compared(folder, "loudness")
    told = capsys.readouterr().out
    assert "ideal source → lowpass → no load → cab.wav" in told
    assert "curves, and gains at one frequency, are those of the circuits" in told
    assert told.splitlines()[0] == "Only the circuit differs: lowpass against volume"
    assert "cab" not in values["differs"]
    for clip in ("a", "b", "dry"):
        chain = values["pairings"][0]["clips"][clip]["chain"]
        assert chain.endswith(" → cab.wav")
    (step,) = values["after"]
    assert step["kind"] == "impulse response"
    assert (step["file"], step["frames"], step["channels"]) == ("cab.wav", 4000, 1)
    assert len(step["sha256"]) == 64
    page = (folder / "loudness" / "index.html").read_text(encoding="utf-8")
    assert "no load → cab.wav" in page


def test_a_comparison_without_it_has_nothing_of_it(folder: Path) -> None:
    values = compared(folder, "bare")
    assert "after" not in json.dumps(values)


def test_a_second_run_is_the_same_and_another_cabinet_is_told(
    folder: Path, capsys: Capsys
) -> None:
    compared(folder, "loudness")
    words = ("compare", folder / "loudness.toml", "--recheck", folder / "loudness")
    assert run(*words) == 0
    capsys.readouterr()
    write_float(folder / "cab.wav", impulse(50, (0, 1.0)))
    assert run(*words) == 1
    told = capsys.readouterr()
    assert "cab.wav is another one, or set otherwise, now" in told.out.splitlines()
    assert "flat-a-lowpass.wav: changed" in told.out
    plain = ("compare", folder / "bare.toml", "--recheck", folder / "loudness")
    assert run(*plain) == 1
    assert "step 1 after is not there now" in capsys.readouterr().out


def test_what_is_left_of_b_without_a_is_heard_through_the_cabinet(
    folder: Path,
) -> None:
    bare = compared(folder, "bare", "--difference")
    behind = compared(folder, "none", "--difference")
    gain = 10 ** ((behind["trim_db"] - bare["trim_db"]) / 20)
    _, response = read_clip(folder / "cab.wav")
    found, expected = (clips(folder, x)["difference"] for x in ("none", "bare"))
    whole = gain * oaconvolve(expected, response, axes=0)[: 6 * RATE]
    # the delay that frees it of leads rings on both sides: past the ends that is lost
    settled = slice(len(response) + 100, -100)
    assert found[settled] == pytest.approx(whole[settled], abs=2e-6)


def test_words_leave_out_what_a_cabinet_swallows(folder: Path) -> None:
    (bare,) = compared(folder, "bare")["pairings"]
    assert "treble" in bare["verdict"][2]
    # a cabinet that ends at 500 Hz: a one-pole low-pass, 12 of them
    click = impulse(20_000, (0, 1.0))
    pole = np.exp(-2 * np.pi * 500 / RATE)
    for _ in range(12):
        powers = (1 - pole) * pole ** np.arange(3000)
        click = oaconvolve(click, powers)[:20_000]
    write_float(folder / "cab.wav", click)
    (found,) = compared(folder, "none")["pairings"]
    assert "treble" not in found["verdict"][2]


def test_options_ask_for_what_a_file_asks_for(folder: Path, capsys: Capsys) -> None:
    values = compared(folder, "none")
    words = ("compare", folder / "bare.toml", "--after", folder / "cab.wav")
    found = asked(capsys, *words, "-o", folder / "out")
    assert found["after"] == values["after"]
    both = [p["pairings"][0]["clips"]["a"]["sha256"] for p in (values, found)]
    assert both[0] == both[1]
    again = ("compare", folder / "none.toml", "--after", folder / "cab.wav")
    assert "says itself what comes after" in refused(capsys, 2, *again)


def test_a_cabinet_would_not_be_written_over(folder: Path, capsys: Capsys) -> None:
    compared(folder, "none")
    clip = folder / "none" / "flat-a-lowpass.wav"
    words = ("compare", folder / "bare.toml", "--after", clip, "--force")
    told = refused(capsys, 2, *words, "-o", folder / "none")
    assert "would be lost" in told
    take, cab = folder / "take.wav", folder / "cab.wav"
    words = ("render", take, "tern", "-o", cab, "--after", cab, "--force")
    assert "is what comes after" in refused(capsys, 2, *words)


def test_faults_leave_nothing_half_written(folder: Path, capsys: Capsys) -> None:
    before = names_in(folder)
    write_float(folder / "cab.wav", np.zeros(10))
    words = ("compare", folder / "none.toml", "-o", folder / "none")
    assert "is silent" in refused(capsys, 3, *words)
    write_float(folder / "cab.wav", noise(10, 2))
    assert "has 2 channels, but the clip" in refused(capsys, 3, *words)
    (folder / "cab.wav").unlink()
    assert "no such file" in refused(capsys, 3, *words)
    assert names_in(folder) == before - {"cab.wav"}


def test_a_key_that_is_no_step_is_told_with_its_line(
    folder: Path, capsys: Capsys
) -> None:
    text = TEXT.replace('["cab.wav"]', "[3]").replace("MODE", "none")
    (folder / "wrong.toml").write_text(text, encoding="utf-8")
    words = ("compare", folder / "wrong.toml", "-o", folder / "none")
    told = refused(capsys, 3, *words)
    assert "wrong.toml:5: after must be files such as" in told


class TestPlugIns:
    """What comes after is a plug-in; strange ones stand in for real ones."""

    @pytest.fixture(autouse=True)
    def _strange(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(plugin_host, "COMMAND", strange_plugins.COMMAND)

    def asked_for(self, folder: Path, kind: str, settings: str = "") -> str:
        (folder / f"{kind}.vst3").mkdir(exist_ok=True)
        entry = f'{{ plugin = "{kind}.vst3"{settings} }}'
        text = TEXT.replace('"cab.wav"', entry).replace("MODE", "loudness")
        (folder / f"{kind}.toml").write_text(text, encoding="utf-8")
        return kind

    def test_a_late_one_is_aligned_and_matched_behind(self, folder: Path) -> None:
        bare = compared(folder, "bare")
        kind = self.asked_for(folder, "late", ", settings = { level = 0.5 }")
        values = compared(folder, kind)
        found, expected = clips(folder, kind), clips(folder, "bare")
        (pairing,) = values["pairings"]
        for letter in ("a", "b", "dry"):
            gain_db = pairing["clips"][letter]["gain_db"] - bare["trim_db"]
            gain = 0.5 * 10 ** (gain_db / 20)
            assert found[letter] == pytest.approx(gain * expected[letter], abs=4e-7)
        (step,) = values["after"]
        assert step["kind"] == "plug-in"
        assert step["maker"] == "the workshop by the sea"
        assert step["settings"] == {"level": 0.5, "mode": "soft"}
        assert step["latency_frames"] == strange_plugins.LATE_FRAMES
        assert values["takes"][0]["after_latency_frames"] == 300

    def test_levels_are_matched_behind_one_that_bends_the_sound(
        self, folder: Path
    ) -> None:
        kind = self.asked_for(folder, "doubles")
        (pairing,) = compared(folder, kind)["pairings"]
        meter = pyloudnorm.Meter(RATE)
        found = clips(folder, kind)
        levels = [meter.integrated_loudness(found[x]) for x in ("a", "b", "dry")]
        assert max(levels) - min(levels) < 0.02
        told = [pairing["clips"][x]["loudness_lufs"] for x in ("a", "b", "dry")]
        assert told == pytest.approx(levels, abs=0.1)

    @pytest.mark.parametrize("kind", ["crashes", "shortens", "counts"])
    def test_one_that_fails_leaves_nothing_half_written(
        self, folder: Path, capsys: Capsys, kind: str
    ) -> None:
        self.asked_for(folder, kind)
        before = names_in(folder)
        words = ("compare", folder / f"{kind}.toml", "-o", folder / "out")
        assert f"{kind}.vst3: " in refused(capsys, 3, *words)
        take, plugin = folder / "take.wav", folder / f"{kind}.vst3"
        words = ("render", take, "tern", "-o", folder / "out.wav", "--after", plugin)
        assert f"{kind}.vst3: " in refused(capsys, 3, *words)
        assert names_in(folder) == before

    def test_an_interruption_ends_it_and_leaves_nothing(
        self, folder: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        begun: list[subprocess.Popen[bytes]] = []
        start = plugin_host._started

        def started() -> "subprocess.Popen[bytes]":
            begun.append(start())
            return begun[-1]

        monkeypatch.setattr(plugin_host, "_started", started)
        self.asked_for(folder, "hangs")
        before = names_in(folder)
        take, plugin = folder / "take.wav", folder / "hangs.vst3"
        main = threading.get_ident()
        threading.Timer(3.0, signal.pthread_kill, (main, signal.SIGINT)).start()
        words = ("render", take, "tern", "-o", folder / "out.wav", "--after", plugin)
        assert run(*words) == 130
        assert capsys.readouterr().err.split() == ["interrupted"]
        assert names_in(folder) == before
        assert begun
        assert all(process.poll() is not None for process in begun)

    def test_one_that_never_does_the_same_is_told(
        self, folder: Path, capsys: Capsys
    ) -> None:
        compared(folder, self.asked_for(folder, "random"))
        told = capsys.readouterr().out
        assert "random.vst3 doesn't give the same sound twice" in told

    def test_other_settings_are_told_by_recheck(
        self, folder: Path, capsys: Capsys
    ) -> None:
        kind = self.asked_for(folder, "plain", ", settings = { level = 0.5 }")
        compared(folder, kind)
        words = ("compare", folder / f"{kind}.toml", "--recheck", folder / kind)
        assert run(*words) == 0
        self.asked_for(folder, "plain", ', settings = { level = 0.5, mode = "hard" }')
        capsys.readouterr()
        assert run(*words) == 1
        assert "plain.vst3 is another one, or set otherwise" in capsys.readouterr().out

    def test_render_says_what_it_played_through(
        self, folder: Path, capsys: Capsys
    ) -> None:
        take, plugin = folder / "take.wav", self.asked_for(folder, "late")
        step = f"{folder / plugin}.vst3:level=0.25,mode=hard"
        words = ("render", take, "tern", "-o", folder / "out.wav", "--after", step)
        values = asked(capsys, *words, "--after", folder / "cab.wav")
        assert values["chain"].endswith("late.vst3 (level 0.25, mode hard) → cab.wav")
        assert [step["kind"] for step in values["after"]] == [
            "plug-in",
            "impulse response",
        ]
        assert any("300 frames late" in notice for notice in values["notices"])


def test_divider_and_cabinet_give_a_hand_computed_clip(
    tmp_path: Path, capsys: Capsys
) -> None:
    take = write_float(tmp_path / "take.wav", impulse(1000, (100, 0.5), (900, 0.5)))
    cab = write_float(tmp_path / "cab.wav", impulse(300, (10, 0.5), (200, -0.25)))
    circuit, clip = drawn(tmp_path, "divider", DIVIDER), tmp_path / "out.wav"
    values = asked(capsys, "render", take, circuit, "-o", clip, "--after", cab)
    _, found = read_clip(clip)
    # half of it, by the divider; what would ring on after the end is cut
    expected = impulse(1000, (110, 0.125), (300, -0.0625), (910, 0.125))
    assert found[:, 0] == pytest.approx(expected, abs=1e-7)
    assert any("when the take ends is cut off" in n for n in values["notices"])
