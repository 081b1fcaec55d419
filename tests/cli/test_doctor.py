# SPDX-License-Identifier: GPL-3.0-or-later
"""``doctor`` tells what is installed here, and what would be better."""

import platform
from importlib.metadata import version

import pytest
from commands import asked, refused, tonebench

from tonebench.digital.kernel import engine
from tonebench.digital.kernel.engine import Engine, chosen
from tonebench.report import doctor

Capsys = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def complete(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend that every optional part that Python finds is there."""
    monkeypatch.setattr(doctor, "find_spec", lambda name: name)
    monkeypatch.setattr(doctor, "find_library", lambda name: name)


@pytest.fixture
def bare(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend that nothing was compiled."""
    monkeypatch.setattr(engine, "_MODULE", "tonebench.digital.kernel._nothing")
    monkeypatch.setattr(engine, "compiled", lambda: None)


def test_the_engine_in_use_and_the_versions_are_told(
    capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TONEBENCH_KERNEL", raising=False)
    told = asked(capsys, "doctor")
    assert told["schema"] == 1
    assert told["engine"] == chosen().value
    assert told["asked"] == "auto"
    assert told["python"] == platform.python_version()
    for library in (
        "cffi",
        "click",
        "matplotlib",
        "numpy",
        "scipy",
        "soundfile",
        "soxr",
    ):
        assert told["versions"][library] == version(library)
    parts = [part["part"] for part in told["missing"]]
    assert parts == (["compiled kernel"] if chosen() is Engine.SCIPY else [])


def test_a_missing_kernel_is_told_with_what_it_is_for_and_how_to_get_it(
    bare: None, capsys: Capsys
) -> None:
    told = asked(capsys, "doctor")
    assert told["engine"] == "scipy"
    (part,) = told["missing"]
    assert part["part"] == "compiled kernel"
    assert part["reason"] == "it was not compiled when tonebench was installed"
    assert "C compiler" in part["remedy"]
    assert tonebench("doctor") == 0
    out = capsys.readouterr().out
    assert "filters and meters run in: scipy\n" in out
    for words in part.values():
        assert words in out


def test_a_missing_plug_in_host_is_told_with_how_to_get_it(
    capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(doctor, "find_spec", lambda name: name != "pedalboard" or None)
    told = asked(capsys, "doctor")["missing"][-1]
    assert told["part"] == "plug-in host"
    assert "pip install 'tonebench[plugins]'" in told["remedy"]


@pytest.mark.parametrize(
    ("lacking", "remedy"),
    [
        ("find_spec", "pip install 'tonebench[live]'"),
        ("find_library", "apt install libportaudio2"),
    ],
)
def test_sound_cards_that_can_not_be_reached_are_told_with_how_to_get_there(
    capsys: Capsys, monkeypatch: pytest.MonkeyPatch, lacking: str, remedy: str
) -> None:
    monkeypatch.setattr(platform, "system", lambda: "Linux")
    monkeypatch.setattr(doctor, lacking, lambda name: None)
    told = asked(capsys, "doctor")["missing"][-1]
    assert told["part"] == "sound cards"
    assert remedy in told["remedy"]


def test_the_environments_wish_is_told(
    capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TONEBENCH_KERNEL", "off")
    assert asked(capsys, "doctor")["engine"] == "scipy"
    assert tonebench("doctor") == 0
    assert "TONEBENCH_KERNEL asks for 'off'" in capsys.readouterr().out


def test_a_wish_that_cannot_be_is_refused(
    capsys: Capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TONEBENCH_KERNEL", "fast")
    assert "auto, baseline or off, got 'fast'" in refused(capsys, 2, "doctor")
