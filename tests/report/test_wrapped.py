# SPDX-License-Identifier: GPL-3.0-or-later
"""Long sentences in lines."""

from tonebench.report.wrapped import WIDTH, all_wrapped, wrapped


def test_no_line_is_too_long_and_no_word_is_lost() -> None:
    sentence = "C6 (470 nF) against the load (10 kΩ), −3.9 % and +0.1 dB; " * 9
    lines = wrapped(sentence, indent=2)
    assert max(map(len, lines)) <= WIDTH
    assert " ".join(" ".join(lines).split()) == sentence.strip()
    assert all(line.startswith(" " * 6) for line in lines[1:])


def test_a_number_stays_with_its_unit() -> None:
    for size in range(20):
        for line in wrapped("x" * size + " 4.7 kΩ 3 dB 5 % 20 Hz 9 V" * 8)[1:]:
            assert not line.strip().startswith(("kΩ", "dB", "%", "Hz", "V"))


def test_lines_that_are_set_in_stay_so() -> None:
    assert all_wrapped(["a", "", "    b"]) == ["a", "", "    b"]
