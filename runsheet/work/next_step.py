"""What to do next, and why.

Owns: the order of a day's work, from the sheet alone; what is next at the setup checks is in `next_setup`, at the
standards in `next_standard`, which row comes next in `to_come`. Invariant: there is always exactly one next thing, with
its reason; what falls due is offered and never forced.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from runsheet.compute.readings import calibration_of
from runsheet.figures import some
from runsheet.run.kinds import CHECK_STANDARDS, CLIENTS, EVENTS, spoken
from runsheet.run.model import Row
from runsheet.show import client_results, findings, state
from runsheet.work import next_setup, next_standard, to_come
from runsheet.work.new_row import advised
from runsheet.work.step import NextStep

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import CalibrationResult, RowResult, Sheet
    from runsheet.run.kinds import Event
    from runsheet.tables import Number

HOLDING = ("blank", "check", "second-source", "calibration")
"""Rules whose failing holds rows."""


def next_step(sheet: Sheet, offered: Callable[[RowResult], Number | None] = advised) -> NextStep:
    """The next thing to do; `offered` gives the dilution that is offered for a row above the range."""

    def dilution(sheet: Sheet) -> NextStep | None:
        return _dilution(sheet, offered)

    return next(step for find in (*_FIRST, dilution, *_THEN) if (step := find(sheet)) is not None)


def _due(sheet: Sheet) -> NextStep | None:
    place = to_come.place_of_next(sheet)
    coming = to_come.events_first(sheet)
    due = [result for result in sheet.due if result.state in ("due", "overdue")]
    for result in due:
        if result.what not in coming:
            return NextStep("queue", place, f"insert a {spoken(result.what)}", result.words, result.what)
    return _read_event(sheet, due[0].words) if due else None


def _read_event(sheet: Sheet, why: str) -> NextStep | None:
    """The blank or check standard that is to come, where a row passed over would else be read first."""
    place = to_come.first_unread(sheet, to_come.place_of_next(sheet))
    return None if place is None or place == to_come.first_unread(sheet) else _read(sheet, place, why)


def _read(sheet: Sheet, place: int, why: str) -> NextStep:
    return NextStep("queue", place, f"read {sheet.rows[place].id}{_kind(sheet.rows[place])}", why)


def _failed_event(sheet: Sheet) -> NextStep | None:
    """The last blank or check read fails: nothing read after it will count until that is put right."""
    first = to_come.first_unread(sheet)
    for at in to_come.last_events(sheet, first):
        row = sheet.rows[at]
        if row.state != "held" or _put_right(row):
            continue
        if any(f.acted_on and row.id in f.rows for f in sheet.quality):
            continue
        finding = next((f for f in sheet.quality if f.rows == (row.id,) and f.rule == row.kind), None)
        why = finding.why if finding else "it is outside its limits"
        kinds = ("blank",) if row.kind == "blank" else EVENTS  # no check before the baseline is right
        if _unknown(row):
            return _to_mend(sheet, at, why)
        if row.kind in to_come.events_first(sheet):
            again = to_come.first_unread(sheet, to_come.place_of_next(sheet), kinds)
        elif row.kind in to_come.events_first(sheet, below := to_come.place_again(sheet, at)):  # where r has put it
            again = to_come.first_unread(sheet, below, kinds)
        else:
            return _to_mend(sheet, at, why)
        if again is not None and (again != first or row.kind == "blank"):
            return _read(sheet, again, f"{row.id} fails: {why}")
    return None


def _failed_second_source(sheet: Sheet) -> NextStep | None:
    """The curve that what is next would be read on is not verified: its last second source fails."""
    first = to_come.first_unread(sheet)
    if first is None:
        return None
    curve = sheet.rows[first].calibration
    of_it = [at for at, row in enumerate(sheet.rows) if row.kind == "second-source" and row.counted]
    at = next((at for at in reversed(of_it) if sheet.rows[at].calibration is curve), None)
    failing = (f for f in sheet.quality if f.rule == "second-source" and f.state == "fail" and not f.acted_on)
    finding = next((f for f in failing if at is not None and f.rows == (sheet.rows[at].id,)), None)
    if at is None or finding is None:
        return None
    row, again = sheet.rows[at], to_come.place_of_next(sheet)
    if not _unknown(row) and "second-source" in to_come.kinds_first(sheet, again, (*EVENTS, "second-source")):
        place = to_come.first_unread(sheet, again)
        return None if place is None else _read(sheet, place, f"{row.id} fails: {finding.why}")
    return _to_mend(sheet, at, finding.why)


def _to_mend(sheet: Sheet, at: int, why: str) -> NextStep:
    """A blank or standard that fails is to be read again; no reading judges one without its certified value."""
    row = sheet.rows[at]
    if _unknown(row):
        return NextStep("queue", at, f"give the expected value of {row.id}", "it is missing, so that it fails")
    words, on = f"{row.id} fails: put it right and read it again with r", _on(sheet, row.row, row.calibration)
    return NextStep("queue", at, words, why, on=on)


def _unknown(row: RowResult) -> bool:
    """Whether a standard was read and has no certified value to be judged by."""
    return row.kind in CHECK_STANDARDS and row.extract is not None and row.recovery_percent is None


def _on(sheet: Sheet, row: Row, curve: CalibrationResult | None) -> str:
    """The calibration that a row to be read must name to be read on it; empty where it is read on it unnamed."""
    unnamed = calibration_of(replace(row, at=None), sheet.calibrations)
    return curve.id if curve is not None and unnamed is not curve else ""


def _put_right(row: RowResult) -> bool:
    """Whether it is a blank found off that was re-zeroed within its limit: what is read after it counts."""
    return row.kind == "blank" and bool(row.row.rezeroed) and row.left_good


def _dilution(sheet: Sheet, offered: Callable[[RowResult], Number | None]) -> NextStep | None:
    """A sample reads above the range, is not diluted yet, and no action says why it stays so."""
    left = {
        name for finding in sheet.quality if finding.rule == "over-range" and finding.acted_on for name in finding.rows
    }
    for at, row in enumerate(sheet.rows):
        if row.kind == "sample" and row.advice and row.reports and row.id not in left:
            words = f"{row.id} is {row.over}: d reads it again diluted {offered(row)}x"
            return NextStep("queue", at, words, "clean solvent first")
    return None


def _held(sheet: Sheet) -> NextStep | None:
    """Samples are held by a blank or check that failed, or by a calibration that did."""
    held = [at for at, row in enumerate(sheet.rows) if row.state == "held" and row.kind == "sample" and row.reports]
    held = [at for at in held if not _waits(sheet.rows[at])]
    failing = [finding for finding in sheet.quality if finding.state == "fail" and finding.rule in HOLDING]
    answered = {name for finding in failing if finding.acted_on for name in finding.affects or ()}
    answered -= {name for finding in failing if not finding.acted_on for name in finding.affects or ()}
    held = [at for at in held if sheet.rows[at].id not in answered]
    if not held:
        return None
    rows, them = f"{len(held)} sample{'s are' if len(held) > 1 else ' is'} held", "them" if len(held) > 1 else "it"
    words = f"{rows}: H plans the shortest way to read {them} again"
    return NextStep("queue", held[0], words, _why_held([sheet.rows[at] for at in held]))


def _waits(row: RowResult) -> bool:
    """Whether a row's calibration is still to be finished: that is what it waits for, no reading again."""
    return row.calibration is not None and row.calibration.state == "todo"


