"""Rules about blanks, check standards and what stands between them.

`closing` names every row of a calibration that lacks a blank or a check after it, held or not. `carry-over` compares
results; a row off the curve without a result, or a check in between, is not compared. Late by a little is a warning
only where a blank or check stands on a side and passes: with none on either side it fails.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from runsheet.compute.brackets import asked_for, blank_limit
from runsheet.compute.compare import at_most, below, optional
from runsheet.compute.intervals import gaps
from runsheet.compute.readings import as_left
from runsheet.compute.results import Finding
from runsheet.compute.rules import recovery
from runsheet.compute.rules.computed import plain_lot
from runsheet.figures import against, figure, some
from runsheet.run.kinds import CHECK_STANDARDS, EVENTS, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.intervals import Gap
    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed
    from runsheet.run.kinds import Event

QUARTER = 1.25
"""How many times its minutes an interval may have lasted where the events on both sides of it pass."""


def due(run: Computed) -> Iterator[Finding]:
    """No blank and no check is due or overdue while something is still to be read."""
    for result in run.due if run.unread else ():
        if result.state not in ("due", "overdue"):
            continue
        left = result.readings_left  # of the two the one that ran out: what is due may stand beside what is overdue
        by_readings = left is not None and (left < 0 or (left == 0 and result.state == "due"))
        value, unit = (result.readings_left, "readings") if by_readings else (result.minutes_left, "min")
        state = "fail" if result.state == "overdue" else "warn"
        yield Finding("due", (), value, 0, None, state, result.words, unit, run.reach.all())  # type: ignore[arg-type]


def blank(run: Computed) -> Iterator[Finding]:
    """A solvent blank is clean as found, and as left where it was re-zeroed."""
    for row in run.of_kind("blank"):
        yield blank_verdict(row, run) if row.counted else recovery.unread("blank", row)


def blank_verdict(row: RowResult, run: Computed) -> Finding:
    """The verdict on a read blank: by its found side, else by its left side."""
    direct = row.calibration is not None and row.calibration.direct
    limit = blank_limit(run.run.method, direct=direct)
    low, unit = None if limit is None else -limit, "mg/L of extract" if direct else "A"
    made = Finding("blank", (row.id,), row.net, low, limit, "pass", "", unit, read_at=row.row.at)
    if row.found_good and row.left_good:
        other = blank_limit(run.run.method, direct=not direct)
        if limit is not None or other is None:
            return made
        why = (
            f"not judged: the method's limit is {other:g} {'A' if direct else 'mg/L of extract'}, and this is in {unit}"
        )
        return made._replace(state="warn", why=why)
    affects = run.reach.beside(row, before=not row.found_good, after=not row.left_good)
    if row.found_good:
        value = as_left(row, run.run.instrument.reads)
        off, most = against(value, limit or 0, ".4g")
        why = f"left at {off} after re-zeroing, limit {most}{_holds(row, run)}"
        return made._replace(value=value, state="fail", why=why, affects=affects)
    if row.net is None:
        return made._replace(state="fail", why="no calibration to judge it by", affects=affects)
    off, most = against(row.net, limit or 0, "+.4g")
    why = f"found off by {off}, limit {most}{_holds(row, run)}{_after_it(row, run, limit or 0)}"
    return made._replace(state="fail", why=why, affects=affects)


def _holds(row: RowResult, run: Computed) -> str:
    """Which rows a blank that fails holds: those it is nearest to, on the sides that fail."""
    before = not row.found_good and any(other.after.get("blank") is row for other in run.read)
    after = not row.left_good and any(other.before.get("blank") is row for other in run.read)
    sides = " and ".join(side for side, held in (("before", before), ("after", after)) if held)
    return f": the rows {sides} it are held" if sides else ""


def _after_it(row: RowResult, run: Computed, limit: float) -> str:
    """How a blank found off was left, and what is subtracted after it."""
    if not any(other is row for other in run.read):  # a void one: nothing is subtracted for it
        return ""
    if row.row.rezeroed:
        left = as_left(row, run.run.instrument.reads)
        return "" if row.left_good else f"; left at {against(left, limit, '.4g')[0]} after re-zeroing"
    curve = row.calibration.calibration if row.calibration else None
    if curve is None or row.calibration is None or (curve.drift or "last") != "last":
        return "; not re-zeroed"
    subtracted = as_left(row, None) - (0 if (curve.zero_standard or "subtract") == "subtract" else row.calibration.zero)
    return f"; not re-zeroed, {figure(subtracted)} is subtracted after it"


def check(run: Computed) -> Iterator[Finding]:
    """A check standard recovers within its limits."""
    limits = run.run.method.check.recovery_percent if run.run.method.check else None
    for row in run.of_kind("check"):
        yield run.bearing(recovery.of_expected("check", row, limits), partial(run.reach.beside, row))


def second_source(run: Computed) -> Iterator[Finding]:
    """A second source of another lot than the standards recovers within its limits on each calibration in use."""
    limits = run.run.method.check.second_source_percent if run.run.method.check else None
    passed: set[str] = set()
    found = []
    for row in reversed(run.of_kind("second-source")):
        finding = _second_source(row, run)
        curve = row.calibration.id if row.calibration else ""
        if finding.state == "fail" and curve in passed:
            finding = finding._replace(state="warn", why=f"{finding.why}; a later one on {curve} passes")
        elif row.counted and finding.state != "fail":
            passed.add(curve)
        found.append(run.bearing(finding, partial(run.reach.of_row, row)))
    yield from reversed(found)
    read = {row.calibration.id for row in run.of_kind("second-source") if row.counted and row.calibration}
    for result in run.used if limits is not None else ():
        if result.id not in read and not result.calibration.verified:
            why = f"{result.id} is not verified: no second source was read on it"
            yield Finding(
                "second-source", (result.id,), state="fail", why=why, affects=run.reach.calibration(result.id),
                read_at=result.finished,
            )  # fmt: skip


def _second_source(row: RowResult, run: Computed) -> Finding:
    limits = run.run.method.check.second_source_percent if run.run.method.check else None
    finding = recovery.of_expected("second-source", row, limits)
    lots = run.lots
    own = plain_lot(row.row.lot)
    if finding.state == "todo":
        return finding
    if own and own in lots:
        why = f"its lot {row.row.lot} is that of standard {lots[own]}: it is no second source"
        return finding._replace(state="fail", why=f"{finding.why}; {why}" if finding.why else why)
    if finding.state == "pass" and not (own and lots):
        whose = "its own lot" if not own else "the lot of every standard"
        why = f"{whose} is not recorded: nobody can tell whether it is a second source"
        return finding._replace(state="warn", why=why)
    return finding


def opening(run: Computed) -> Iterator[Finding]:
    """Each day's calibration is verified by a check or a second source before the first sample."""
    if run.run.method.check is None:
        return
    verified: set[int] = set()
    found: dict[tuple[int, str], list[RowResult]] = {}
    good = {row.id for row in run.read if row.kind in CHECK_STANDARDS and _recovered(row, run)}
    for row in run.read:
        day = run.days.of(row)
        if row.id in good:
            verified.add(day)
        elif row.kind == "sample" and day not in verified:
            found.setdefault((day, "fail" if _older(row, day, run) else "warn"), []).append(row)
    for (day, state), rows in found.items():
        why = "read before a check standard or a second source had passed that day"
        why += ", on a calibration of an earlier day" if state == "fail" else ""
        names = tuple(row.id for row in rows)
        last = max((row.row.at for row in rows if row.row.at), default=None)
        yield Finding("opening", names, state=state, why=why, affects=run.reach.day(day), read_at=last)  # type: ignore[arg-type]


