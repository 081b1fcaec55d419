# SPDX-License-Identifier: GPL-3.0-or-later
"""What ``compare`` does with its options: a page opened, more takes, a dry clip."""

import json
import webbrowser
from pathlib import Path
from urllib.parse import unquote, urlparse

import pytest
from client_pages import Page
from commands import DIVIDER, VOLUME, asked, drawn, names_in, refused, tonebench
from sounds import RATE, noise, sine, write_float

Capsys = pytest.CaptureFixture[str]
TEXT = """
schema = 1
title = "Two ways to be softer"
take = "take.wav"

[a]
circuit = "divider"

[b]
circuit = "volume"
"""
SIDES = ("--a", "divider.toml", "--b", "volume.toml")
PICTURES = {
    *("curves.svg", "curves.png", "curves-dark.svg", "curves-dark.png"),
    "curves.csv",
}


def files(stem: str, *clips: str) -> set[str]:
    """Return the names of a pairing's files: its clips and its pictures."""
    names = {f"{stem}-{name}" for name in PICTURES}
    return names | {f"{stem}-{clip}.wav" for clip in clips}


@pytest.fixture(autouse=True)
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    write_float(tmp_path / "take.wav", noise(RATE))
    write_float(tmp_path / "other.wav", sine(200, 1))
    drawn(tmp_path, "divider", DIVIDER)
    drawn(tmp_path, "volume", VOLUME)
    (tmp_path / "two.toml").write_text(TEXT, encoding="utf-8")
    return tmp_path


class Browser(webbrowser.BaseBrowser):
    """Notes what it is to open."""

    def __init__(self, *, works: bool = True) -> None:
        super().__init__("noting")
        self.works = works
        self.opened: list[str] = []

    def open(self, url: str, new: int = 0, autoraise: bool = True) -> bool:
        self.opened.append(url)
        return self.works


@pytest.fixture
def browser(monkeypatch: pytest.MonkeyPatch) -> Browser:
    """Return the only browser of the system."""
    noting = Browser()
    monkeypatch.setattr(webbrowser, "_browsers", {})
    monkeypatch.setattr(webbrowser, "_tryorder", [])
    webbrowser.register("noting", None, noting)
    return noting


# --open


@pytest.mark.parametrize("out", ["out", "a folder for #1 & 50 %", "töne/ぺ"])
def test_open_opens_the_page_once_it_is_whole(
    desk: Path, browser: Browser, out: str
) -> None:
    (desk / out).parent.mkdir(exist_ok=True)
    assert tonebench("compare", "two.toml", "-o", out, "--open") == 0
    (url,) = browser.opened
    parts = urlparse(url)
    assert parts[:2] == ("file", "")
    assert (parts.query, parts.fragment) == ("", "")
    page = Path(unquote(parts.path))
    assert page == (desk / out / "index.html").resolve()
    assert Page(page.read_text(encoding="utf-8")).data["pairings"]


def test_nothing_is_opened_unless_asked_for(browser: Browser) -> None:
    assert tonebench("compare", "two.toml", "-o", "out") == 0
    assert browser.opened == []


def test_nothing_is_opened_when_the_run_fails(browser: Browser) -> None:
    assert tonebench("compare", "two.toml", "-o", "nowhere/out", "--open") == 6
    assert browser.opened == []


def test_open_with_json_prints_the_manifest_and_opens(
    desk: Path, browser: Browser, capsys: Capsys
) -> None:
    told = asked(capsys, "compare", "two.toml", "-o", "out", "--open")
    assert told == json.loads((desk / "out" / "manifest.json").read_bytes())
    assert len(browser.opened) == 1


