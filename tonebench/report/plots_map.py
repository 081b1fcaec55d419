# SPDX-License-Identifier: GPL-3.0-or-later
"""The picture of features over a knob: frequency across, the knob's position upwards.

Peaks and dips carry their dB beside them; kinds are told apart by mark and dash.
"""

from pathlib import Path
from typing import Any

import numpy as np

from tonebench.audio.outputs import check_new_file, write_whole
from tonebench.circuit.hookup import Chain
from tonebench.report.canvas import (
    PAPER,
    Look,
    check_ending,
    curve_axes,
    frequency_axis,
    heads,
    picture,
)
from tonebench.report.themes import Theme
from tonebench.study.curves import setting_words
from tonebench.study.feature_map import FeatureMap, Track
from tonebench.units import format_db

#: The room that the legend takes, in characters.
_ROOM = "m" * 17
#: Shading: dB a step, steps to each side, and how strong the last one is.
_STEP_DB, _STEPS, _STRONGEST = 3.0, 6, 0.55
_LOWEST_HZ, _HIGHEST_HZ = 10.0, 24_000.0
_MARKS = {"peak": "^", "dip": "v", "high-pass": ">", "low-pass": "<", "shelf": "D"}
_DASHES: dict[str, Any] = {
    "peak": "-",
    "dip": (0, (5, 2)),
    "high-pass": (0, (1, 1.5)),
    "low-pass": (0, (1, 1.5)),
    "shelf": (0, (6, 2, 1, 2)),
}
_TOLD_AT = (0.0, 2.5, 5.0, 7.5, 10.0)


def draw_feature_map(
    chain: Chain,
    found: FeatureMap,
    path: Path,
    headline: str = "",
    *,
    look: Look = PAPER,
    force: bool = False,
) -> None:
    """Draw how features move with a knob; the ending chooses SVG, PNG or PDF.

    Parameters
    ----------
    chain : Chain
        The circuit with its hook-up.
    found : FeatureMap
        As `feature_map` returns it.
    path : Path
        Where to.
    headline : str
        The sentence over the picture; default: what it shows.
    look : Look
        Light or dark paper, or none.
    """
    check_ending(path)
    check_new_file(path, force)
    name = found.knob.label or found.knob.name
    others = {k: v for k, v in found.setting.items() if k != found.knob.name}
    words = headline or f"What turning {name} does to the features of the curve"
    below = [chain.circuit.full_title, chain.line]
    stands = setting_words(found.setting, [found.knob.name])
    rest = f"the rest at {setting_words(others)}; " if others else ""
    below.insert(
        1, f"{rest}shaded: change of gain against {stands}, {_STEP_DB:g} dB a step"
    )

    def paint(figure: Any) -> None:
        top = heads(figure, words, below, look.theme)
        axes = curve_axes(figure, [_ROOM], top)
        _shade(axes, found, look.theme)
        used = {track.kind for track in found.tracks}
        for track in found.tracks:
            _draw_track(axes, track, look.theme)
        frequency_axis(axes, _LOWEST_HZ, _HIGHEST_HZ, look.theme)
        axes.set_ylim(-0.5, 10.5)
        axes.set_yticks(range(0, 11, 1))
        axes.set_ylabel(name)
        for kind in (k for k in _MARKS if k in used):
            colour = _colour(kind, look.theme)
            axes.plot(
                [], [], color=colour, marker=_MARKS[kind], ls=_DASHES[kind], label=kind
            )
        if used:
            axes.legend(
                loc="upper left",
                bbox_to_anchor=(1.01, 1.0),
                frameon=False,
                labelcolor=look.theme.ink,
                fontsize=8.5,
                handlelength=2.6,
                borderaxespad=0,
            )

    write_whole(path, picture(path.suffix, look, paint), force)


def _shade(axes: Any, found: FeatureMap, theme: Theme) -> None:
    """Shade what the knob does to the gain: A's colour for more, B's for less."""
    from matplotlib.colors import to_rgb

    most = _STEP_DB * _STEPS
    levels = np.arange(-most, most + _STEP_DB, _STEP_DB)
    levels = levels[levels != 0]
    share = np.linspace(-1, 1, len(levels) - 1)
    strength = _STRONGEST * np.abs(share)
    colours = [
        (*to_rgb(theme.b if part < 0 else theme.a), alpha)
        for part, alpha in zip(share, strength, strict=True)
    ]
    axes.contourf(
        found.frequency_hz,
        found.positions,
        np.clip(np.nan_to_num(found.change_db), -most, most),
        levels=levels,
        colors=colours,
    )


def _colour(kind: str, theme: Theme) -> str:
    return {"peak": theme.a, "dip": theme.b}.get(kind, theme.difference)


def _draw_track(axes: Any, track: Track, theme: Theme) -> None:
    hz = [feature.frequency_hz for feature in track.features]
    colour = _colour(track.kind, theme)
    marked = [k for k, p in enumerate(track.positions) if p in _TOLD_AT]
    axes.plot(
        hz,
        track.positions,
        color=colour,
        linestyle=_DASHES[track.kind],
        lw=1.8,
        marker=_MARKS[track.kind],
        markevery=marked or [0],
        markersize=5,
    )
    if track.kind not in ("peak", "dip", "shelf"):
        return
    for k in marked:
        axes.annotate(
            format_db(track.features[k].level_db),
            (hz[k], track.positions[k]),
            xytext=(6, 4),
            textcoords="offset points",
            size=7.5,
            color=colour,
        )
