"""Rules about times: holding, expiry, order."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most
from runsheet.compute.comparison import SPIKES
from runsheet.compute.results import Finding
from runsheet.compute.rules.computed import past

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, tzinfo

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Day
    from runsheet.run.model import Run

FIELD = ("sample", "duplicate", *SPIKES)
"""Kinds that are a bottle from the field."""


def zone(run: Run) -> tzinfo:
    """Give the zone of the clock on the wall: the run's offset, else that of its opening, else UTC."""
    offset = run.run.offset
    if offset and offset != "Z":
        minutes = int(offset[1:3]) * 60 + int(offset[4:6])
        return timezone(timedelta(minutes=-minutes if offset[0] == "-" else minutes))
    opened = run.run.opened
    return (opened.tzinfo if opened and not offset else None) or UTC


def moment(when: datetime | date | None, run: Run) -> datetime | None:
    """Give a time; a date counts from 00:00 of that day, the cautious end."""
    if when is None or isinstance(when, datetime):
        return when
    return datetime.combine(when, time(), zone(run))


def holding(day: Day) -> Iterator[Finding]:
    """A sample is extracted and analysed within its holding times; each clock whose both ends are known."""
    limits = day.run.method.holding
    if limits is None:
        return
    finished = {batch.id: batch.finished for batch in day.run.batch}
    without: dict[str, None] = {}
    for row in (row for row in day.live if row.kind in FIELD):
        sample = day.received(row)
        collected = moment(sample.collected, day.run) if sample else None
        extracted = row.row.extracted or finished.get(row.batch or "")
        if collected is None:
            without[row.row.of or row.sample] = None
        at = row.row.at if row.counted else None
        yield from _clock("collection to analysis", row, collected, at, limits.collection_to_analysis_days)
        yield from _clock("collection to extraction", row, collected, extracted, limits.collection_to_extraction_days)
        yield from _clock("extraction to analysis", row, extracted, at, limits.extraction_to_analysis_days)
    if without and (limits.collection_to_analysis_days is not None or limits.collection_to_extraction_days is not None):
        why = f"the time of collection is not known: {', '.join(without)}"
        yield Finding("holding", tuple(without), None, None, None, "warn", why)


def _clock(what: str, row: RowResult, start: datetime | None, end: datetime | None, limit: object) -> Iterator[Finding]:
    if start is None or end is None or limit is None:
        return
    days, high = (end - start).total_seconds() / 86400, float(limit)  # type: ignore[arg-type]
    good = at_most(days, high)
    why = "" if good else f"{what} {days:.1f} days, at most {high:g}"
    yield Finding("holding", (row.id,), days, None, high, "pass" if good else "fail", why)


def expiry(day: Day) -> Iterator[Finding]:
    """Nothing is used past the day it expires."""
    opened = day.run.run.opened
    for standard in day.run.standard:
        if standard.use is not False and past(standard.expires, standard.at or opened):
            yield _expired((standard.id,), f"standard {standard.id}", standard.expires)
    for row in day.read:
        if row.kind in ("check", "second-source") and past(row.row.expires, row.row.at or opened):
            yield _expired((row.id,), f"{row.kind} {row.id}", row.row.expires)
    solvent = day.run.solvent
    late = tuple(row.id for row in day.read if past(solvent.expires, row.row.at or opened))
    if late:
        yield _expired(late, solvent.name or "the solvent", solvent.expires)


def _expired(rows: tuple[str, ...], what: str, expires: date | None) -> Finding:
    return Finding("expiry", rows, None, None, None, "fail", f"{what} expired on {expires}")


def clock(day: Day) -> Iterator[Finding]:
    """Times run forward in the order of analysis, and none is in the future."""
    before: RowResult | None = None
    for row in day.live:
        at = row.row.at
        if at is None:
            continue
        if before is not None and before.row.at is not None and at < before.row.at:
            why = f"read at {at:%H:%M}, before {before.id} above it, at {before.row.at:%H:%M}"
            yield Finding("clock", (row.id,), None, None, None, "warn", why)
        before = row
    timed = [*((s.id, s.at) for s in day.run.standard), *((row.id, row.row.at) for row in day.live)]
    ahead = tuple(name for name, at in timed if at is not None and at > day.now)
    if ahead:
        yield Finding("clock", ahead, None, None, None, "warn", f"read after {day.now:%Y-%m-%d %H:%M}, in the future")
