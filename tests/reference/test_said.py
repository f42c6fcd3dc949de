"""Whatever went wrong on a random day, all that is said of it can be said."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest
import tomli_w

from runsheet import evaluate, read
from runsheet.report import formats
from runsheet.report.making import Report
from runsheet.show import explain, findings
from runsheet.work import next_step
from tests.effort import tries
from tests.reference.days import Day

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Sheet

NO_FIGURE = re.compile(r"\bnan\b|\binf\b|[a-z=(,+-] ?None\b")
"""What is written of a value that is not there; a sentence may begin with the word None."""


def told(sheet: Sheet) -> Iterator[str]:
    step = next_step.next_step(sheet)
    yield from (step.words, step.why, *findings.lines(sheet))
    for row in sheet.rows:
        for key in ("reading", "result", "state", "flags"):
            yield from explain.lines(row, sheet, key)
    for calibration in sheet.calibrations:
        for standard in calibration.standards:
            for made in explain.standard(standard, calibration, sheet):
                yield from (made.formula, made.numbers, made.source)
    for form in ("text", "markdown", "html"):
        yield formats.FORMATS[form](Report(sheet))


@pytest.mark.parametrize("seed", range(tries(100)))
def test_all_that_is_said_of_a_day_is_said_in_figures(seed: int) -> None:
    day = Day(seed)
    run, _ = read(tomli_w.dumps(day.document))
    assert run is not None
    assert not [text for text in told(evaluate(run, day.now)) if NO_FIGURE.search(text)]
