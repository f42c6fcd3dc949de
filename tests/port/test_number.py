"""Which line is a reading, and which is only shown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.port.number import number_in


@pytest.mark.parametrize(
    ("line", "text", "reads"),
    [
        ("0.112", "0.112", None),
        ("  0.130\t", "0.130", None),
        ("0,130", "0,130", None),
        ("-0.001", "-0.001", None),
        ("+ 0.112", "+0.112", None),
        ("ABS = 0.112", "0.112", "absorbance"),
        ("0.112A", "0.112", "absorbance"),
        ("Reading: 98.2 %T", "98.2", "transmittance"),
        ("98.2%", "98.2", "transmittance"),
        ("12.5 mg/L", "12.5", "concentration"),
        (".112", ".112", None),
    ],
)
def test_a_line_with_one_number_and_its_unit_is_a_reading(line: str, text: str, reads: str | None) -> None:
    assert number_in(line) == (text, reads, "")


@pytest.mark.parametrize(
    "line",
    [
        "", "ready", "ERR 5", "S1", "A1", "0.112 0.113", "0.1.2", "1,234.5", "2026-03-11", "10:24", "1e-3", "0.112 B",
        "0.112.", "0.112\x00", "\\xff0.112", "98.2 %T A", "lamp 3 hours", "--0.1", "nan", "٣",
    ],
)  # fmt: skip
def test_anything_else_is_none_and_says_why(line: str) -> None:
    found = number_in(line)
    assert found.text == ""
    assert found.why


def test_a_pattern_says_which_of_several_numbers_it_is() -> None:
    assert number_in("07 OF-3 0.112 A 98.2", r"(\d\.\d{3}) A").text == "0.112"
    assert number_in("0.112", r"\d\.\d{3}").text == "0.112"
    assert number_in("07 0.112", r"ABS (\S+)").why == "the laboratory's pattern is not in it"
    assert number_in("A 0.1 A 0.2", r"A (\S+)").why == "the pattern is in it twice"
    assert number_in("A over", r"A (\S+)").why == "what the pattern names is no number"
    assert number_in("0.112", "(").why.startswith("the laboratory's pattern is none")


@given(st.text(), st.sampled_from([None, r"(\S+)", r"(x)?"]))
def test_no_line_raises_and_each_gives_a_number_or_a_reason(line: str, pattern: str | None) -> None:
    found = number_in(line, pattern)
    assert bool(found.text) != bool(found.why)
