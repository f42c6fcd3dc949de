"""The formats a sheet can be written in, by name.

Owns: the two tables of formats. Invariant: a new format is one module and one line here.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from runsheet.report import as_json, csv_table, html, markdown, summary, text
from runsheet.report.issue_marks import marks
from runsheet.report.outline import outline

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import Sheet
    from runsheet.compute.statistics.monte_carlo import Propagated
    from runsheet.problem import Problem
    from runsheet.report.making import Report
    from runsheet.review.trail import Trail


def _data(sheet: Sheet, problems: list[Problem], trail: Trail) -> dict[str, Any]:
    return as_json.as_data(sheet, problems) | as_json.trail(trail)


def _dumped(data: dict[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


RESULTS: dict[str, Callable[[Sheet, list[Problem], Trail], str]] = {
    "text": lambda sheet, problems, trail: text.write(summary.blocks(sheet, problems, trail)),
    "json": lambda sheet, problems, trail: _dumped(_data(sheet, problems, trail)),
    "csv": lambda sheet, _problems, _trail: csv_table.write(sheet),
}
"""What `results --as` writes."""

DRAWN: dict[str, Callable[[Sheet, list[Problem], Trail, list[Propagated]], str]] = {
    "text": lambda sheet, problems, trail, made: text.write(
        (*summary.blocks(sheet, problems, trail), *summary.drawn(sheet, made))
    ),
    "json": lambda sheet, problems, trail, made: _dumped(_data(sheet, problems, trail) | as_json.drawn(made)),
}
"""What `results --monte-carlo --as` writes."""

FORMATS: dict[str, Callable[[Report], str]] = {
    "text": lambda report: text.write(outline(report)),
    "markdown": lambda report: markdown.write(outline(report)),
    "html": lambda report: html.write(outline(report), marks(report), "Results relate only to the items tested."),
}
"""What `report --as` writes."""
