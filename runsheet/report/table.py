"""Results as CSV, one row a result, for another system to load.

Owns: the CSV. Invariant: a text that a spreadsheet would run as a formula is written as text, with an apostrophe before
it.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING, Any

from runsheet.columns import QUEUE

if TYPE_CHECKING:
    from runsheet.compute.outcome import Sheet

STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def write(sheet: Sheet) -> str:
    """Write every row of the queue with all its columns, unrounded, after the run's id."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["run", *(column.key for column in QUEUE), "dry_weight", "report", "void", "reason"])
    for row in sheet.rows:
        dry = bool(row.amounts and row.amounts.solids_percent is not None)
        last = [dry, row.reports, row.row.void, row.row.reason]
        values = [sheet.run.run.id, *(column.value(row) for column in QUEUE), *last]
        writer.writerow([safe(value) for value in values])
    return out.getvalue()


def safe(value: Any) -> str:
    """Give a cell's characters: figures in full, nothing for None, texts that cannot be run."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return f"'{text}" if text.startswith(STARTS_FORMULA) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
