"""Whatever a run holds, writing and reading it gives it back, and evaluating it gives a sheet."""

from __future__ import annotations

import dataclasses
import json
import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

from hypothesis import HealthCheck, Phase, assume, event, given

from runsheet import evaluate, read
from runsheet.problem import has_errors
from runsheet.report.as_json import as_data
from runsheet.run.text import write
from tests.make import NOW, examples
from tests.properties.runs import anything, readable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.run.model import Run

FIND = [Phase.explicit, Phase.generate]
"""Shrinking a whole run takes minutes; the document that failed is small enough to be cut by hand."""
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large]


def typed(made: Any) -> Any:
    """A run with each number as its characters, so that 0.130 is not 0.13 and 1 is not True."""
    if dataclasses.is_dataclass(made) and not isinstance(made, type):
        return {field.name: typed(getattr(made, field.name)) for field in dataclasses.fields(made)}
    if isinstance(made, tuple):
        return [typed(item) for item in made]
    return (
        made if isinstance(made, str | dict | None) else (type(made).__name__.replace("AsTyped", "Decimal"), str(made))
    )


@given(anything())
@examples(150, suppress_health_check=SLOW)
def test_read_of_write_is_the_run(run: Run) -> None:
    text = write(run)
    back, problems = read(text)
    assert back == run
    assert typed(back) == typed(run)
    assert write(back) == text
    assert not [problem for problem in problems if not problem.path]


@given(readable())
@examples(500, phases=FIND, suppress_health_check=SLOW)
def test_evaluate_never_raises_and_says_nothing_that_is_no_number(run: Run) -> None:
    back, problems = read(write(run))
    assert back is not None
    assume(not has_errors(problems))
    sheet = evaluate(back, datetime.fromisoformat(NOW))
    event(f"state {sheet.state}")
    event(f"results {any(row.result is not None for row in sheet.rows)}")
    data = as_data(sheet, problems)
    assert all(math.isfinite(figure) for figure in figures(data))
    assert json.loads(json.dumps(data, allow_nan=False)) == data
    assert as_data(evaluate(back, datetime.fromisoformat(NOW)), problems) == data


def figures(data: Any) -> Iterator[float]:
    if isinstance(data, dict):
        data = list(data.values())
    if isinstance(data, list):
        for item in data:
            yield from figures(item)
    elif isinstance(data, float | int):
        yield data


def test_rows_within_a_row_are_written_under_both_names() -> None:
    results = "".join(f'[[issued.results]]\nid = "{"x" * 80}{n}"\nreported = "4.5"\n' for n in range(2))
    head = 'format = 1\n[run]\nid = "T"\n'
    one = f'[[issued]]\nnumber = "T"\nat = 2026-03-11T12:00:00Z\nby = "B. Okoro"\ndigest = "d"\n{results}'
    made, problems = read(head + one + one)
    assert made is not None
    assert problems == []
    assert read(write(made)) == (made, [])
