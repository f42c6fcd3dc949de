"""Rules about blanks, check standards and what stands between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.brackets import asked_for, blank_limit, found_good, left_good
from runsheet.compute.compare import at_most, below, inside, optional
from runsheet.compute.readings import EVENTS, as_left
from runsheet.compute.results import Finding
from runsheet.compute.rules.computed import pair

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.intervals import Stretch
    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Day


def due(day: Day) -> Iterator[Finding]:
    """Say again what is due or overdue."""
    for result in day.due:
        if result.state not in ("due", "overdue"):
            continue
        by_readings = result.readings_left is not None and result.readings_left <= 0
        value = result.readings_left if by_readings else result.minutes_left
        yield Finding("due", (), value, 0, None, "fail" if result.state == "overdue" else "warn", result.words)


def blank(day: Day) -> Iterator[Finding]:
    """A solvent blank is clean as found, and as left where it was re-zeroed."""
    for row in day.of_kind("blank"):
        if not row.counted:
            yield Finding("blank", (row.id,), None, None, None, "todo", "not read yet")
            continue
        limit = blank_limit(day.run.method, direct=row.calibration is not None and row.calibration.direct)
        low = None if limit is None else -limit
        if found_good(row, day.run):
            value, why = row.net, ""
            if not left_good(row, day.run):
                value = as_left(row, day.run.instrument.reads)
                why = f"left at {value:.4g} after re-zeroing, limit {limit:g}: the rows after it are held"
        else:
            value = row.net
            why = "no calibration to judge it by" if value is None else f"found off by {value:+.4g}, limit {limit:g}"
            if value is not None:
                why += ": the rows before it are held"
                why += "" if row.row.rezeroed else f"; not re-zeroed, {as_left(row, None):.4g} is subtracted after it"
        yield Finding("blank", (row.id,), value, low, limit, "fail" if why else "pass", why)


def check(day: Day) -> Iterator[Finding]:
    """A check standard recovers within its limits."""
    limits = day.run.method.check.recovery_percent if day.run.method.check else None
    for row in day.of_kind("check"):
        yield _recovers("check", row, *pair(limits))


def second_source(day: Day) -> Iterator[Finding]:
    """A second-source standard recovers within its limits, and is of another lot than the standards."""
    limits = day.run.method.check.second_source_percent if day.run.method.check else None
    lots = {standard.lot: standard.id for standard in day.run.standard if standard.lot}
    for row in day.of_kind("second-source"):
        finding = _recovers("second-source", row, *pair(limits))
        if row.row.lot and row.row.lot in lots:
            why = f"its lot {row.row.lot} is that of standard {lots[row.row.lot]}: it is no second source"
            finding = finding._replace(state="fail", why=f"{finding.why}; {why}" if finding.why else why)
        yield finding


def _recovers(rule: str, row: RowResult, low: float | None, high: float | None) -> Finding:
    value = row.recovery_percent
    if not row.counted:
        return Finding(rule, (row.id,), None, low, high, "todo", "not read yet")
    if row.extract is None:
        return Finding(rule, (row.id,), None, low, high, "fail", "it has no concentration on the curve")
    if value is None:
        missing = low is not None or high is not None
        return Finding(
            rule,
            (row.id,),
            None,
            low,
            high,
            "fail" if missing else "pass",
            "its expected value is missing" if missing else "",
        )
    good = inside(value, low, high)
    return Finding(
        rule,
        (row.id,),
        value,
        low,
        high,
        "pass" if good else "fail",
        "" if good else f"recovers {value:.1f} %, limits {low:g}-{high:g}",
    )


def opening(day: Day) -> Iterator[Finding]:
    """The curve is verified by a check or a second source before the first sample."""
    if day.run.method.check is None:
        return
    for row in day.read:
        if row.kind in ("check", "second-source"):
            return
        if row.kind == "sample":
            why = "no check or second source was read before the first sample"
            yield Finding("opening", (row.id,), None, None, None, "warn", why)
            return


def blank_interval(day: Day) -> Iterator[Finding]:
    """No more readings or minutes between solvent blanks than the method allows."""
    limits = day.run.method.blank
    if limits is not None:
        minutes = None if limits.every_minutes is None else float(limits.every_minutes)
        yield from _intervals(day, "blank", optional(limits.every_readings), minutes)


def check_interval(day: Day) -> Iterator[Finding]:
    """No more readings between check standards than the method allows."""
    limits = day.run.method.check
    if limits is not None:
        yield from _intervals(day, "check", optional(limits.every_readings), None)


def _intervals(day: Day, kind: str, every_readings: float | None, every_minutes: float | None) -> Iterator[Finding]:
    """One finding a stretch that was too long; the last one counts only when nothing is left to read."""
    stretches = day.stretches[kind]
    for stretch in stretches[:-1] if day.unread else stretches:
        if not stretch.rows:
            continue
        closed = stretch.closed_by or stretch.rows[-1]
        minutes = stretch.minutes(closed.row.at)
        many = every_readings is not None and not at_most(stretch.readings, every_readings)
        long = every_minutes is not None and minutes is not None and not at_most(minutes, every_minutes)
        if not (many or long):
            continue
        said = [f"{stretch.readings} readings, at most {every_readings:g}"] if many else []
        said += [f"{minutes:.0f} min, at most {every_minutes:g}"] if long else []
        since = f" since {stretch.opened_by}" if stretch.opened_by else ""
        value, high = (stretch.readings, every_readings) if many else (minutes, every_minutes)
        rows = _overrun(stretch, every_readings, every_minutes) or (closed.id,)
        yield Finding(
            f"{kind}-interval", rows, value, None, high, "fail", f"{' and '.join(said)} without a {kind}{since}"
        )


def _overrun(stretch: Stretch, every_readings: float | None, every_minutes: float | None) -> tuple[str, ...]:
    """Name the rows read after the interval had run out."""
    named, readings = [], 0
    for row in stretch.rows:
        readings += len(row.signals)
        minutes = stretch.minutes(row.row.at)
        late = every_minutes is not None and minutes is not None and not at_most(minutes, every_minutes)
        if late or (every_readings is not None and readings > every_readings):
            named.append(row.id)
    return tuple(named)


def closing(day: Day) -> Iterator[Finding]:
    """When nothing is left to read, the last rows have a blank and a check after them."""
    if day.unread:
        return
    open_rows = tuple(row.id for row in day.read if row.unclosed)
    if open_rows:
        kinds = " and a ".join(asked_for(day.run.method))
        yield Finding(
            "closing", open_rows, None, None, None, "fail", f"nothing is left to read and no {kinds} closes these rows"
        )


def carry_over(day: Day) -> Iterator[Finding]:
    """After a reading above the range a blank shows the cell clean before a low result counts."""
    for row, after in zip(day.read, day.read[1:], strict=False):
        if "E" not in row.flags or after.kind == "blank" or row.result is None or after.result is None:
            continue
        if below(after.result, row.result / 10):
            why = f"read right after {row.id}, which is above the range, with no blank between: it may be carry-over"
            yield Finding("carry-over", (after.id,), after.result, row.result / 10, None, "warn", why)


def superseded(day: Day) -> Iterator[Finding]:
    """A voided blank or check is repeated at once."""
    rows = day.rows
    for place, row in enumerate(rows):
        if not row.void or row.kind not in EVENTS:
            continue
        after = next((other for other in rows[place + 1 :] if not other.void), None)
        if after is None or after.kind != row.kind:
            yield Finding(
                "superseded", (row.id,), None, None, None, "warn", f"the void {row.kind} was not repeated at once"
            )
