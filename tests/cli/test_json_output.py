# SPDX-License-Identifier: GPL-3.0-or-later
"""What other programs build on: the JSON of every command, key by key."""

import hashlib
import json
import math
from pathlib import Path

import numpy as np
import pytest
from commands import (
    DIVIDER,
    LOW_PASS,
    LOW_PASS_HZ,
    MIXER,
    VOLUME,
    asked,
    drawn,
    names_in,
    tonebench,
)
from sounds import RATE, noise, read_clip, sine, write_float

from tonebench.shipped import names

Capsys = pytest.CaptureFixture[str]
CURVE_KEYS = {"settings", "input", "frequency_hz", "gain_db", "phase_deg"}


# curves


def test_curves_at_asked_frequencies_are_exact(tmp_path: Path, capsys: Capsys) -> None:
    """First-order low-pass: 1/(1 + jf/f₀); JSON keeps all digits of a double."""
    path = drawn(tmp_path, "low-pass", LOW_PASS)
    told = asked(capsys, "curves", path, "--at", "20,100,1000,20000")
    assert told["schema"] == 1
    assert told["circuit"] == "low-pass"
    assert told["chain"] == "ideal source → low-pass → no load"
    (curve,) = told["curves"]
    assert set(curve) == CURVE_KEYS
    assert curve["settings"] == {}
    assert curve["input"] == "in"
    assert curve["frequency_hz"] == [20, 100, 1000, 20000]
    hz = np.array(curve["frequency_hz"])
    exact_db = -10 * np.log10(1 + (hz / LOW_PASS_HZ) ** 2)
    np.testing.assert_allclose(curve["gain_db"], exact_db, rtol=0, atol=1e-12)
    exact_deg = -np.degrees(np.arctan(hz / LOW_PASS_HZ))
    np.testing.assert_allclose(curve["phase_deg"], exact_deg, rtol=1e-12)


def test_curves_without_frequencies_run_from_10_hz_to_24_khz(capsys: Capsys) -> None:
    (curve,) = asked(capsys, "curves", "tern")["curves"]
    hz = np.array(curve["frequency_hz"])
    assert (hz[0], hz[-1]) == (10, 24_000)
    assert np.ptp(np.diff(np.log(hz))) < 1e-9  # a logarithmic grid
    assert {len(curve[key]) for key in CURVE_KEYS - {"settings", "input"}} == {len(hz)}


@pytest.mark.parametrize("rate", [44_100, 48_000, 96_000])
def test_a_rate_adds_the_filters_gain(capsys: Capsys, rate: int) -> None:
    words = ("curves", "plover", "--pickup", "sedge", "--cable", "700p")
    at = ("--load", "1M", "--at", "20,200,2000,20000")
    (curve,) = asked(capsys, *words, *at, "--rate", rate)["curves"]
    assert set(curve) == CURVE_KEYS | {"digital_gain_db"}
    off_db = np.subtract(curve["digital_gain_db"], curve["gain_db"])
    assert 0 < np.abs(off_db).max() <= 0.02


def test_a_family_is_one_curve_per_combination_of_0_5_and_10(capsys: Capsys) -> None:
    words = ("curves", "plover", "--family", "bass,bell", "--at", "100")
    told = asked(capsys, *words, "--set", "level=7")
    settings = [curve["settings"] for curve in told["curves"]]
    wanted = [(x, y) for x in (0, 5, 10) for y in (0, 5, 10)]
    assert [(s["bass"], s["bell"]) for s in settings] == wanted
    assert {s["level"] for s in settings} == {7}
    assert all(set(s) == {"bass", "bell", "centre", "level"} for s in settings)


def test_several_inputs_have_a_curve_each(capsys: Capsys) -> None:
    words = ("curves", "dunlin", "--pickup", "neck=sedge", "--pickup", "bridge=marram")
    told = asked(capsys, *words, "--at", "1k")
    assert [curve["input"] for curve in told["curves"]] == ["neck", "bridge"]
    assert told["chain"].startswith("sedge (neck) + marram (bridge) → ")


def test_silence_is_null(tmp_path: Path, capsys: Capsys) -> None:
    path = drawn(tmp_path, "volume", VOLUME)
    words = ("curves", path, "--set", "volume=0", "--at", "100,1k", "--rate", "48000")
    (curve,) = asked(capsys, *words)["curves"]
    for key in ("gain_db", "phase_deg", "digital_gain_db"):
        assert curve[key] == [None, None]


