"""The formats a sheet can be written in, by name.

Owns: the two tables of formats. Invariant: a new format is one module and one line here.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from runsheet.report import data

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.outcome import Sheet
    from runsheet.problem import Problem


def _json(sheet: Sheet, problems: list[Problem]) -> str:
    return json.dumps(data.as_data(sheet, problems), ensure_ascii=False, indent=1, allow_nan=False) + "\n"


RESULTS: dict[str, Callable[[Sheet, list[Problem]], str]] = {"json": _json}
FORMATS: dict[str, Callable[[Sheet], str]] = {}
