"""Brackets: which blanks and checks stand around a row, and whether they let it be accepted.

Owns: step 10 of the computation. Invariant: an event condemns the rows it brackets on both sides by what it says about
each side: a blank as found about the rows before it, as left about the rows after it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, inside
from runsheet.compute.readings import as_left
from runsheet.run.kinds import EVENTS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import RowResult
    from runsheet.run.kinds import Event
    from runsheet.run.model import Method, Run


def blank_limit(method: Method, *, direct: bool) -> float | None:
    """The limit on a solvent blank: absorbance, or mg/L of extract for a direct run."""
    limits = method.blank
    limit = None if limits is None else limits.concentration if direct else limits.absorbance
    return None if limit is None else float(limit)


def found_good(row: RowResult, run: Run) -> bool:
    """Whether a blank as found, or a check, is within its limits. What could not be computed is not."""
    if row.kind == "check":
        return check_good(row, run)
    if row.net is None or row.calibration is None:
        return False
    limit = blank_limit(run.method, direct=row.calibration.direct)
    return limit is None or at_most(abs(row.net), limit)


def check_good(row: RowResult, run: Run) -> bool:
    """Whether a check standard recovers within its limits; without an extract it does not."""
    limits = run.method.check.recovery_percent if run.method.check else None
    if row.extract is None or limits is None:
        return row.extract is not None
    return row.recovery_percent is not None and inside(row.recovery_percent, float(limits[0]), float(limits[1]))


def left_good(row: RowResult, run: Run) -> bool:
    """Whether a blank was left within its limit: after re-zeroing what it read then, else as found."""
    if row.kind == "check" or not row.row.rezeroed:
        return found_good(row, run)
    limit = blank_limit(run.method, direct=row.calibration is not None and row.calibration.direct)
    return limit is None or at_most(abs(as_left(row, run.instrument.reads)), limit)


def set_states(rows: tuple[RowResult, ...], run: Run) -> None:
    """Set the state of each row and the events beside it, in place."""
    kinds = asked_for(run.method)
    for row in rows:
        each = row.as_if or row
        if each.counted and each.kind in EVENTS:
            each.found_good, each.left_good = found_good(each, run), left_good(each, run)
    before = _nearest(rows, kinds)
    after = _nearest(rows[::-1], kinds)[::-1]
    closing = bool(run.method.check and run.method.check.closing)
    for row, opened, closed in zip(rows, before, after, strict=True):
        if not row.counted:
            continue
        if row.kind in EVENTS:
            row.state = "accepted" if row.found_good else "held"
            continue
        row.before, row.after = opened, closed
        row.unclosed = closing and len(closed) < len(kinds)
        if row.calibration is None or row.calibration.state != "pass" or row.holders:
            row.state = "held"
        else:
            row.state = "open" if row.unclosed else "accepted"


def asked_for(method: Method) -> tuple[Event, ...]:
    """The kinds of event the method asks for."""
    return tuple(kind for kind in EVENTS if getattr(method, kind) is not None)


def _nearest(rows: Iterable[RowResult], kinds: tuple[Event, ...]) -> list[dict[Event, RowResult]]:
    """For every row, walking in one direction: the nearest event of each kind already passed on its calibration."""
    passed: dict[str, dict[Event, RowResult]] = {}
    found: list[dict[Event, RowResult]] = []
    nothing: dict[Event, RowResult] = {}
    for row in rows:
        calibration = row.calibration.id if row.calibration else ""
        found.append(passed.get(calibration, nothing))
        if row.counted and row.kind in kinds:
            passed[calibration] = {**passed.get(calibration, nothing), row.kind: row}
    return found
