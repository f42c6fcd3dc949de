"""Results as CSV, one row a result, for another system to load.

Owns: the CSV and what each of its columns is. Invariant: one header, whatever the run; no text in it is run by a
spreadsheet (`figures` decides what one could run).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet.figures import csv_line, when
from runsheet.show import findings, stands_on
from runsheet.show.columns import QUEUE

if TYPE_CHECKING:
    from runsheet.compute.results import FractionsResult, RowResult, Sheet

BESIDE = {
    "dry_weight": "whether a result is of dry weight",
    "report": "whether the row's result is the one to report",
    "void": "why the row counts nowhere",
    "reason": "why it is superseded",
    "affected_by": "the failing findings that affect the row's result",
    "affects": "the results that failing findings about this row affect, by their rows",
    "client_id": "the client's own name of the sample",
    "site": "where the sample was taken",
    "collected": "when",
    "polar": "of a sample with both fractions, at its petroleum row: the polar part, unrounded",
    "polar_U": "its expanded uncertainty",
    "polar_reported": "as it is reported",
    "polar_flags": "its flags, ours whatever letters the method prints",
    "stands_on": "of a client's result: calibration, blanks, check standards, batch quality control, detection study",
    "lots": "the lots that enter a client's result",
    "analyst": "who read it, and who extracted it where that is another",
}
"""The columns beside those of the queue, and what each is."""
HEADER = ("run", *(column.key for column in QUEUE), *BESIDE)


def write(sheet: Sheet) -> str:
    """Write every row of the queue with all its columns, unrounded, after the run's id."""
    standings = {made.row.id: made for made in stands_on.standings(sheet)}
    polar = {_holder(made, sheet): made for made in sheet.fractions}
    lines = [csv_line(HEADER)]
    for row in sheet.rows:
        more = _beside(row, sheet) | _polar(polar.get(row.id)) | _standing(standings.get(row.id))
        values = [sheet.run.run.id, *(column.value(row) for column in QUEUE), *(more[key] for key in BESIDE)]
        lines.append(csv_line(values))
    return "".join(lines)


def _beside(row: RowResult, sheet: Sheet) -> dict[str, Any]:
    failing = (f for f in sheet.quality if f.state == "fail" and row.id in f.rows)
    sample = next((each for each in sheet.run.sample if each.id == row.sample), None)
    return {
        "dry_weight": bool(row.amounts and row.amounts.solids_percent is not None),
        "report": row.reports,
        "void": row.row.void,
        "reason": row.row.reason,
        "affected_by": findings.affecting(row, sheet),
        "affects": " ".join(dict.fromkeys(name for f in failing for name in f.affects or ())),
        "client_id": sample and sample.client_id,
        "site": sample and sample.site,
        "collected": sample and when(sample.collected),
    }


def _holder(made: FractionsResult, sheet: Sheet) -> str:
    """The row a polar part stands at: the last reported petroleum row of its sample."""
    rows = (r.id for r in reversed(sheet.rows) if r.for_client and (r.sample, r.fraction) == (made.sample, "petroleum"))
    return next(rows, "")


def _polar(made: FractionsResult | None) -> dict[str, Any]:
    if made is None:
        return dict.fromkeys(("polar", "polar_U", "polar_reported", "polar_flags"))
    return {
        "polar": made.polar,
        "polar_U": made.expanded,
        "polar_reported": made.reported["polar"],
        "polar_flags": "".join(made.flags),
    }


def _standing(made: stands_on.Standing | None) -> dict[str, Any]:
    if made is None:
        return dict.fromkeys(("stands_on", "lots", "analyst"))
    return {
        "stands_on": "; ".join(support.words for support in made.supports),
        "lots": "; ".join(f"{what} {lot}" for what, lot in made.lots),
        "analyst": made.analyst,
    }
