"""Results as CSV, one row a result, for another system to load.

Owns: the CSV. Invariant: no text in it is run by a spreadsheet; `figures` decides what one could run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import csv_line
from runsheet.show import findings
from runsheet.show.columns import QUEUE

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet


def write(sheet: Sheet) -> str:
    """Write every row of the queue with all its columns, unrounded, after the run's id."""
    lines = [
        csv_line(["run", *(column.key for column in QUEUE), "dry_weight", "report", "void", "reason", "affected_by"])
    ]
    for row in sheet.rows:
        dry = bool(row.amounts and row.amounts.solids_percent is not None)
        last = [dry, row.reports, row.row.void, row.row.reason, findings.affecting(row, sheet)]
        values = [sheet.run.run.id, *(column.value(row) for column in QUEUE), *last]
        lines.append(csv_line(values))
    return "".join(lines)