@pytest.mark.parametrize("has_one", [True, False])
def test_without_a_browser_the_folder_is_complete_and_it_is_said(
    desk: Path,
    browser: Browser,
    monkeypatch: pytest.MonkeyPatch,
    capsys: Capsys,
    has_one: bool,
) -> None:
    """One that fails, and none at all."""
    browser.works = False
    if not has_one:
        monkeypatch.setattr(webbrowser, "_tryorder", [])
        monkeypatch.setattr(webbrowser, "register_standard_browsers", lambda: None)
    assert tonebench("compare", "two.toml", "-o", "out", "--open") == 5
    out, err = capsys.readouterr()
    assert out.splitlines()[-1] == "wrote out"
    page = (desk / "out" / "index.html").resolve()
    assert err == (
        f"tonebench: there is no browser to open {page} with; open it by hand\n"
    )
    assert tonebench("compare", "two.toml", "--recheck", "out") == 0


# --force


def test_force_replaces_an_earlier_run_and_leaves_what_is_not_its(
    desk: Path, capsys: Capsys
) -> None:
    words = ("compare", *SIDES, "--take", "take.wav", "-o", "out")
    assert tonebench(*words, "--dry") == 0
    (desk / "out" / "notes.txt").write_text("mine", encoding="utf-8")
    told = refused(capsys, 6, *words)
    assert told == "out: exists already; give another name or --force"
    assert tonebench(*words, "--force") == 0
    # the dry clip of before is gone, since nothing names it any more
    wanted = files("as-asked", "a-divider", "b-volume")
    assert names_in(desk / "out") == wanted | {
        "index.html",
        "manifest.json",
        "notes.txt",
    }


# Several takes


def test_each_take_has_its_clips_and_its_pictures(desk: Path, capsys: Capsys) -> None:
    takes = ("--take", "take.wav", "--take", "other.wav")
    told = asked(capsys, "compare", *SIDES, *takes, "-o", "out")
    assert [take["file"] for take in told["takes"]] == ["take.wav", "other.wav"]
    assert [p["take"] for p in told["pairings"]] == ["take.wav", "other.wav"]
    assert {p["name"] for p in told["pairings"]} == {"as asked"}
    wanted = {"index.html", "manifest.json"}
    for name in ("take", "other"):
        wanted |= files(f"{name}-as-asked", "a-divider", "b-volume")
    assert names_in(desk / "out") == wanted
    page = (desk / "out" / "index.html").read_text(encoding="utf-8")
    assert len(Page(page).data["pairings"]) == 2


def test_words_name_every_take(capsys: Capsys) -> None:
    takes = ("--take", "take.wav", "--take", "other.wav")
    assert tonebench("compare", *SIDES, *takes, "-o", "out") == 0
    lines = capsys.readouterr().out.splitlines()
    for name in ("take", "other"):
        assert f"as asked, {name}" in lines
        assert any(line.startswith(f"{name}.wav: ") for line in lines)


# A file has its own say


@pytest.mark.parametrize(
    "words",
    [
        "--a divider.toml",
        "--b volume.toml",
        "--take take.wav",
        "--set-both volume=5",
        "--set-a volume=5",
        "--set-b volume=5",
        "--part-a R1=1k",
        "--part-b R1=1k",
        "--match rms",
        "--match-hz 200",
        "--pickup sedge",
        "--cable 300p",
        "--load 1M",
        "--source 50",
        "--inner 30p",
        "--load-capacitance 1n",
        "--place onboard",
        "--before tern",
        "--into tern",
        "--buffer input",
    ],
)
@pytest.mark.parametrize("file", ["two.toml", "stage-and-desk"])
def test_what_a_file_says_is_not_said_again_beside_it(
    desk: Path, capsys: Capsys, words: str, file: str
) -> None:
    before = names_in(desk)
    told = refused(capsys, 2, "compare", file, "-o", "out", *words.split())
    assert told == (
        "with a comparison file its own keys count; write that there, or give --a, --b "
        "and --take instead of a file"
    )
    assert names_in(desk) == before


# --dry


def test_dry_beside_a_file_is_as_dry_in_it(desk: Path) -> None:
    text = TEXT.replace("[a]", "dry = true\n\n[a]", 1)
    (desk / "dry.toml").write_text(text, encoding="utf-8")
    assert tonebench("compare", "two.toml", "-o", "out", "--dry") == 0
    assert tonebench("compare", "dry.toml", "-o", "said") == 0
    asked_for, said = (
        {path.name: path.read_bytes() for path in (desk / name).iterdir()}
        for name in ("out", "said")
    )
    assert asked_for == said


