# SPDX-License-Identifier: GPL-3.0-or-later
"""Which engine is used: what is installed, and what the environment asks for."""

import os
import subprocess
import sys
from types import SimpleNamespace

import pytest
from engines import ENGINES

from tonebench.digital.kernel import engine
from tonebench.digital.kernel.engine import Engine, chosen
from tonebench.errors import RequestError


@pytest.fixture
def pretend(monkeypatch: pytest.MonkeyPatch):
    """Return a function that pretends what is installed and what is asked for."""

    def given(module: object, asked: str | None) -> Engine:
        monkeypatch.setattr(engine, "compiled", lambda: module)
        if asked is None:
            monkeypatch.delenv("TONEBENCH_KERNEL", raising=False)
        else:
            monkeypatch.setenv("TONEBENCH_KERNEL", asked)
        return chosen()

    return given


def module(is_wide: bool) -> SimpleNamespace:
    return SimpleNamespace(lib=SimpleNamespace(tb_has_wide_path=lambda: int(is_wide)))


@pytest.mark.parametrize("asked", [None, "", "auto"])
def test_the_best_that_is_there_is_used_unless_told_otherwise(pretend, asked):
    assert pretend(module(True), asked) is Engine.WIDE
    assert pretend(module(False), asked) is Engine.BASELINE
    assert pretend(None, asked) is Engine.SCIPY


def test_the_environment_can_ask_for_less(pretend):
    assert pretend(module(True), "baseline") is Engine.BASELINE
    assert pretend(module(True), "off") is Engine.SCIPY
    assert pretend(None, "baseline") is Engine.SCIPY


def test_another_word_is_refused(pretend):
    with pytest.raises(RequestError, match="auto, baseline or off, got 'fast'; unset"):
        pretend(module(True), "fast")


def test_a_module_that_was_never_compiled_is_told(monkeypatch):
    monkeypatch.setattr(engine, "_MODULE", "tonebench.digital.kernel._nothing")
    assert engine.fault() == "it was not compiled when tonebench was installed"


def test_a_module_that_cannot_be_loaded_is_told_and_done_without(monkeypatch):
    def broken(name: str) -> None:
        raise ImportError("No module named '_cffi_backend'")

    monkeypatch.setattr(engine, "_MODULE", "tonebench.digital.kernel.engine")
    monkeypatch.setattr(engine, "import_module", broken)
    engine.compiled.cache_clear()
    try:
        assert engine.fault() == "No module named '_cffi_backend'"
        assert engine.compiled() is None
    finally:
        engine.compiled.cache_clear()


RUN = """
import sys
import numpy as np
from tonebench.audio.levels import LevelMeter
from tonebench.audio.loudness import loudness_lufs
from tonebench.audio.meters import Meters
from tonebench.digital.cascade import Cascade
from tonebench.digital.runner import Runner
sound = np.random.default_rng(1).standard_normal((48000, 2))
cascade = Cascade(np.array([[1.0, 0, 0, 1, -0.5, 0]]), 48000)
out = Runner(cascade, 2).process(sound)
LevelMeter(2).feed(out)
Meters(48000, 2).feed(out)
loudness_lufs(out, 48000)
print("scipy" in sys.modules)
"""


@pytest.mark.parametrize("asked", ENGINES)
def test_scipy_is_imported_when_it_does_the_work_and_only_then(monkeypatch, asked):
    monkeypatch.setenv("TONEBENCH_KERNEL", asked)
    ran = subprocess.run(
        [sys.executable, "-c", RUN],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert ran.stdout.strip() == str(chosen() is Engine.SCIPY)