def test_a_neighbours_control_is_turned_by_its_full_name(
    tmp_path: Path, capsys: Capsys
) -> None:
    """A volume of 90 kΩ at 5 before a divider of 20 kΩ, by hand."""
    volume = drawn(tmp_path, "volume", VOLUME)
    divider = drawn(tmp_path, "divider", DIVIDER)
    words = ("curves", divider, "--before", volume, "--at", "1000")
    (curve,) = asked(capsys, *words, "--set", "volume.volume=5")["curves"]
    assert curve["settings"] == {"volume.volume": 5}
    lower = 1 / (1 / 45e3 + 1 / 20e3)
    gain = lower / (55e3 + lower) / 2
    assert curve["gain_db"] == [pytest.approx(20 * math.log10(gain), abs=1e-9)]


def test_a_part_has_another_value_for_once(tmp_path: Path, capsys: Capsys) -> None:
    path = drawn(tmp_path, "divider", DIVIDER)
    words = ("curves", path, "--at", "100", "--part", "R2=30k", "--part", "R1=10k")
    (curve,) = asked(capsys, *words)["curves"]
    assert curve["gain_db"] == [pytest.approx(20 * math.log10(0.75), abs=1e-9)]


# render


def test_render_tells_what_it_wrote(tmp_path: Path, capsys: Capsys) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 0.5, -6))
    path = drawn(tmp_path, "divider", DIVIDER)
    out = tmp_path / "clip.wav"
    told = asked(capsys, "render", take, path, "-o", out)
    assert told["schema"] == 1
    assert told["chain"] == "ideal source → divider → no load"
    assert told["file"] == str(out)
    assert (told["frames"], told["channels"]) == (RATE // 2, 1)
    assert told["sample_rate_hz"] == RATE
    assert told["trim_db"] == 0
    rate, clip = read_clip(out)
    assert rate == RATE
    assert told["peak_dbfs"] == pytest.approx(20 * np.log10(np.abs(clip).max()))
    assert told["peak_dbfs"] == pytest.approx(-6 - 6.0206, abs=0.01)
    assert isinstance(told["notices"], list)


def test_render_tells_trim_silence_and_notices(tmp_path: Path, capsys: Capsys) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 0.1, 6))
    out = tmp_path / "clip.wav"
    words = ("render", take, "straight", "-o", out, "--subtype", "pcm16", "--trim")
    assert asked(capsys, *words)["trim_db"] == pytest.approx(-7, abs=0.01)
    mixer = drawn(tmp_path, "mixer", MIXER)
    told = asked(capsys, "render", take, mixer, "-o", tmp_path / "mixed.wav")
    assert "one channel drives all inputs: left, right" in told["notices"]
    volume = drawn(tmp_path, "volume", VOLUME)
    silent = ("-o", tmp_path / "silent.wav", "--set", "volume=0")
    assert asked(capsys, "render", take, volume, *silent)["peak_dbfs"] is None


@pytest.mark.parametrize(
    ("name", "words", "kind"),
    [
        ("x.wav", (), "FLOAT"),
        ("x.WAV", ("--subtype", "pcm24"), "PCM_24"),
        ("x.wav", ("--subtype", "pcm16"), "PCM_16"),
        ("x.flac", (), "PCM_24"),
        ("x.flac", ("--subtype", "pcm16"), "PCM_16"),
    ],
)
def test_the_ending_and_the_subtype_say_what_is_written(
    tmp_path: Path, capsys: Capsys, name: str, words: tuple[str, ...], kind: str
) -> None:
    from tonebench.audio.files import read_take

    take = write_float(tmp_path / "take.wav", noise(500, 2))
    out = tmp_path / name
    assert asked(capsys, "render", take, "tern", "-o", out, *words)["channels"] == 2
    info, _ = read_take(out)
    assert (info.subtype, info.frames) == (kind, 500)


# compare


def test_compare_prints_the_manifest_that_it_writes(
    tmp_path: Path, capsys: Capsys
) -> None:
    take = write_float(tmp_path / "take.wav", sine(1000, 1))
    a, b = drawn(tmp_path, "divider", DIVIDER), drawn(tmp_path, "volume", VOLUME)
    out = tmp_path / "out"
    words = ("compare", "--a", a, "--b", b, "--take", take, "-o", out)
    told = asked(capsys, *words, "--set-b", "volume=5", "--part-a", "R2=30k")
    assert told == json.loads((out / "manifest.json").read_bytes())
    assert told["title"] == "divider against volume"
    (pairing,) = told["pairings"]
    assert pairing["name"] == "as asked"
    for letter, gain in (("a", 0.75), ("b", 0.45)):
        clip = pairing["clips"][letter]
        data = (out / clip["file"]).read_bytes()
        assert clip["sha256"] == hashlib.sha256(data).hexdigest()
        level = clip["before"]["rms_dbfs"]
        assert level == pytest.approx(-23.0103 + 20 * math.log10(gain), abs=1e-3)
    jump = 20 * math.log10(0.45 / 0.75)
    assert pairing["jump_db"]["loudness"] == pytest.approx(jump, abs=1e-6)
    assert pairing["clips"]["a"]["gain_db"] == pytest.approx(jump, abs=1e-6)
    assert pairing["clips"]["b"]["gain_db"] == 0
    assert pairing["clips"]["b"]["settings"] == {"volume": 5}
    assert str(tmp_path) not in json.dumps(told)


