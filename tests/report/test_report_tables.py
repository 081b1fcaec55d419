# SPDX-License-Identifier: GPL-3.0-or-later
"""Curves as text: what is read back is what was solved."""

import csv
import io
import json

import numpy as np
import pytest
from commands import VOLUME

from tonebench.circuit.files import inspect_text, read_circuit
from tonebench.circuit.hookup import Chain, Hookup, join
from tonebench.report.tables import TABLE_HZ, curve_csv, curve_json, curve_table
from tonebench.study.curves import Curve, curves, family


@pytest.fixture(scope="module")
def chain() -> Chain:
    return join(read_circuit("dunlin"), Hookup(source_ohm=5e3, load_ohm=1e6))


@pytest.fixture(scope="module")
def found(chain: Chain) -> tuple[Curve, ...]:
    """Return six curves: three settings of the tone from each of two inputs."""
    hz = np.geomspace(20, 20_000, 13)
    return curves(chain, family(chain, ["tone"], {}), hz, sample_rate_hz=48_000)


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def silent() -> tuple[Curve, ...]:
    circuit = inspect_text(VOLUME).circuit
    assert circuit
    return curves(join(circuit), [{"volume": 0}], [100, 1000])


def test_a_csv_read_back_is_the_curves_to_the_last_bit(
    found: tuple[Curve, ...],
) -> None:
    rows = rows_of(curve_csv(found))
    assert len(rows) == 6 * 13
    for number, curve in enumerate(found):
        mine = rows[13 * number : 13 * (number + 1)]
        assert {row["input"] for row in mine} == {curve.input}
        assert len({row["setting"] for row in mine}) == 1
        assert curve.digital_gain_db is not None
        for key, values in (
            ("frequency_hz", curve.frequency_hz),
            ("gain_db", curve.gain_db),
            ("phase_deg", curve.phase_deg),
            ("digital_gain_db", curve.digital_gain_db),
        ):
            assert [float(row[key]) for row in mine] == values.tolist()
    settings = {row["setting"] for row in rows}
    assert len(settings) == 3
    assert all("tone " in setting for setting in settings)


def test_a_csv_is_of_lines_as_rfc_4180_has_them(found: tuple[Curve, ...]) -> None:
    text = curve_csv(found)
    assert text.endswith("\r\n")
    assert text.count("\n") == text.count("\r\n") == 6 * 13 + 1
    # commas inside a setting don't cut it in two
    assert {len(row) for row in csv.reader(io.StringIO(text, newline=""))} == {6}


def test_a_csv_has_no_filter_where_none_was_asked_for(chain: Chain) -> None:
    text = curve_csv(curves(chain, [{}], [1000]))
    assert text.splitlines()[0] == "setting,input,frequency_hz,gain_db,phase_deg"


def test_silence_is_an_empty_cell_and_a_word_in_a_table() -> None:
    rows = rows_of(curve_csv(silent()))
    assert [row["gain_db"] for row in rows] == ["", ""]
    circuit = inspect_text(VOLUME).circuit
    assert circuit
    assert curve_table(join(circuit), silent()).count("silent") == 2


def test_json_values_survive_a_round_trip(
    chain: Chain, found: tuple[Curve, ...]
) -> None:
    values = curve_json(chain, found)
    back = json.loads(json.dumps(values, allow_nan=False))
    assert back == values
    assert back["circuit"] == "dunlin"
    assert back["chain"] == chain.line
    assert back["schema"] == 1
    assert [curve["input"] for curve in back["curves"]] == ["neck", "bridge"] * 3
    assert back["curves"][0]["gain_db"] == found[0].gain_db.tolist()


def test_a_table_shows_two_decimals_of_every_curve(
    chain: Chain, found: tuple[Curve, ...]
) -> None:
    text = curve_table(chain, found, ["tone"])
    assert chain.line in text
    for name in ("neck: tone 0", "bridge: tone 5", "neck: tone 10"):
        assert name in text
    rows = [line.split() for line in text.splitlines()]
    cells = {row[0]: row[1:] for row in rows if row and row[0] == "20"}["20"]
    # the second block has the sixth curve alone; the filter stands in brackets
    assert cells[0] == f"{found[5].gain_db[0]:+.2f}"
    assert cells[1].startswith("(")


def test_a_table_stands_at_the_octaves_of_1_khz_and_the_ends_of_hearing() -> None:
    inside = [1000 * 2.0**k for k in range(-5, 5)]
    assert [*TABLE_HZ] == [20, *inside, 20_000]
