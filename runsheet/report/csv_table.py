"""Results as CSV, one row a result, for another system to load.

Owns: the CSV. Invariant: a text that a spreadsheet would run as a formula is written as text, with an apostrophe before
it.
"""

from __future__ import annotations

import csv
import io
from typing import TYPE_CHECKING

from runsheet.figures import safe
from runsheet.show.columns import QUEUE

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet


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