@pytest.mark.parametrize(
    ("words", "gain_db"),
    [
        (("--match", "rms"), -13.0845),
        (("--match", "frequency", "--match-hz", "100"), -0.0171),
        (("--match", "frequency", "--match-hz", str(LOW_PASS_HZ)), -3.0103),
        (("--match", "none"), 0),
    ],
)
def test_compare_matches_as_it_is_asked_to(
    tmp_path: Path, capsys: Capsys, words: tuple[str, ...], gain_db: float
) -> None:
    """A first-order low-pass on a sine at 7 kHz: 10 lg(1 + (7000/f₀)²) = 13.0845 dB."""
    take = write_float(tmp_path / "take.wav", sine(7000, 1))
    path = drawn(tmp_path, "low-pass", LOW_PASS)
    asking = ("compare", "--a", "straight", "--b", path, "--take", take)
    told = asked(capsys, *asking, "-o", tmp_path / "out", *words)
    assert told["match"]["mode"] == words[1]
    clips = told["pairings"][0]["clips"]
    assert clips["a"]["gain_db"] == pytest.approx(gain_db, abs=0.01)
    assert clips["b"]["gain_db"] == 0


def test_compare_without_a_name_writes_beside_where_one_stands(
    tmp_path: Path, capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    write_float(tmp_path / "take.wav", sine(1000, 0.1))
    drawn(tmp_path, "mine", 'schema = 1\ntake = "take.wav"\n'
          'a.circuit = "tern"\nb.circuit = "straight"\n')  # fmt: skip
    asked(capsys, "compare", "mine.toml")
    asked(capsys, "compare", "--a", "tern", "--b", "plover", "--take", "take.wav")
    made = {"mine", "tern-against-plover"}
    assert names_in(tmp_path) == made | {"take.wav", "mine.toml"}


# check, list


def test_check_tells_figures_and_remarks(tmp_path: Path, capsys: Capsys) -> None:
    path = drawn(tmp_path, "volume", VOLUME)
    told = asked(capsys, "check", path)
    assert told["schema"] == 1
    assert (told["circuit"], told["place"]) == ("volume", "floor")
    assert (told["parts"], told["order"]) == (2, 0)
    assert told["gain_db_at_500_hz"]["in"] == pytest.approx(-0.9151, abs=1e-3)
    assert told["dc_gain_db"]["in"] == pytest.approx(-0.9151, abs=1e-3)
    assert told["inverts"] == {"in": False}
    assert set(told["knobs"]) == {"volume"}
    assert told["knobs"]["volume"]["at_0"]["in"]["change_db"] is None
    assert told["warnings"] == []
    doubtful = drawn(tmp_path, "doubtful", LOW_PASS.replace('"10n"', '".047"'))
    (warning,) = asked(capsys, "check", doubtful)["warnings"]
    assert set(warning) == {"file", "line", "part", "message", "hint"}
    assert (warning["line"], warning["part"]) == (7, "C1")


def test_check_of_a_good_file_ends_with_0_even_with_a_warning(
    tmp_path: Path, capsys: Capsys
) -> None:
    doubtful = drawn(tmp_path, "doubtful", LOW_PASS.replace('"10n"', '".047"'))
    assert tonebench("check", doubtful) == 0
    out, err = capsys.readouterr()
    assert "C1" in out
    assert err == ""


def test_list_has_all_that_is_shipped(capsys: Capsys) -> None:
    told = asked(capsys, "list")
    assert set(told) == {"circuit", "pickup", "take", "comparison"}
    for kind in ("circuit", "pickup"):
        assert [entry["name"] for entry in told[kind]] == [*names(kind)]
    for entries in told.values():
        assert all(set(entry) == {"name", "title"} for entry in entries)


def test_results_go_to_stdout_and_talk_to_stderr(
    tmp_path: Path, capsys: Capsys
) -> None:
    words = (
        "curves",
        "tern",
        "--csv",
        tmp_path / "x.csv",
        "--plot",
        tmp_path / "x.svg",
    )
    assert tonebench(*words, "--json") == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["circuit"] == "tern"
    assert "x.csv" in err
    assert "x.svg" in err
    assert names_in(tmp_path) == {"x.csv", "x.svg"}
