# SPDX-License-Identifier: GPL-3.0-or-later
"""A comparison's page, read without a browser: what it says, holds and may do."""

import base64
import copy
import hashlib
import io
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from client_pages import (
    Page,
    carried_by,
    clip,
    comparison,
    integers,
    manifest_of,
    page_of,
    pairing,
    shown_of,
)
from commands import names_in
from sounds import read_integers, write_24

from tonebench.compare import written
from tonebench.errors import AudioError, OutputError
from tonebench.report import client, client_sound
from tonebench.report.client import write_page

HOSTILE = "</script></style><img src=x onerror=alert(1)>\"'&<!--${title}"


def short(folder: Path) -> dict[str, Any]:
    return comparison(folder, frames=480)


def hostile(values: Any) -> Any:
    """Return a copy of a manifest with a hostile text behind every text in it."""
    match values:
        case dict():
            return {
                key: value if key in ("file", "mode") else hostile(value)
                for key, value in values.items()
            }
        case list():
            return [hostile(value) for value in values]
        case str():
            return f"{values}{HOSTILE}"
    return values


def samples_in(packed: bytes) -> tuple[int, np.ndarray]:
    """Return the rate and the 24-bit integers of FLAC bytes."""
    with soundfile.SoundFile(io.BytesIO(packed)) as sound:
        assert (sound.format, sound.subtype) == ("FLAC", "PCM_24")
        return sound.samplerate, sound.read(dtype="int32", always_2d=True) >> 8


# ---- What may act ----