def _recovered(row: RowResult, run: Computed) -> bool:
    limits = run.run.method.check
    percent = None
    if limits is not None:
        percent = limits.recovery_percent if row.kind == "check" else limits.second_source_percent
    return recovery.of_expected(row.kind, row, percent).state == "pass"


def _older(row: RowResult, day: int, run: Computed) -> bool:
    """Whether a row's calibration was finished on an earlier day."""
    finished = row.calibration.finished if row.calibration else None
    return finished is not None and run.days.at(finished) < day


def blank_interval(run: Computed) -> Iterator[Finding]:
    """No more readings or minutes between solvent blanks than the method allows."""
    limits = run.run.method.blank
    if limits is not None:
        yield from _intervals(run, "blank", optional(limits.every_readings), optional(limits.every_minutes))


def check_interval(run: Computed) -> Iterator[Finding]:
    """No more readings between check standards than the method allows."""
    limits = run.run.method.check
    if limits is not None:
        yield from _intervals(run, "check", optional(limits.every_readings), None)


def _intervals(run: Computed, kind: Event, every: float | None, minutes: float | None) -> Iterator[Finding]:
    """One finding a gap that was too long; the last one counts only when nothing is left to read."""
    found = gaps(run.read, kind, run.days)
    for gap in found[:-1] if run.unread else found:
        if gap.rows:
            yield from _interval(gap, kind, every, minutes)