@pytest.mark.parametrize("with_file", [True, False])
def test_the_page_and_the_manifest_offer_the_dry_take(
    desk: Path, capsys: Capsys, with_file: bool
) -> None:
    asks = ("two.toml",) if with_file else (*SIDES, "--take", "take.wav")
    told = asked(capsys, "compare", *asks, "-o", "out", "--dry")
    (pairing,) = told["pairings"]
    assert list(pairing["clips"]) == ["a", "b", "dry"]
    assert (desk / "out" / pairing["clips"]["dry"]["file"]).is_file()
    text = (desk / "out" / "index.html").read_text(encoding="utf-8")
    assert list(Page(text).data["pairings"][0]["voices"]) == ["a", "b", "dry"]
    assert "the dry take" in text


def test_without_dry_no_dry_take_is_offered(desk: Path, capsys: Capsys) -> None:
    told = asked(capsys, "compare", "two.toml", "-o", "out")
    assert list(told["pairings"][0]["clips"]) == ["a", "b"]
    text = (desk / "out" / "index.html").read_text(encoding="utf-8")
    assert list(Page(text).data["pairings"][0]["voices"]) == ["a", "b"]


def test_words_tell_the_dry_clip_and_its_level(capsys: Capsys) -> None:
    assert tonebench("compare", "two.toml", "-o", "out", "--dry") == 0
    lines = capsys.readouterr().out.splitlines()
    (line,) = [line for line in lines if "-dry.wav" in line]
    assert line.startswith("  ")
    assert "-dry.wav: no circuit, " in line
    assert " → straight → " in line
    # the divider halves: the take lies 6.02 dB over it, and 0.92 dB over the volume
    assert line.endswith("turned by −6.0 dB")


def test_a_dry_clip_of_two_sides_with_two_inputs_is_refused(
    desk: Path, capsys: Capsys
) -> None:
    before = names_in(desk)
    sides = ("--a", "dunlin", "--b", "dunlin", "--set-b", "tone=0")
    words = ("compare", *sides, "--take", "take.wav", "--pickup", "sedge", "-o", "out")
    told = refused(capsys, 2, *words, "--dry")
    assert told == (
        "a dry clip plays one pickup through no circuit, but dunlin has 2 inputs and "
        "dunlin has 2 inputs; leave dry out"
    )
    assert names_in(desk) == before
    assert tonebench(*words) == 0


def test_clips_alone_are_the_same_clips_without_pictures_and_page() -> None:
    assert tonebench("compare", "two.toml", "-o", "whole") == 0
    assert tonebench("compare", "two.toml", "--clips-only", "-o", "clips") == 0
    whole, clips = names_in(Path("whole")), names_in(Path("clips"))
    assert clips < whole
    assert {Path(name).suffix for name in whole - clips} == {
        *(".svg", ".png", ".html", ".csv"),
    }
    for name in clips - {"manifest.json"}:
        assert Path("clips", name).read_bytes() == Path("whole", name).read_bytes()
    manifest = json.loads(Path("clips", "manifest.json").read_bytes())
    assert not any("curves" in pairing for pairing in manifest["pairings"])
    assert tonebench("compare", "two.toml", "--recheck", "clips") == 0


def test_clips_alone_replace_an_earlier_folder_with_its_page() -> None:
    assert tonebench("compare", "two.toml", "-o", "out") == 0
    words = "compare", "two.toml", "--clips-only", "-o", "out", "--force"
    assert tonebench(*words) == 0
    assert "index.html" not in names_in(Path("out"))


@pytest.mark.parametrize("other", [("--open",), ("--recheck", "out")])
def test_clips_alone_go_with_neither_a_page_nor_a_recheck(
    other: tuple[str, ...],
) -> None:
    assert tonebench("compare", "two.toml", "--clips-only", *other) == 2
    assert not Path("out").exists()
