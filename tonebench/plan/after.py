# SPDX-License-Identifier: GPL-3.0-or-later
"""What comes after the preamp, as a person writes it: a cabinet, a plug-in, in order.

The same for A and B. Only names and settings are held here; no sound is read, and no
plug-in is loaded.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from tonebench.errors import RequestError

#: How a plug-in's file or folder ends: VST3, and AU on a Mac.
PLUGIN_ENDINGS = (".vst3", ".component")
#: Plug-ins of kinds that can't be played.
_OTHER_KINDS = (".clap", ".dll", ".lv2", ".so", ".dylib", ".vst", ".aaxplugin")
_TEXT = re.compile(r"(.+?\.(?:vst3|component)[/\\]?):(.*)", re.IGNORECASE | re.DOTALL)
_EXAMPLE = '{ plugin = "box.vst3", settings = { mix = 0.5 } }'

Value = bool | float | str


@dataclass(frozen=True, slots=True)
class ImpulseResponse:
    """A recorded impulse response, such as a cabinet's."""

    path: Path

    @property
    def words(self) -> str:
        """What a chain calls it."""
        return self.path.name


@dataclass(frozen=True, slots=True)
class PlugIn:
    """A plug-in of the user's own, and how it is set, by its own parameter names.

    `name` says which one, where a file holds several.
    """

    path: Path
    settings: Mapping[str, Value] = field(default_factory=dict)
    name: str = ""

    @property
    def words(self) -> str:
        """What a chain calls it."""
        named = f" {self.name}" if self.name else ""
        told = ", ".join(
            f"{name} {_value_words(value)}" for name, value in self.settings.items()
        )
        return f"{self.path.name}{named}" + (f" ({told})" if told else "")


Step = ImpulseResponse | PlugIn


def line_with_after(line: str, steps: Iterable[Step]) -> str:
    """Return a chain's line with what comes after it.

    Examples
    --------
    >>> line_with_after("sedge → tern → 1 MΩ", [ImpulseResponse(Path("my/cab.wav"))])
    'sedge → tern → 1 MΩ → cab.wav'
    """
    return " → ".join([line, *(step.words for step in steps)])


def parse_after(text: str) -> Step:
    """Return the step that one ``--after`` asks for.

    Raises
    ------
    RequestError
        If the text can't be read as one.

    Examples
    --------
    >>> parse_after("box.vst3:mix=0.5,mode=warm").settings
    {'mix': 0.5, 'mode': 'warm'}
    """
    found = _TEXT.fullmatch(text)
    if not found:
        return _step(text, {}, None)
    settings: dict[str, Value] = {}
    for part in found[2].split(","):
        name, sign, value = (word.strip() for word in part.partition("="))
        if not (name and sign and value):
            raise RequestError(
                f"cannot read '{text}'; write it like --after box.vst3:mix=0.5,level=3"
            )
        try:
            settings[name] = float(value)
        except ValueError:
            settings[name] = value
    return _step(found[1], settings, None)


def after_from(value: object, folder: Path) -> tuple[Step, ...]:
    """Return the steps that the key ``after`` of a file in `folder` asks for.

    Raises
    ------
    RequestError
        If it can't be read as one or more steps.
    """
    entries = value if isinstance(value, list) else [value]
    return tuple(_entry(entry, folder) for entry in entries)


def _entry(entry: object, folder: Path) -> Step:
    if isinstance(entry, str):
        return _step(entry, {}, folder)
    if not isinstance(entry, Mapping):
        raise RequestError(
            f'after must be files such as ["cab.wav"], or {_EXAMPLE}, got {entry!r}'
        )
    path, settings = entry.get("plugin"), entry.get("settings", {})
    name = entry.get("name", "")
    is_sound = isinstance(path, str) and isinstance(name, str)
    if not is_sound or entry.keys() - {"plugin", "settings", "name"}:
        raise RequestError(f"a plug-in is written {_EXAMPLE}, got {dict(entry)}")
    if not isinstance(settings, Mapping):
        raise RequestError(
            f"settings must be a table such as {{ mix = 0.5 }}, got {settings!r}"
        )
    values: dict[str, Value] = {}
    for key, given in settings.items():
        if not isinstance(given, (bool, int, float, str)) or given != given:
            raise RequestError(
                f"{key} must be a number, true, false or a text, got {given!r}"
            )
        values[key] = given if isinstance(given, (bool, str)) else float(given)
    made = _step(str(path), values, folder, str(name))
    if isinstance(made, ImpulseResponse):
        raise RequestError(
            f"'{path}' is no plug-in: it must end in {' or '.join(PLUGIN_ENDINGS)}; "
            f'an impulse response is written "{path}" alone'
        )
    return made


def _value_words(value: Value) -> str:
    if isinstance(value, bool):
        return "on" if value else "off"
    return value if isinstance(value, str) else f"{value:g}"


def _step(
    text: str, settings: Mapping[str, Value], folder: Path | None, name: str = ""
) -> Step:
    if not text.strip():
        raise RequestError('after must name a file, got ""')
    path = Path(text)
    if folder is not None and (folder / path).exists():
        path = folder / path
    kind = path.suffix.lower()
    if kind in PLUGIN_ENDINGS:
        return PlugIn(path, settings, name)
    if kind in _OTHER_KINDS:
        raise RequestError(
            f"'{text}' is no plug-in that can be played; give a VST3 (.vst3), or on a "
            "Mac an AU (.component)"
        )
    return ImpulseResponse(path)