def _why_held(rows: list[RowResult]) -> str:
    """What holds rows: calibrations that fail, or a blank or check beside them."""
    failing = dict.fromkeys(row.calibration.id for row in rows if row.calibration and row.calibration.state != "pass")
    said = [f"calibration {' and '.join(failing)} fail{'s' * (len(failing) == 1)}"] if failing else []
    none = any(row.calibration is None for row in rows)
    said += ["no calibration of its cell was read in full by its time"] if none else []
    said += ["a blank or check standard failed"] if any(row.holders for row in rows) else []
    return "; ".join(said)


def to_be_seen_to(sheet: Sheet, pane: str, place: int) -> int | None:
    """Where something must be done after a row was read, or None.

    It is that row where it is above the range or an event, a second source or a setup check that fails; of a
    calibration all read, the standard that spoils its curve.
    """
    if pane == "setup":
        return place if sheet.setup[place].state == "fail" else None
    if pane == "queue":
        row = sheet.rows[place]
        failed = (row.kind in EVENTS and row.state == "held") or (row.kind == "second-source" and row.fails)
        return place if row.signals and ((row.advice and row.reports) or failed) else None
    if pane != "standards":
        return None
    places = next_standard.places(sheet)
    for result in sheet.calibrations:
        mine = {s.standard.id for s in result.standards}
        if result.ready and sheet.run.standard[place].id in mine and (odd := next_standard.spoiler(sheet, result)):
            return places[odd]
    return None