def _interval(gap: Gap, kind: Event, every: float | None, allowed: float | None) -> Iterator[Finding]:
    last = max((row.row.at for row in gap.rows if row.row.at is not None), default=None)
    took = gap.minutes(last)
    many = every is not None and not at_most(gap.readings, every)
    long = allowed is not None and took is not None and not at_most(took, allowed)
    if not (many or long):
        return
    said = [f"{gap.readings} readings, at most {every:g}"] if many else []
    said += ["{} min, at most {}".format(*against(took or 0, allowed or 0, ".0f"))] if long else []
    since = f" since {gap.opened_by.id}" if gap.opened_by else ""
    value, high, unit = (gap.readings, every, "readings") if many else (took, allowed, "min")
    rows = _late(gap, every, allowed)
    events = [event for event in (gap.opened_by, gap.closed_by) if event is not None]
    passing = bool(events) and all(event.found_good and event.left_good for event in events)
    little = not many and took is not None and at_most(took, (allowed or 0) * QUARTER)
    yield Finding(
        f"{kind}-interval", tuple(row.id for row in rows), value, None, high, "warn" if little and passing else "fail",
        f"{' and '.join(said)} without a {spoken(kind)}{since}", unit,
        read_at=max((row.row.at for row in rows if row.row.at), default=None),
    )  # fmt: skip


def _late(gap: Gap, every: float | None, allowed: float | None) -> list[RowResult]:
    """The rows read after the interval had run out."""
    found, readings = [], 0
    for row in gap.rows:
        readings += len(row.signals)
        minutes = gap.minutes(row.row.at)
        late = allowed is not None and minutes is not None and not at_most(minutes, allowed)
        if late or (every is not None and not at_most(readings, every)):
            found.append(row)
    return found


def closing(run: Computed) -> Iterator[Finding]:
    """When nothing is left to read, the last rows of each calibration in use have a blank and a check after them."""
    for result in () if run.unread else run.used:
        rows = [row for row in run.read if row.unclosed and row.calibration is result]
        if rows:
            why = f"nothing is left to read and {_unclosed(rows, run)}"
            last = max((row.row.at for row in rows if row.row.at), default=None)
            yield Finding("closing", tuple(row.id for row in rows), state="fail", why=why, read_at=last)


def _unclosed(rows: list[RowResult], run: Computed) -> str:
    """Which kinds of event close none of some rows, and which close not all of them."""
    without = {kind: [row.id for row in rows if kind not in row.after] for kind in asked_for(run.run.method)}
    every = [kind for kind, names in without.items() if len(names) == len(rows)]
    said = [f"no {' and no '.join(map(spoken, every))} closes these rows"] if every else []
    for kind, names in without.items():
        if names and kind not in every:
            said.append(f"no {spoken(kind)} closes {some(names, 4)}")
    return ", ".join(said)


def carry_over(run: Computed) -> Iterator[Finding]:
    """After a reading above the range a blank shows the cell clean before a low result counts."""
    for row, after in zip(run.read, run.read[1:], strict=False):
        if "E" not in row.flags or after.kind == "blank" or row.result is None or after.result is None:
            continue
        if below(after.result, row.result / 10):
            why = f"read right after {row.id}, which is {row.over}, with no blank between: it may be carry-over"
            unit = after.unit or ""
            yield Finding("carry-over", (after.id,), after.result, row.result / 10, None, "warn", why, unit)


def superseded(run: Computed) -> Iterator[Finding]:
    """A voided blank or check is repeated at once."""
    for row in run.rows:
        if not row.void or row.kind not in EVENTS:
            continue
        after = next((other for other in run.rows[row.place + 1 :] if not other.void), None)
        if after is None or after.kind != row.kind:
            why = f"the void {spoken(row.kind)} was not repeated at once"
            yield Finding("superseded", (row.id,), state="warn", why=why)
