"""Intervals between blanks and between checks, and when the next one falls due.

Owns: step 11 of the computation and the stretches the interval rules judge, so that what falls due and what is later
found overrun are one count. Invariant: a reading added never shortens a stretch that was already too long.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from runsheet.compute.readings import EVENTS, unread
from runsheet.compute.results import DueResult, Event, Urgency

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.compute.results import CalibrationResult, RowResult
    from runsheet.run.model import Run

SOON = 0.2
"""What part of an interval is left when its end is announced."""


@dataclass(slots=True)
class Stretch:
    """The rows read between two events of a kind, or from a calibration to the first."""

    start: datetime | None = None
    """When it was opened; None where that is not known."""
    opened_by: str = ""
    """The event that opened it; empty for a calibration or the queue's start."""
    rows: list[RowResult] = field(default_factory=list)
    readings: int = 0
    closed_by: RowResult | None = None

    def minutes(self, until: datetime | None) -> float | None:
        """Give the minutes from the start to a time, at least 0; None where either is not known."""
        if self.start is None or until is None:
            return None
        return max(0.0, (until - self.start).total_seconds() / 60)


def stretches(rows: tuple[RowResult, ...], kind: str, calibrations: tuple[CalibrationResult, ...]) -> list[Stretch]:
    """Cut the queue at the read events of a kind, and where a calibration was finished; the last one is still open."""
    fresh = sorted(c.finished for c in calibrations if c.ready and c.finished is not None)
    found = [Stretch()]
    for row in rows:
        if not row.counted:
            continue
        fresh = _recalibrated(found, fresh, row.row.at)
        if row.row.kind == kind:
            found[-1].closed_by = row
            found.append(Stretch(row.row.at, row.row.id))
        elif row.row.kind not in EVENTS:
            found[-1].rows.append(row)
            found[-1].readings += len(row.signals)
    _recalibrated(found, fresh, None)
    return found


def _recalibrated(found: list[Stretch], fresh: list[datetime], until: datetime | None) -> list[datetime]:
    """Open a new stretch at each calibration finished by a time (None: after everything); give those still to come."""
    while fresh and (until is None or fresh[0] <= until):
        last = found[-1]
        if last.start is None and not last.opened_by and not last.rows:
            last.start = fresh[0]
        elif not (last.start is None and last.opened_by) and (last.start is None or fresh[0] > last.start):
            found.append(Stretch(fresh[0]))
        fresh = fresh[1:]
    return fresh


def due(run: Run, rows: tuple[RowResult, ...], cut: dict[str, list[Stretch]], now: datetime) -> tuple[DueResult, ...]:
    """Say when the next blank and the next check fall due; `cut` has the stretches of each kind asked for."""
    more = unread(rows)
    results = []
    if run.method.blank is not None:
        limits = run.method.blank
        minutes = None if limits.every_minutes is None else float(limits.every_minutes)
        results.append(_due("blank", limits.every_readings, minutes, cut["blank"][-1], now, more=more))
    if run.method.check is not None:
        results.append(_due("check", run.method.check.every_readings, None, cut["check"][-1], now, more=more))
    return tuple(results)


def _due(
    what: Event, every_readings: object, every_minutes: float | None, open_: Stretch, now: datetime, *, more: bool
) -> DueResult:
    readings = None if every_readings is None else plain(float(every_readings))  # type: ignore[arg-type]
    left = None if readings is None else readings - open_.readings
    minutes = open_.minutes(now)
    minutes_left = None if every_minutes is None or minutes is None else every_minutes - minutes
    if open_.readings == 0 and not more:
        return DueResult(what, "ok", left, None, readings, every_minutes)
    state = _urgency([(left, readings), (minutes_left, every_minutes)])
    return DueResult(what, state, left, minutes_left, readings, every_minutes)


def plain(value: float) -> float:
    """Give a whole number as an integer."""
    return int(value) if value == int(value) else value


def _urgency(pairs: list[tuple[float | None, float | None]]) -> Urgency:
    known = [(left, every) for left, every in pairs if left is not None and every is not None]
    if any(left < 0 for left, _ in known):
        return "overdue"
    if any(left == 0 for left, _ in known):
        return "due"
    return "soon" if any(left <= SOON * every for left, every in known) else "ok"
