# SPDX-License-Identifier: GPL-3.0-or-later
"""What this install is made of: the engine in use, versions, and what is missing.

Looks at what is installed and changes nothing. Knows only of parts that tonebench uses.
"""

import platform
from ctypes.util import find_library
from dataclasses import dataclass, replace
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec

from tonebench import __version__
from tonebench.digital.kernel.engine import VARIABLE, Engine, asked, chosen, fault

SCHEMA = 1
_LIBRARIES = ("cffi", "click", "matplotlib", "numpy", "scipy", "soundfile", "soxr")


@dataclass(frozen=True, slots=True)
class Missing:
    """An optional part that isn't there: why, what it is for, how to get it."""

    part: str
    reason: str
    purpose: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Findings:
    """What was found; `asked` is what the environment asks for."""

    engine: Engine
    asked: str
    versions: dict[str, str | None]
    missing: tuple[Missing, ...]


def examine() -> Findings:
    """Look at this install.

    Raises
    ------
    RequestError
        If the environment asks for an engine that doesn't exist.
    """
    reason = fault()
    missing = [_missing_kernel(reason)] if reason else []
    missing += [] if find_spec("pedalboard") else [_NO_PLUGINS]
    missing += [] if find_spec("sounddevice") else [_NO_SOUND_CARDS]
    if find_spec("sounddevice") and _lacks_portaudio():
        missing.append(_NO_PORTAUDIO)
    versions = {name: _version(name) for name in _LIBRARIES}
    return Findings(chosen(), asked(), versions, tuple(missing))


_NO_PLUGINS = Missing(
    part="plug-in host",
    reason="the package pedalboard isn't installed",
    purpose="a VST3 or AU plug-in after both circuits, by --after",
    remedy="pip install 'tonebench[plugins]', or pip install pedalboard",
)


_NO_SOUND_CARDS = Missing(
    part="sound cards",
    reason="the package sounddevice isn't installed",
    purpose="playing and switching in the terminal, as blind does",
    remedy="pip install 'tonebench[live]', or pip install sounddevice",
)
_NO_PORTAUDIO = replace(
    _NO_SOUND_CARDS,
    reason="PortAudio isn't installed",
    remedy="apt install libportaudio2 (Debian, Ubuntu)",
)


def _lacks_portaudio() -> bool:
    """Return whether sounddevice can't work; elsewhere it brings what it needs."""
    return platform.system() == "Linux" and find_library("portaudio") is None


def _missing_kernel(reason: str) -> Missing:
    return Missing(
        part="compiled kernel",
        reason=reason,
        purpose="filters and meters several times as fast; the sound is the same",
        remedy=f"{_compiler()}, then reinstall: pip install --force-reinstall "
        "--no-deps, and what you installed tonebench from",
    )


def _compiler() -> str:
    """Return how to get a compiler on this system."""
    match platform.system():
        case "Linux":
            return (
                "a C compiler and Python's headers (Debian, Ubuntu: "
                "apt install gcc libc6-dev python3-dev)"
            )
        case "Darwin":
            return "a C compiler (xcode-select --install)"
        case _:
            return "a C compiler that knows GNU C (gcc or clang)"


def _version(library: str) -> str | None:
    try:
        return version(library)
    except PackageNotFoundError:
        return None


def doctor_json(found: Findings) -> dict[str, object]:
    """Return the findings as the values that ``doctor --json`` prints."""
    return {
        "schema": SCHEMA,
        "tonebench": __version__,
        "python": platform.python_version(),
        "system": f"{platform.system()} {platform.machine()}",
        "engine": found.engine.value,
        "asked": found.asked,
        "versions": found.versions,
        "missing": [
            {
                "part": part.part,
                "reason": part.reason,
                "purpose": part.purpose,
                "remedy": part.remedy,
            }
            for part in found.missing
        ],
    }


def doctor_words(found: Findings) -> str:
    """Return the findings as lines for people."""
    libraries = (f"{name} {has or '(missing)'}" for name, has in found.versions.items())
    lines = [
        f"tonebench {__version__}, Python {platform.python_version()}, "
        f"{platform.system()} {platform.machine()}",
        f"filters and meters run in: {found.engine.value}",
        f"libraries: {', '.join(libraries)}",
    ]
    if found.asked != "auto":
        lines.append(f"{VARIABLE} asks for '{found.asked}'; unset it for the fastest")
    for part in found.missing:
        lines += [
            "",
            f"missing: {part.part} ({part.reason})",
            f"  what for: {part.purpose}",
            f"  how to get it: {part.remedy}",
        ]
    if not found.missing:
        lines.append("nothing is missing")
    return "\n".join(lines)
