"""The formats a sheet can be written in, by name.

Owns: the two tables of formats. Invariant: a new format is one module and one line here.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from runsheet.report import data, html, markdown, summary, table, text
from runsheet.report.outline import outline

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.outcome import Sheet
    from runsheet.problem import Problem


def _json(sheet: Sheet, problems: list[Problem]) -> str:
    return json.dumps(data.as_data(sheet, problems), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


RESULTS: dict[str, Callable[[Sheet, list[Problem]], str]] = {
    "text": lambda sheet, problems: text.write(summary.blocks(sheet, problems)),
    "json": _json,
    "csv": lambda sheet, _problems: table.write(sheet),
}
"""What `results --as` writes."""

FORMATS: dict[str, Callable[[Sheet], str]] = {
    "text": lambda sheet: text.write(outline(sheet)),
    "markdown": lambda sheet: markdown.write(outline(sheet)),
    "html": lambda sheet: html.write(outline(sheet)),
}
"""What `report --as` writes."""
