"""The state of a run, in words with its numbers.

Owns: how the state is said wherever it is named. Invariant: it never stands alone: warnings and failures acted on are
counted beside it, and only `pass` is called a pass.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.limits import letters
from runsheet.figures import counted

if TYPE_CHECKING:
    from runsheet.compute.results import Finding, Sheet


def words(sheet: Sheet) -> str:
    """The state and its numbers, for a page."""
    failing = [finding for finding in sheet.quality if finding.state == "fail"]
    open_ = [finding for finding in failing if not finding.acted_on]
    if sheet.state == "fail":
        said = f"FAIL: {counted(len(open_), 'failure')} not acted on"
    elif sheet.state == "todo":
        said = f"unfinished: {_left(sheet)}"
    else:
        said = "pass" if sheet.state == "pass" else f"with reservations: {reservations(sheet)}"
    return ", ".join([said, *_numbers(sheet, failing)])


def short(sheet: Sheet) -> str:
    """The same for a title line."""
    failing = [finding for finding in sheet.quality if finding.state == "fail"]
    said = {"fail": "FAIL", "todo": "unfinished", "pass": "pass", "qualified": f"with reservations: {_carry(sheet)}"}
    acted = sum(finding.acted_on for finding in failing)
    numbers = [f"{len(failing) - acted} fail"] if len(failing) > acted else []
    numbers += [f"{_warnings(sheet)} warn"] if _warnings(sheet) else []
    numbers += [f"{acted} acted on"] if acted else []
    return ", ".join([said[sheet.state], *numbers])


def reservations(sheet: Sheet) -> str:
    """How many of the client's results carry Q, as it is printed, and how many other reported rows are held."""
    others = sum(row.is_reported and not row.for_client and row.state == "held" for row in sheet.rows)
    held = f", {counted(others, 'row')} of the batch QC held" if others else ""
    return f"{_carry(sheet)} results carry {letters(sheet.run.method)['Q']}{held}"


def _carry(sheet: Sheet) -> str:
    clients = [row for row in sheet.rows if row.for_client]
    return f"{sum('Q' in row.flags for row in clients)} of {len(clients)}"


def _warnings(sheet: Sheet) -> int:
    return sum(finding.state == "warn" for finding in sheet.quality)


def _numbers(sheet: Sheet, failing: list[Finding]) -> list[str]:
    acted = sum(finding.acted_on for finding in failing)
    warnings = _warnings(sheet)
    said = [counted(warnings, "warning")] if warnings else []
    return [*said, f"{counted(acted, 'failure')} acted on"] if acted else said


def _left(sheet: Sheet) -> str:
    """What is still to be done."""
    unread = sum(row.state == "unread" for row in sheet.rows)
    if unread:
        return f"{counted(unread, 'row')} to read"
    closed = {name for f in sheet.quality if f.rule == "closing" and f.acted_on for name in f.rows}
    waiting = sum(row.state == "open" and row.is_reported and row.id not in closed for row in sheet.rows)
    if waiting:
        return f"{counted(waiting, 'row')} without a closing blank or check standard"
    return "a setup check or a calibration is not done"
