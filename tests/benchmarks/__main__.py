# SPDX-License-Identifier: GPL-3.0-or-later
"""All figures of the project in one run: ``python -m tests.benchmarks``.

Prints tables of medians and of ratios that were measured side by side. Nothing here is
a test: a figure that is missed is printed, and nothing fails.
"""

import argparse
import os
import platform
import subprocess
import sys
from pathlib import Path

from tests.benchmarks import bench_compare, bench_design, bench_kernel

HERE = Path(__file__).parent
UNDERSTANDING = ("traits", "explain", "build", "moves")
PARTS = ("kernel", "compare", "design", "understanding", "commands")


def machine() -> str:
    """Return what the figures were measured on."""
    name = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        lines = info.read_text(encoding="utf-8").splitlines()
        models = [x.partition(":")[2].strip() for x in lines if x.startswith("model n")]
        name = models[0] if models else name
    found = f"{name}, {os.cpu_count()} cores, Python {platform.python_version()}"
    if hasattr(os, "getloadavg"):  # others at work make threads look useless
        found += f", load {os.getloadavg()[0]:.1f} before the start"
    return found


def main() -> None:
    """Print the tables that were asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("parts", nargs="*", metavar="part", help=", ".join(PARTS))
    parser.add_argument("--minutes", type=float, default=10, help="of the take")
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    if unknown := set(asked.parts) - {*PARTS}:
        parser.error(f"no part {', '.join(sorted(unknown))}; {', '.join(PARTS)}")
    parts = asked.parts or PARTS
    print(machine(), end="\n\n")
    if "kernel" in parts:
        bench_kernel.main(asked.minutes, asked.rounds)
    if "compare" in parts:
        bench_compare.main(asked.minutes, asked.rounds)
    if "design" in parts:
        bench_design.main()
        print()
    alone = {
        "understanding": (
            "bench_traits",
            "bench_explain",
            "bench_build",
            "bench_moves",
        ),
        "commands": ("bench_commands",),
    }
    for part, names in alone.items():
        for name in names if part in parts else ():
            print(name.removeprefix("bench_"), flush=True)
            subprocess.run([sys.executable, HERE / f"{name}.py"], check=True)


if __name__ == "__main__":
    main()
