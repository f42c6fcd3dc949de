"""What is written for a spreadsheet runs in none, whatever it sets its cells apart by."""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import runsheet
from runsheet.figures import against, beside, csv_line, figure, some, unrunnable

RUN = "=1+cmd|' /C calc'!A0"
HOSTILE = [
    RUN, "+1+1", "-1+1", "@SUM(A1)", f"\t{RUN}", f"x\r{RUN}", f"x\n{RUN}", f"x\r\n{RUN}", f"a;{RUN}", f"a; {RUN}",
    f"  {RUN}", f"\u200b{RUN}", f"\ufeff{RUN}", f"\u00ad\u2060{RUN}", "\uff1d1+1", "\uff0b1+1", "\uff0d1+1",
    "\uff20SUM(A1)", "\ufe661+1", "\u22121+1", f'a;"{RUN}', f"'\u200b {RUN}", f"a|{RUN}", f"a\u2028{RUN}",
    f"a\x85{RUN}",
    f"\x00{RUN}",
    f"a,{RUN}",
]  # fmt: skip


def cells(text: str, mark: str) -> list[str]:
    """Take a CSV apart as a program does that sets cells apart by `mark` and ends a row at every line end."""
    rows = [row for line in text.splitlines() for row in csv.reader([line], delimiter=mark)]
    return [cell for row in rows for cell in row]


def runs(cell: str) -> bool:
    """Whether a spreadsheet would take a cell's text for a formula: an independent, blunt reading."""
    bare = (
        cell.strip()
        .strip("\u200b\ufeff\u00ad\u2060\x00\"' \t")
        .translate({0xFF1D: "=", 0xFF0B: "+", 0xFF0D: "-", 0xFF20: "@", 0xFE66: "=", 0x2212: "-"})
    )
    if cell.strip().startswith("'"):
        return False
    try:
        float(bare)
    except ValueError:
        return bare[:1] in {"=", "+", "-", "@"}
    return False


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_no_text_is_run(text: str, mark: str) -> None:
    assert [cell for cell in cells(csv_line([1.5, text, "after"]), mark) if runs(cell)] == []


@pytest.mark.parametrize(
    "text", ["-0.5", "+1", "1e-3", "OF-1", "a, b", "a; -3", "x = y", "", "12 %", "pH 7-8", "a-b;c"]
)
def test_what_no_spreadsheet_runs_is_left_as_it_is(text: str) -> None:
    assert unrunnable(text) == text


def test_every_text_is_in_quotes_and_every_figure_bare() -> None:
    line = csv_line(["OF-1", 1.5, None, True, 3, Decimal("0.130"), 'a "b"', "1.50", ""])
    assert line == '"OF-1",1.5,,true,3,0.130,"a ""b""","1.50",""\n'


@given(st.lists(st.none() | st.booleans() | st.floats(allow_nan=False) | st.text(), min_size=1))
def test_any_line_reads_back(values: list[Any]) -> None:
    row = next(csv.reader(io.StringIO(csv_line([*values, 1]), newline=""), strict=True))[:-1]
    words = {None: "", True: "true", False: "false"}
    expected = [
        words[v] if v is None or isinstance(v, bool) else repr(v) if isinstance(v, float) else unrunnable(v)
        for v in values
    ]
    assert row == expected


@pytest.mark.parametrize(
    ("value", "told"), [(6.54321e-5, "0.0000654321"), (0.000654321, "0.000654321"), (3e-5, "0.00003")]
)
def test_a_small_figure_has_its_digits(value: float, told: str) -> None:
    assert figure(value, 6) == told


@pytest.mark.parametrize(
    ("value", "limit", "form", "limit_form", "expected"),
    [
        (20.4, 20, ".1f", ".6g", ("20.4", "20")),
        (20.04, 20, ".1f", ".6g", ("20.04", "20")),
        (28.000694, 28, ".1f", ".6g", ("28.001", "28")),
        (0.994997, 0.995, ".5f", ".6g", ("0.994997", "0.995")),
        (-30.04, 30, "+.1f", ".6g", ("-30.04", "30")),
        (14.7, 15, ".0f", ".6g", ("14.7", "15")),
        (0.12360, 0.12351, ".3g", ".3g", ("0.1236", "0.1235")),
        (5, 5, ".1f", ".6g", ("5.0", "5")),
        (12345678.0, 12345679, ".4g", ".4g", ("12345678", "12345679")),
        (12345.0, 20000, "+.4g", ".4g", ("+12345", "20000")),
    ],
)
def test_a_figure_beside_the_limit_it_is_beyond_is_seen_to_be(
    value: float, limit: float, form: str, limit_form: str, expected: tuple[str, str]
) -> None:
    assert against(value, limit, form, limit_form) == expected


@pytest.mark.parametrize(
    ("value", "limits", "expected"),
    [
        (20.00004, (None, 20), "20.00004"),
        (20.4, (None, 20), "20.4"),
        (89.99996, (90, 110), "89.99996"),
        (0.014 - 0.009, (None, 0.005), "0.005"),
        (12.345678, (None, None), "12.35"),
    ],
)
def test_a_figure_in_a_table_is_seen_on_its_side_of_each_limit(
    value: float, limits: tuple[float | None, ...], expected: str
) -> None:
    assert beside(value, limits) == expected


@pytest.mark.parametrize(("value", "text"), [(-3.476e-16, "0"), (4.204e-18, "0"), (1.5e-9, "1.500e-09"), (0.0, "0")])
def test_the_noise_of_floats_is_no_figure(value: float, text: str) -> None:
    """A method blank at the zero of its curve was told as -3.476e-16 mg/L, the equation as y = -1.0570e-20 + ..."""
    assert figure(value) == text


@pytest.mark.parametrize(
    ("most", "told"), [(1, "A and 2 more"), (2, "A, B and 1 more"), (3, "A, B, C"), (8, "A, B, C")]
)
def test_of_names_that_are_not_all_given_the_others_are_counted(most: int, told: str) -> None:
    assert some(["A", "B", "C"], most, ", ") == told


def test_no_sentence_writes_a_figure_with_an_exponent_of_its_own() -> None:
    """`.4g` makes 1e+04 of 10000, and 20 of 20.001 beside a limit of 20: figures have their words in one place."""
    source = Path(runsheet.__file__).parent
    others = {path for path in source.rglob("*.py") if re.search(r":\.[0-9]g\}", path.read_text(encoding="utf-8"))}
    assert others == {source / "work" / "new_run.py"}  # which rounds a number that is written to the document
