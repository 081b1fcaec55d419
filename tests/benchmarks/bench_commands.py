# SPDX-License-Identifier: GPL-3.0-or-later
"""Whole commands, measured from outside: time, and the memory of long renders.

    python tests/benchmarks/bench_commands.py [--minutes 120]

Prints medians of five runs, and the ratio of peak memory between a long take and one of
five minutes, both in this one run. Nothing here is a test.
"""

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time
import wave
from pathlib import Path

import numpy as np

RATE_HZ = 44_100


def run(*arguments, cwd=None):
    """Run the command once; return seconds and peak memory in MB."""
    start = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "tonebench", *map(str, arguments)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd=cwd,
    )
    _, status, usage = os.wait4(child.pid, 0)
    if status:
        raise SystemExit(f"tonebench {' '.join(map(str, arguments))} failed")
    return time.perf_counter() - start, usage.ru_maxrss / 1024


def show(label, *arguments, goal_s=None, runs=5):
    times = [run(*arguments)[0] for _ in range(runs + 1)][1:]
    goal = f"   goal {goal_s:.2f} s" if goal_s else ""
    print(
        f"{label:<34} {statistics.median(times):6.3f} s "
        f"({min(times):.3f} to {max(times):.3f}){goal}"
    )


def write_take(path, minutes):
    """Write mono noise that dies away every second, a minute at a time."""
    rng = np.random.default_rng(1)
    one = rng.standard_normal(RATE_HZ) * np.exp(-np.arange(RATE_HZ) / 8000) * 3000
    minute = np.tile(one.astype("<i2"), 60).tobytes()
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        for _ in range(minutes):
            file.writeframesraw(minute)


def memory(minutes):
    around = ("--pickup", "sedge")
    render = ("take.wav", "plover", "-o", "out.wav", *around, "--subtype", "pcm24")
    sides = ("--a", "tern", "--b", "plover", "--take", "take.wav", "-o", "out")
    for name, words in (("render", render), ("compare", (*sides, *around))):
        found = {}
        for length in (5, minutes):
            with tempfile.TemporaryDirectory() as folder:
                write_take(Path(folder) / "take.wav", length)
                found[length] = run(name, *words, cwd=folder)
            seconds, peak = found[length]
            share = seconds / (60 * length)
            print(
                f"{name} of {length:>4} min             {peak:7.1f} MB, "
                f"{seconds:6.2f} s, {100 * share:.2f} % of its length"
            )
        ratio = found[minutes][1] / found[5][1]
        print(f"memory, {minutes} min against 5 min       {ratio:5.3f}   goal 1.20")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=int, default=120)
    minutes = parser.parse_args().minutes
    show("tonebench --help", "--help", goal_s=0.15)
    show("curves plover", "curves", "plover", goal_s=0.6)
    show(
        "curves plover, with a filter",
        *("curves", "plover", "--pickup", "sedge", "--rate", 44100, "--json"),
        goal_s=0.6,
    )
    show("check plover", "check", "plover")
    with tempfile.TemporaryDirectory() as folder:
        words = ("compare", "--force", "-o", Path(folder) / "demo")
        show("compare, the bundled demo", *words, goal_s=4)
    memory(minutes)


if __name__ == "__main__":
    main()
