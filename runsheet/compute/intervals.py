"""Intervals between blanks and between checks, and when the next one falls due.

Owns: step 11 of the computation and the gaps the interval rules judge. Invariant: a reading added never shortens a gap
that was already too long.

What falls due begins anew with a calibration finished since the last event, as the contract has it; the gaps that are
judged afterwards do not, and end with the day.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from runsheet.compute.readings import unread
from runsheet.compute.results import DueResult, Urgency
from runsheet.run.kinds import EVENTS, Event

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from runsheet.compute.days import Days
    from runsheet.compute.results import CalibrationResult, RowResult
    from runsheet.run.model import Run

SOON = 0.2
"""What part of an interval is left when its end is announced."""


@dataclass(slots=True)
class Gap:
    """The rows read between two events of a kind, or from where counting began to the first."""

    start: datetime | None = None
    """When it was opened; None where that is not known."""
    opened_by: RowResult | None = None
    """The event that opened it; None for a standard or the queue's start."""
    rows: list[RowResult] = field(default_factory=list)
    readings: int = 0
    closed_by: RowResult | None = None
    """The event that closed it; None where the day or the queue ended first."""

    def minutes(self, until: datetime | None) -> float | None:
        """The minutes from the start to a time, at least 0; None where either is not known."""
        if self.start is None or until is None:
            return None
        return max(0.0, (until - self.start).total_seconds() / 60)

    def take(self, row: RowResult) -> None:
        """Count a row read in it."""
        self.rows.append(row)
        self.readings += len(row.signals)


def gaps(rows: Iterable[RowResult], kind: str, days: Days) -> list[Gap]:
    """The queue cut at the read events of a kind, and at each new day; the last gap may still be open.

    Before a day's first event the count is from its last standard.
    """
    found: list[Gap] = []
    day = -1
    for row in rows:
        if not row.counted:
            continue
        of_row = days.of(row)
        if of_row != day:
            day = of_row
            found.append(Gap(days.last_standard(day)))
        if row.kind == kind:
            found[-1].closed_by = row
            found.append(Gap(row.row.at, row))
        elif row.kind not in EVENTS:
            found[-1].take(row)
    return found


def _since_last(rows: tuple[RowResult, ...], kind: str, calibrations: tuple[CalibrationResult, ...]) -> Gap:
    """What was read since the last event of a kind, or since a calibration finished after it."""
    fresh = sorted(c.finished for c in calibrations if c.ready and c.finished is not None)
    open_ = Gap()
    for row in rows:
        if not row.counted:
            continue
        if fresh:
            open_, fresh = _recalibrated(open_, fresh, row.row.at)
        if row.kind == kind:
            open_ = Gap(row.row.at, row)
        elif row.kind not in EVENTS:
            open_.take(row)
    return _recalibrated(open_, fresh, None)[0]


def _recalibrated(open_: Gap, fresh: list[datetime], until: datetime | None) -> tuple[Gap, list[datetime]]:
    """The open gap, begun anew at each calibration finished by a time (None: after everything); those still to come."""
    while fresh and (until is None or fresh[0] <= until):
        if open_.start is None and open_.opened_by is None and not open_.rows:
            open_.start = fresh[0]
        elif not (open_.start is None and open_.opened_by) and (open_.start is None or fresh[0] > open_.start):
            open_ = Gap(fresh[0])
        fresh = fresh[1:]
    return open_, fresh


def due(
    run: Run, rows: tuple[RowResult, ...], calibrations: tuple[CalibrationResult, ...], now: datetime
) -> tuple[DueResult, ...]:
    """When the next blank and the next check fall due."""
    more = unread(rows)
    results = []
    if run.method.blank is not None:
        limits = run.method.blank
        minutes = None if limits.every_minutes is None else float(limits.every_minutes)
        open_ = _since_last(rows, "blank", calibrations)
        results.append(_due("blank", limits.every_readings, minutes, open_, now, more=more))
    if run.method.check is not None:
        open_ = _since_last(rows, "check", calibrations)
        results.append(_due("check", run.method.check.every_readings, None, open_, now, more=more))
    return tuple(results)


def _due(
    what: Event, every_readings: object, every_minutes: float | None, open_: Gap, now: datetime, *, more: bool
) -> DueResult:
    readings = None if every_readings is None else plain(float(every_readings))  # type: ignore[arg-type]
    left = None if readings is None else readings - open_.readings
    minutes = open_.minutes(now)
    minutes_left = None if every_minutes is None or minutes is None else every_minutes - minutes
    if not more:
        return DueResult(what, "ok", left, None, readings, every_minutes)
    state = _urgency([(left, readings), (minutes_left, every_minutes)])
    return DueResult(what, state, left, minutes_left, readings, every_minutes)


def plain(value: float) -> float:
    """A whole number as an integer."""
    return int(value) if value == int(value) else value


def _urgency(pairs: list[tuple[float | None, float | None]]) -> Urgency:
    known = [(left, every) for left, every in pairs if left is not None and every is not None]
    if any(left < 0 for left, _ in known):
        return "overdue"
    if any(left == 0 for left, _ in known):
        return "due"
    return "soon" if any(left <= SOON * every for left, every in known) else "ok"
