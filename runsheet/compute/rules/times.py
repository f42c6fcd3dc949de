"""Rules about times: holding, expiry, order.

`holding` is judged for samples, duplicates, spikes and blanks of the journey; a duplicate or spike without a
`[[sample]]` of its own has its parent's. `expiry` is by the time of the reading; without one, by `run.opened`.
"""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta, timezone
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most
from runsheet.compute.results import Finding
from runsheet.compute.rules.computed import past
from runsheet.figures import against, told_apart
from runsheet.run.kinds import FIELD, JOURNEY_BLANKS, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, tzinfo

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed
    from runsheet.run.model import Run, Sample

CLOCKS = ("collection to analysis", "collection to extraction", "extraction to analysis")
"""The holding times of a method, each a clock with two ends."""


def zone(run: Run) -> tzinfo:
    """The zone of the clock on the wall: the run's offset, else that of its opening, else UTC."""
    offset = run.run.offset
    if offset and offset != "Z":
        minutes = int(offset[1:3]) * 60 + int(offset[4:6])
        return timezone(timedelta(minutes=-minutes if offset[0] == "-" else minutes))
    opened = run.run.opened
    return (opened.tzinfo if opened and not offset else None) or UTC


def moment(when: datetime | date | None, run: Run) -> datetime | None:
    """A time; a date counts from 00:00 of that day, the cautious end."""
    if when is None or isinstance(when, datetime):
        return when
    return datetime.combine(when, time(), zone(run))


def holding(run: Computed) -> Iterator[Finding]:
    """A sample is extracted and analysed within its holding times; each clock whose both ends are known."""
    limits = run.run.method.holding
    if limits is None:
        return
    given = {what: getattr(limits, limit_of(what)) for what in CLOCKS}
    without: dict[str, dict[str, None]] = {what: {} for what, limit in given.items() if limit is not None}
    for row in (row for row in run.live if row.kind in FIELD or row.kind in JOURNEY_BLANKS):
        for what, limit in given.items():
            if limit is None:
                continue
            start, end = ends(what, row, run)
            if start is not None and end is not None and start <= end:
                yield _clock(what, row, start, end, float(limit))
            elif (start is None or end is None) and row.is_reported and row.kind in FIELD:
                without[what][row.row.of or row.sample] = None
    for what, names in without.items():
        if names:
            why = f"{what} is not judged: a time is not known"
            affects = run.reach.samples(names)
            yield Finding("holding", tuple(names), state="warn", why=why, affects=affects)


def limit_of(what: str) -> str:
    """The field of the method's limits that has a clock's days."""
    return f"{what.replace(' ', '_')}_days"


def ends(what: str, row: RowResult, run: Computed) -> tuple[datetime | None, datetime | None]:
    """When a clock of a row began and ended; None where that is not known."""
    start, _, end = what.partition(" to ")
    return _time_of(start, row, run), _time_of(end, row, run)


def _time_of(what: str, row: RowResult, run: Computed) -> datetime | None:
    if what == "collection":
        sample = run.received(row)
        return moment(sample.collected, run.run) if sample else None
    if what == "extraction":
        return row.row.extracted or run.finished.get(row.batch)
    return row.row.at if row.counted else None


def _clock(what: str, row: RowResult, start: datetime, end: datetime, high: float) -> Finding:
    days = (end - start).total_seconds() / 86400
    good = at_most(days, high)
    why = "" if good else "{} {} days, at most {}".format(what, *against(days, high, ".1f"))
    return Finding("holding", (row.id,), days, None, high, "pass" if good else "fail", why, "days", read_at=row.row.at)