def _unread(sheet: Sheet) -> NextStep | None:
    at = to_come.first_unread(sheet)
    if at is None:
        return None
    row = sheet.rows[at]
    left = sum(other.state == "unread" for other in sheet.rows)
    return _read(sheet, at, _reason(sheet, row, left))


def _kind(row: RowResult) -> str:
    return "" if row.kind == "sample" else f", {spoken(row.kind)}"


def _reason(sheet: Sheet, row: RowResult, left: int) -> str:
    soon = next((result for result in sheet.due if result.state != "ok" and result.what != row.kind), None)
    rows = f"{left} row{'s' if left > 1 else ''} left"
    return f"{rows}; {soon.words}" if soon else rows


def _closing(sheet: Sheet) -> NextStep | None:
    """A row is open: the blank or check that closes it is inserted on its calibration, whichever was read last."""
    waiting = [row for row in sheet.rows if row.state == "open" and row.is_reported]
    if not waiting:
        return None
    last, curve = waiting[-1], waiting[-1].calibration
    kind: Event = next((result.what for result in sheet.due if result.what not in last.after), "blank")
    many = sum(row.calibration is curve and kind not in row.after for row in waiting)
    rows = f"{many} row{'s wait' if many > 1 else ' waits'} for it"
    on = _on(sheet, Row(id="", kind=kind), curve)
    words = f"close the batch: insert a {spoken(kind)}{f' on {on}' if on else ''}"
    return NextStep("queue", len(sheet.rows), words, rows, kind, on=on)


def _failing(sheet: Sheet) -> NextStep | None:
    """A finding fails and nothing that was done about it is noted."""
    failing = [finding for finding in sheet.quality if finding.state == "fail" and not finding.acted_on]
    if not failing:
        return None
    many = f"{len(failing)} finding{'s fail' if len(failing) > 1 else ' fails'}"
    at = findings.in_order(sheet).index(failing[0])
    return NextStep("quality", at, f"{many}: t notes what was done, in QC", failing[0].why)


def _empty(sheet: Sheet) -> NextStep | None:
    return None if sheet.rows else NextStep("queue", 0, "plan the queue: insert the first row with i", "it is empty")


def _done(sheet: Sheet) -> NextStep:
    why = "; ".join([*_without_result(sheet), state.words(sheet)])
    return NextStep("queue", len(sheet.rows) - 1, "all read and closed: review and report", why, done=True)


def _without_result(sheet: Sheet) -> list[str]:
    """The samples of which nothing, or one fraction not, is reported any more, in words; empty where there is none."""
    gone = client_results.lost(sheet.rows)
    reported = {row.sample for row in sheet.rows if row.kind in CLIENTS and row.reports}
    wholly = list(dict.fromkeys(row.sample for row in gone if row.sample not in reported))
    said = [f"{some(wholly, 3)} ha{'s' if len(wholly) == 1 else 've'} no result"] if wholly else []
    for fraction, words in client_results.ANALYTES.items():
        parts = [row.sample for row in gone if row.sample in reported and row.fraction == fraction]
        said += [f"no {words} of {some(parts, 3)}"] if parts else []
    return said


_FIRST = (
    next_setup.to_be_done, next_standard.to_be_read, next_standard.to_be_put_right, _empty, _failed_event,
    _failed_second_source, _due,
)  # fmt: skip
_THEN = (_unread, next_standard.to_be_finished, _held, _closing, _failing, _done)
"""What comes before and after a sample that is to be diluted."""
