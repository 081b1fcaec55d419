# SPDX-License-Identifier: GPL-3.0-or-later
"""What differs between A and B, in words: the first thing to know of a comparison.

Everything counts: circuit, parts, pickup, lead, load, and how the controls stand.
"""

from tonebench.circuit.circuit import Circuit
from tonebench.circuit.hookup import Neighbour
from tonebench.circuit.parts import value_words
from tonebench.plan.comparison import Pairing, Side
from tonebench.plan.moves import moving_setting, position_words
from tonebench.units import format_value

#: Two sides that nothing tells apart but how they are set.
ONLY_SETTINGS = "A and B are the same but for settings"
#: What a difference is called, and what is said of it.
_Told = tuple[str, str]


def what_differs(a: Side, b: Side, pairing: Pairing | None = None) -> str:
    """Return in one line what differs between two sides, at a pairing's settings.

    Without a pairing, settings don't count.

    Examples
    --------
    >>> from tonebench.circuit.circuit import STRAIGHT
    >>> from tonebench.circuit.hookup import Hookup
    >>> what_differs(Side(STRAIGHT), Side(STRAIGHT, Hookup(load_ohm=1e6)))
    'only the load differs: open against 1 MΩ'
    """
    found = [
        (word, f"{said_a} against {said_b}")
        for (word, said_a), (_, said_b) in zip(_words(a), _words(b), strict=True)
        if said_a != said_b
    ]
    if a.circuit.name == b.circuit.name:
        found += _drawn_differently(a.circuit, b.circuit)
    if pairing is not None and (turned := _set_differently(a, b, pairing)):
        found.append(("settings", ", ".join(turned)))
    if not found:
        return "nothing differs: A and B are the same" if pairing else ONLY_SETTINGS
    words = [word for word, _ in found]
    told = ", ".join(said for _, said in found)
    if words == ["settings"]:
        return f"only the settings differ: {told}"
    if len(words) == 1:
        return f"only the {words[0]} differs: {told}"
    return f"the {', the '.join(words[:-1])} and the {words[-1]} differ: {told}"


def short_names(a: Side, b: Side) -> tuple[str, str]:
    """Return a name for each side that tells them apart, if anything but settings does.

    Examples
    --------
    >>> from tonebench.circuit.circuit import STRAIGHT
    >>> from tonebench.circuit.hookup import Hookup
    >>> short_names(Side(STRAIGHT), Side(STRAIGHT, Hookup(load_ohm=1e6)))
    ('straight, load open', 'straight, load 1 MΩ')
    """
    if a.circuit.name != b.circuit.name:
        return a.circuit.name, b.circuit.name
    told: tuple[list[str], list[str]] = ([a.circuit.name], [b.circuit.name])
    for (word, said_a), (_, said_b) in zip(_words(a), _words(b), strict=True):
        if said_a != said_b:
            named = word in (
                "load",
                "source",
                "load capacitance",
                "inner wire",
                "place",
            )
            lead = word == "lead"
            for words, said in zip(told, (said_a, said_b), strict=True):
                end = " lead" if lead and said != "no lead" else ""
                words.append(f"{word} {said}" if named else f"{said}{end}")
    for word, said in _drawn_differently(a.circuit, b.circuit):
        said_a, _, said_b = said.partition(" against ")
        if said_b:
            ref = word.removeprefix("part ")
            told[0].append(f"{ref} {said_a}")
            told[1].append(f"{ref} {said_b}")
    return ", ".join(told[0]), ", ".join(told[1])


def _short(word: str, said: str) -> str:
    """Return what stands in a place, in as few words as tell it."""
    if word in ("source", "inner wire", "load", "load capacitance", "place"):
        return f"{word} {said}"
    return f"{said} lead" if word == "lead" and said != "no lead" else said


def _drawn_differently(a: Circuit, b: Circuit) -> list[_Told]:
    values_a = {part.ref: value_words(part) for part in a.parts}
    values_b = {part.ref: value_words(part) for part in b.parts}
    found = []
    for ref in dict.fromkeys((*values_a, *values_b)):
        said_a, said_b = values_a.get(ref, "none"), values_b.get(ref, "none")
        if said_a != said_b:
            found.append((f"part {ref}", f"{said_a} against {said_b}"))
    if not found and a.parts != b.parts:
        return [("drawing", "two files of one name")]
    return found


def _set_differently(a: Side, b: Side, pairing: Pairing) -> list[str]:
    """Return the controls that stand differently, in words.

    Where two units start is how they are, not how they are set: of different circuits
    only what was turned from there counts.
    """
    controls = a.chain.controls, b.chain.controls
    start_a, start_b = (moving_setting(each, {}).positions for each in controls)
    set_a = moving_setting(controls[0], pairing.a).positions
    set_b = moving_setting(controls[1], pairing.b).positions
    is_same = a.circuit.name == b.circuit.name
    told = []
    for name in dict.fromkeys((*set_a, *set_b)):
        on_a, on_b = set_a.get(name), set_b.get(name)
        is_turned = on_a != start_a.get(name) or on_b != start_b.get(name)
        is_shared = on_a is not None and on_b is not None
        if on_a == on_b or not ((is_same and is_shared) or is_turned):
            continue
        if on_a is None or on_b is None:
            letter, position = ("A", on_a) if on_b is None else ("B", on_b)
            told.append(f"{name} {position_words(position)} on {letter}")
        else:
            told.append(f"{name} {position_words(on_a)} against {position_words(on_b)}")
    return told


def _words(side: Side) -> list[_Told]:
    """Return what stands in each place of a side."""
    hookup = side.hookup

    def value(number: float | None, unit: str, nothing: str) -> str:
        return format_value(number, unit) if number else nothing

    def names(neighbours: tuple[Neighbour, ...]) -> str:
        told = [
            n.circuit.name
            + (" at " if n.settings else "")
            + ", ".join(f"{k} {v}" for k, v in n.settings.items())
            for n in neighbours
        ]
        return ", ".join(told) or "nothing"

    pickups = {
        i.name: hookup.pickups.get(i.name, hookup.pickups.get(""))
        for i in side.circuit.inputs
    }
    told = [p.name if p else "no pickup" for p in pickups.values()]
    pickup = told[0] if len(set(told)) == 1 else " + ".join(told)
    return [
        ("circuit", side.circuit.name),
        ("pickup", pickup),
        ("source", value(hookup.source_ohm, "Ω", "ideal")),
        ("inner wire", value(hookup.inner_farad, "F", "as usual")),
        ("lead", value(hookup.cable_farad, "F", "no lead")),
        ("load", value(hookup.load_ohm, "Ω", "open")),
        ("load capacitance", value(hookup.load_farad, "F", "none")),
        ("place", hookup.place or side.circuit.place),
        ("buffer", "a buffer" if hookup.has_buffer else "no buffer"),
        ("circuit before it", names(hookup.before)),
        ("circuit after it", names(hookup.into)),
    ]
