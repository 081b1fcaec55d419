# SPDX-License-Identifier: GPL-3.0-or-later
"""The table of what the meters read of a pairing's clips."""

from typing import Any

from tonebench.report.client_levels import heard_html


def clip(**more: Any) -> dict[str, Any]:
    return {
        "loudness_lufs": -23.0,
        "momentary_max_lufs": -18.04,
        "short_term_max_lufs": None,
        "loudness_range_lu": 4.9,
        "rms_dbfs": -21.0,
        "true_peak_dbtp": -1.0,
        "crest_db": 14.0,
        "octaves_dbfs": {"500": -30.0, "16k": None},
        **more,
    }


def test_each_level_is_told_for_a_for_b_and_as_a_difference() -> None:
    b = clip(crest_db=13.5, octaves_dbfs={"500": -28.5, "16k": -80.0})
    html = heard_html({"clips": {"a": clip(), "b": b}})
    for word, cells in (
        ("loudest 400 ms (momentary)", ["−18.0 LUFS", "−18.0 LUFS", "0.0 dB"]),
        ("loudest 3 s (short-term)", ["none", "none", ""]),
        ("loudness range", ["4.9 LU", "4.9 LU", "0.0 dB"]),
        ("true peak", ["−1.0 dBTP", "−1.0 dBTP", "0.0 dB"]),
        ("crest: peak over RMS", ["14.0 dB", "13.5 dB", "−0.5 dB"]),
        ("500 Hz", ["−30.0 dBFS", "−28.5 dBFS", "+1.5 dB"]),
        ("16 kHz", ["none", "−80.0 dBFS", ""]),
    ):
        row = "".join(f"<td>{cell}</td>" for cell in cells)
        assert f'<tr><th scope="row">{word}</th>{row}</tr>' in html


def test_a_manifest_without_them_has_no_table() -> None:
    plain = {"loudness_lufs": -23.0}
    assert heard_html({"clips": {"a": plain, "b": plain}}) == ""


def test_what_a_manifest_says_is_escaped() -> None:
    strange = clip(octaves_dbfs={"<b>": -30.0})
    assert "<b>" not in heard_html({"clips": {"a": strange, "b": strange}})