def test_only_the_script_and_the_style_of_the_page_may_act(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    (style,) = page.told("style")
    (script,) = [text for a, text in scripts(page) if not a]
    assert page.policy == {
        "default-src": ["'none'"],
        "script-src": [hash_of(script)],
        "style-src": [hash_of(style)],
        "base-uri": ["'none'"],
        "form-action": ["'none'"],
    }


def scripts(page: Page) -> list[tuple[dict[str, str | None], str]]:
    return [(given, text) for tag, given, text in page.texts if tag == "script"]


def hash_of(text: str) -> str:
    """Return a text's hash as a policy names it (W3C CSP level 3)."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode()}'"


def test_page_has_no_handlers_no_styles_in_elements_and_no_addresses(
    tmp_path: Path,
) -> None:
    text = page_of(tmp_path, short(tmp_path))
    page = Page(text)
    names = {name for _, attributes in page.elements for name in attributes}
    assert not {name for name in names if name.startswith("on")}
    assert names.isdisjoint({"style", "src", "href", "xlink:href", "srcset", "action"})
    assert "http" not in re.sub(r"http-equiv", "", text)


def test_texts_of_a_manifest_are_shown_and_never_obeyed(tmp_path: Path) -> None:
    plain = short(tmp_path)
    (tmp_path / "plain").mkdir()
    for file in tmp_path.glob("*.wav"):
        (tmp_path / "plain" / file.name).write_bytes(file.read_bytes())
    calm = Page(page_of(tmp_path / "plain", plain))
    bad = hostile(plain)
    bad["take"]["instrument"] = HOSTILE
    for its in bad["pairings"]:
        its["notices"] = [HOSTILE]
        its["clips"]["a"]["circuit"] = "<b>&amp;"
        its["clips"]["a"]["settings"] = {HOSTILE: HOSTILE}
        its["clips"]["switch"] = clip(HOSTILE, 0.0) | {"cues": HOSTILE}
    page = Page(page_of(tmp_path, bad))
    assert page.all("img") == []
    assert len(page.all("script")) == len(calm.all("script"))
    assert page.policy == calm.policy
    assert page.told("title") == [f"Both boxes at flat{HOSTILE}"]
    assert page.told("p", **{"class": "verdict"})[0].count(HOSTILE) == 1
    assert "A <b>&amp;" in page.told("text", **{"class": "end"})
    assert page.told("b").count(HOSTILE) == 2
    assert len([t for t in page.told("code") if t == HOSTILE]) == 4


# ---- What it holds ----


def test_page_holds_the_clips_sample_for_sample(tmp_path: Path) -> None:
    page = Page(page_of(tmp_path, short(tmp_path)))
    held = {a["id"]: text for a, text in scripts(page) if a.get("type") == "text/plain"}
    assert list(held) == ["clip-1", "clip-2", "clip-3", "clip-4"]
    for key, name in zip(held, ["a", "b", "dry", "b2"], strict=True):
        rate, samples = samples_in(base64.b64decode(held[key]))
        assert rate == 48_000
        np.testing.assert_array_equal(samples, read_integers(tmp_path / f"{name}.wav"))


def test_a_clip_of_two_channels_and_another_rate_is_held_as_it_is(
    tmp_path: Path,
) -> None:
    values = integers(9, 700, channels=2)
    write_24(tmp_path / "a.wav", values, 44_100)
    clips = {"a": clip("a.wav", 0.0), "b": clip("a.wav", 0.0)}
    manifest = manifest_of([pairing("same", clips)], 700, 2, 44_100)
    page = Page(page_of(tmp_path, manifest))
    rate, samples = samples_in(base64.b64decode(page.told("script", id="clip-1")[0]))
    assert rate == 44_100
    np.testing.assert_array_equal(samples, values)
    assert page.data["pairings"][0]["rate_hz"] == 44_100
    assert page.data["pairings"][0]["duration_s"] == 700 / 44_100


def test_a_clip_of_two_pairings_is_held_once(tmp_path: Path) -> None:
    pairings = Page(page_of(tmp_path, short(tmp_path))).data["pairings"]
    numbers = [[voice["clip"] for voice in p["voices"].values()] for p in pairings]
    assert numbers == [[1, 2, 3], [1, 4]]


def test_the_same_comparison_gives_the_same_bytes(tmp_path: Path) -> None:
    made = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        made.append(page_of(folder, short(folder)))
    assert made[0] == made[1]


@pytest.mark.parametrize("held", [0, 1, 3])
def test_a_page_that_would_grow_too_large_has_its_clips_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, held: int
) -> None:
    manifest = short(tmp_path)
    one = len(Page(page_of(tmp_path, manifest)).told("script", id="clip-1")[0])
    (tmp_path / "index.html").unlink()
    monkeypatch.setattr(client_sound, "LARGEST_PAGE_BYTES", int(one * (held + 0.5)))
    page = Page(page_of(tmp_path, manifest))
    assert [a for a, _ in scripts(page)] == [
        {"type": "application/json", "id": "data"},
        {},
    ]
    assert page.data["carried"] is True
    for number, name in enumerate(["a", "b", "dry", "b2"], start=1):
        text = (tmp_path / f"clip-{number}.js").read_text(encoding="ascii")
        told, packed = carried_by(text)
        assert told == number
        _, samples = samples_in(base64.b64decode(packed))
        np.testing.assert_array_equal(samples, read_integers(tmp_path / f"{name}.wav"))


def test_takes_too_long_for_a_browser_are_left_out_of_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(written, "MOST_PLAYED_SAMPLES", 479)
    page = Page(page_of(tmp_path, short(tmp_path)))
    assert page.told("script", id="clip-1") == []
    for its in page.data["pairings"]:
        assert {voice["clip"] for voice in its["voices"].values()} == {None}
    assert not list(tmp_path.glob("clip-*.js"))


def test_a_script_trusted_by_its_hash_alone_may_add_carriers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(client_sound, "LARGEST_PAGE_BYTES", 0)
    page = Page(page_of(tmp_path, short(tmp_path)))
    (script,) = [text for a, text in scripts(page) if not a]
    assert page.policy["script-src"] == [hash_of(script), "'strict-dynamic'"]
    assert page.policy["default-src"] == ["'none'"]


def test_a_page_that_is_there_is_not_written_over(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    page_of(tmp_path, manifest)
    with pytest.raises(OutputError, match="exists already"):
        page_of(tmp_path, manifest)


def test_a_clip_that_is_missing_is_told_by_name(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    (tmp_path / "b.wav").unlink()
    with pytest.raises(AudioError, match=r"b\.wav"):
        page_of(tmp_path, manifest)
    assert "index.html" not in names_in(tmp_path)


def test_curves_of_every_pairing_are_needed(tmp_path: Path) -> None:
    manifest = short(tmp_path)
    with pytest.raises(ValueError, match="zip"):
        write_page(tmp_path, manifest, shown_of(manifest)[:1])


def test_page_is_well_formed(tmp_path: Path) -> None:
    manifest = copy.deepcopy(short(tmp_path))
    Page(page_of(tmp_path, manifest))  # every end tag ends what is open


@pytest.mark.parametrize(
    "name", ["page.html", "LICENSE", *client._STYLES, *client._SCRIPTS]
)
def test_templates_are_free_for_everybody(name: str) -> None:
    text = client._text(name)
    assert "SPDX-License-Identifier: MIT-0" in text[:120]
    assert name == "LICENSE" or "GPL" not in text