def expiry(run: Computed) -> Iterator[Finding]:
    """Nothing is used past the day it expires."""
    opened = run.run.run.opened
    for result in run.calibrations:
        for standard in (made.standard for made in result.standards if made.used):
            if past(standard.expires, standard.at or opened):
                why = f"standard {standard.id} expired on {standard.expires}"
                affects = run.reach.calibration(result.id)
                yield Finding("expiry", (standard.id,), state="fail", why=why, affects=affects, read_at=standard.at)
    for row in run.read:
        if past(row.row.expires, row.row.at or opened):
            why = f"{spoken(row.kind)} {row.id} expired on {row.row.expires}"
            affects = run.reach.of_row(row)
            yield Finding("expiry", (row.id,), state="fail", why=why, affects=affects, read_at=row.row.at)
    yield from _solvent(run)


def _solvent(run: Computed) -> Iterator[Finding]:
    """What was read past the day of the solvent: rows, and before there are any the standards, which is soon enough."""
    solvent, opened = run.run.solvent, run.run.run.opened
    rows = ((row.id, row.row.at) for row in run.read)
    used = (made for result in run.calibrations for made in result.standards if made.used and made.y is not None)
    standards = ((made.standard.id, made.standard.at) for made in used)
    for read in (rows, standards):
        late = {name: at for name, at in read if past(solvent.expires, at or opened)}
        if late:
            why = f"{solvent.name or 'the solvent'} expired on {solvent.expires}"
            last = max(filter(None, late.values()), default=None)
            yield Finding("expiry", tuple(late), state="fail", why=why, affects=run.reach.all(), read_at=last)
            return


def clock(run: Computed) -> Iterator[Finding]:
    """Times are known, run forward in the order of analysis, and follow a sample from its collection on."""
    before: RowResult | None = None
    for row in run.read:
        at = row.row.at
        if at is None:
            continue
        if before is not None and before.row.at is not None and at < before.row.at:
            one, other = told_apart(at, before.row.at)
            why = f"read at {one}, before {before.id} above it, at {other}"
            yield Finding("clock", (row.id,), state="warn", why=why)
        before = row
    timed = [*((s.id, s.at) for s in run.run.standard if s.readings), *((row.id, row.row.at) for row in run.read)]
    ahead = tuple(name for name, at in timed if at is not None and at > run.now)
    if ahead:
        why = f"read after {run.now:%Y-%m-%d %H:%M}, in the future"
        yield Finding("clock", ahead, state="warn", why=why)
    without = tuple(row.id for row in run.read if row.row.at is None)
    if without:
        yield Finding("clock", without, state="warn", why="read at a time that is not recorded")
    rows: dict[str, list[RowResult]] = {}
    for row in run.read:
        if row.is_reported:
            rows.setdefault(row.sample, []).append(row)
    for sample in run.run.sample:
        if sample.id in rows:
            yield from _order(sample, rows[sample.id], run)


def _order(sample: Sample, rows: list[RowResult], run: Computed) -> Iterator[Finding]:
    """A sample that was received, extracted or read before it could be, by its reported rows."""
    said = [_after(("collected", sample.collected), ("received", sample.received), run.run)]
    for row in rows:
        extracted = ("extracted", row.row.extracted or run.finished.get(row.batch))
        read = ("read", row.row.at)
        for what in (("collected", sample.collected), ("received", sample.received)):
            said += [_after(what, extracted, run.run), _after(what, read, run.run)]
        said.append(_after(extracted, read, run.run))
    found = list(dict.fromkeys(filter(None, said)))
    if found:
        last = max((row.row.at for row in rows if row.row.at), default=None)
        names = tuple(row.id for row in rows)
        yield Finding("clock", names, state="fail", why=f"{sample.id} was {' and '.join(found)}", read_at=last)


def _after(one: tuple[str, datetime | date | None], other: tuple[str, datetime | date | None], run: Run) -> str:
    """Say that one thing happened after the other; a bare date is compared by its day."""
    (what, first), (that, second) = one, other
    if first is None or second is None:
        return ""
    if isinstance(first, datetime) and isinstance(second, datetime):
        late = first > second
    else:
        late = _day(first, run) > _day(second, run)
    return f"{what} after it was {that}" if late else ""


def _day(when: datetime | date, run: Run) -> date:
    return when.astimezone(zone(run)).date() if isinstance(when, datetime) else when
