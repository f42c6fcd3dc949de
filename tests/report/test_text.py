"""The plain text: no word is broken, and a table that is too wide goes on in parts."""

from __future__ import annotations

import pytest

from runsheet import demo, evaluate, read
from runsheet.report import formats, text
from runsheet.report.blocks import Facts, Heading, Table
from runsheet.report.making import Report

LONG = "tetrachloroethylene-grade"


def test_a_table_too_wide_goes_on_in_a_part_that_begins_with_its_keys() -> None:
    titles = ("sample", "analyte", *(f"column{n}" for n in range(8)))
    rows = tuple((f"A{n}", "oil", *(f"{LONG[:12]}{at}" for at in range(8))) for n in range(2))
    lines = text.table(Table(titles, rows, (True,) * 10, keys=2))
    assert max(map(len, lines)) <= text.WIDTH
    heads = [line.split() for line in lines if line.startswith("sample")]
    assert [head[:2] for head in heads] == [["sample", "analyte"]] * 2
    assert [title for head in heads for title in head[2:]] == list(titles[2:])


def test_a_word_longer_than_a_line_is_left_whole() -> None:
    word = "x" * 100
    assert any(word in line for line in text.table(Table(("a", "b"), ((word, "1"),), (True, True))))
    assert word in text.write([Facts((("digest", word),))])


@pytest.mark.parametrize("name", demo.NAMES)
def test_no_word_of_a_demo_report_is_broken(name: str) -> None:
    run, _ = read(demo.text(name))
    assert run is not None
    report = Report(evaluate(run, demo.NOW[name]))
    words = set(formats.FORMATS["text"](report).split())
    assert {"tetrachloroethylene,", "hydrocarbons", "hydrochloric"} & words
    whole = formats.FORMATS["markdown"](report).replace("\\", "")
    assert [word for word in words if word.isalnum() and word.lower() not in whole.lower()] == []


def test_a_title_keeps_its_names_and_units_as_they_are() -> None:
    """A lot ss-7 is none SS-7, and no letter of another script has another length."""
    title = "Where 'ss-7 Straße' is, mg/L"
    assert text.write([Heading(title, 1)]) == f"{title}\n{'=' * len(title)}\n"
