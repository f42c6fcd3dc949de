"""What to do next, and why.

Owns: the order of a day's work, from the sheet alone. Invariant: there is always exactly one next thing, with its
reason; what falls due is offered and never forced.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.compute.readings import calibration_of
from runsheet.figures import some
from runsheet.run.kinds import CLIENTS, EVENTS, spoken
from runsheet.run.model import Row
from runsheet.show import client_results, findings, state
from runsheet.work import usual
from runsheet.work.new_row import advised

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import CalibrationResult, DueResult, RowResult, Sheet, StandardResult
    from runsheet.run.kinds import Event
    from runsheet.tables import Number

PaneName = Literal["setup", "standards", "queue", "quality"]


HOLDING = ("blank", "check", "second-source", "calibration")
"""Rules whose failing holds rows."""


class NextStep(NamedTuple):
    """The next thing to do."""

    pane: PaneName
    row: int
    """The row of that pane it is about, from 0."""
    words: str
    why: str
    offer: Event | None = None
    """The kind of row to insert, where one falls due."""
    on: str = ""
    """The calibration that row is to name, where it would else be read on another."""
    done: bool = False
    """Whether nothing is left at the bench: what is next is said by who signed."""


def next_step(sheet: Sheet, offered: Callable[[RowResult], Number | None] = advised) -> NextStep:
    """The next thing to do; `offered` gives the dilution that is offered for a row above the range."""

    def dilution(sheet: Sheet) -> NextStep | None:
        return _dilution(sheet, offered)

    return next(step for find in (*_FIRST, dilution, *_THEN) if (step := find(sheet)) is not None)


def _setup(sheet: Sheet) -> NextStep | None:
    todo = [(at, result) for at, result in enumerate(sheet.setup) if result.state == "todo"]
    running = next((r for _, r in todo if r.setup.check == "warm-up" and r.setup.started), None)
    for at, result in todo:
        if result.setup.check == "warm-up":
            if result.setup.started is None and _all_read(sheet):
                words = "note when the lamp was put on, or remove the row"
                return NextStep("setup", at, words, "all is read, nothing waits for a warm-up")
            if result.setup.started is None:
                return NextStep("setup", at, "lamp on: press Enter to start the warm-up", "everything waits for it")
            continue
        if running is not None:
            return NextStep("setup", at, f"warm up: {running.why}", f"then {result.setup.check}")
        return NextStep("setup", at, f"setup check: {result.setup.check}", result.why)
    if running is None:
        return None
    then = "everything waits for it" if _standards(sheet) is None else "then the standards"
    return NextStep("setup", todo[0][0], f"warm up: {running.why}", then)


def _all_read(sheet: Sheet) -> bool:
    """Whether rows were read and nothing is left to read: a lamp put on now would warm up for nothing."""
    return _first_unread(sheet) is None and _standards(sheet) is None and any(row.signals for row in sheet.rows)


def _places(sheet: Sheet) -> dict[str, int]:
    """Where each standard stands, from 0."""
    return {standard.id: at for at, standard in enumerate(sheet.run.standard)}


def _doing(result: CalibrationResult, x: float) -> str:
    """What is done with a standard: read, or on a direct-reading analyser blank, span, verify."""
    if not result.direct:
        return "read standard"
    if x == 0:
        return "set the blank to 0 and read"
    span = max(standard.x for standard in result.standards if standard.used)
    return "span on and read" if x == span else "verify with"


def _standards(sheet: Sheet) -> NextStep | None:
    if any(row.signals for row in sheet.rows) and any(result.ready for result in sheet.calibrations):
        started = {result.id for result in sheet.calibrations if any(s.y is not None for s in result.standards)}
        at = _first_unread(sheet)
        if at is not None:  # it is read to judge the calibration it names
            started.add(sheet.rows[at].row.calibration or "")
    else:
        started = {result.id for result in sheet.calibrations}
    place = _places(sheet)
    for result in sheet.calibrations:
        unread = [s for s in result.standards if s.used and s.y is None]
        if unread and result.id in started:
            return _read_standard(result, unread, place)
    return None


def _read_standard(result: CalibrationResult, unread: list[StandardResult], place: dict[str, int]) -> NextStep:
    first = unread[0]
    words = f"{_doing(result, first.x)} {first.standard.id}, {first.x:g} mg/L"
    return NextStep("standards", place[first.standard.id], words, f"{len(unread)} to read for {result.id}")


def _failed_curve(sheet: Sheet) -> NextStep | None:
    """What is to be read next would be read on a calibration that fails, or on none: all of it would be held."""
    at = _first_unread(sheet)
    if not sheet.calibrations and (at is not None or not sheet.rows):
        words = "there is no calibration: i in the standard table begins one"
        return NextStep("standards", 0, words, "what is read without one is held")
    if at is not None:
        result = sheet.rows[at].calibration
        if result is None:
            return _no_curve(sheet, sheet.rows[at])
    else:
        result = None if sheet.rows or not sheet.calibrations else sheet.calibrations[-1]
    if result is not None and result.state == "todo":
        return _finish(sheet, result)
    if result is None or result.state != "fail":
        return None
    if any(f.rule == "calibration" and f.acted_on and result.id in f.rows for f in sheet.quality):
        return None
    place = _places(sheet)
    for other in sheet.calibrations:
        unread = [s for s in other.standards if s.used and s.y is None]
        if unread and other.calibration.cell_mm == result.calibration.cell_mm:  # another one is begun
            return _read_standard(other, unread, place)
    named = sheet.rows[at] if at is not None and sheet.rows[at].row.calibration is not None else None
    cells = {str(each.calibration.cell_mm) for each in sheet.calibrations}
    of = f" of {result.calibration.cell_mm} mm" if len(cells) > 1 and result.calibration.cell_mm is not None else ""
    else_ = f"N begins another{of}" if named is None else f"have {named.id} name another"
    words = f"calibration {result.id} fails: put it right, or {else_}"
    return NextStep("standards", place.get(_spoiler(sheet, result), 0), words, "; ".join(result.fails))


def _no_curve(sheet: Sheet, row: RowResult) -> NextStep | None:
    """A row to be read next has no calibration: one of its cell is to be finished, or begun."""
    cell = row.row.cell_mm
    for result in sheet.calibrations:
        if result.state == "todo" and (cell is None or result.calibration.cell_mm == cell):
            return _finish(sheet, result)
    if cell is None or any(result.calibration.cell_mm == cell for result in sheet.calibrations):
        return None
    words = f"no calibration has the cell of {row.id}, {cell} mm: N begins another"
    return NextStep("standards", 0, words, "what is read without one is held")


def _finish(sheet: Sheet, result: CalibrationResult) -> NextStep:
    """The next standard of a calibration to be finished; where all are read, that they are too few."""
    place = _places(sheet)
    if unread := [s for s in result.standards if s.used and s.y is None]:
        return _read_standard(result, unread, place)
    mine = [place[s.standard.id] for s in result.standards]
    return NextStep("standards", mine[-1] if mine else 0, f"finish calibration {result.id}", "; ".join(result.todos))


def _due(sheet: Sheet) -> NextStep | None:
    place = place_to_come(sheet)
    coming = _coming(sheet)
    due = [result for result in sheet.due if result.state in ("due", "overdue")]
    for result in due:
        if result.what not in coming:
            return NextStep("queue", place, f"insert a {spoken(result.what)}", result.words, result.what)
    return _read_event(sheet, due[0].words) if due else None


def _read_event(sheet: Sheet, why: str) -> NextStep | None:
    """The blank or check standard that is to come, where a row passed over would else be read first."""
    place = _first_unread(sheet, place_to_come(sheet))
    if place is None or place == _first_unread(sheet):
        return None
    return NextStep("queue", place, f"read {sheet.rows[place].id}{_kind(sheet.rows[place])}", why)


def place_to_come(sheet: Sheet) -> int:
    """Where in the queue, from 0, a row belongs that is read next: before the first that is to be read.

    A row passed over is no such one where more was read below it than is left above, or as much as an interval holds:
    what is put before it would stand above what was read before, and a blank or check there would stay due.
    """
    first = _first_unread(sheet)
    last = max((at for at, row in enumerate(sheet.rows) if row.signals), default=-1)
    if first is None or last < first:
        return len(sheet.rows) if first is None else first
    below = sum(len(row.signals) for row in sheet.rows[first:] if row.kind not in EVENTS)
    above = sum(row.state == "unread" for row in sheet.rows[first:last])
    every = [due.every_readings for due in sheet.due if due.every_readings is not None]
    return last + 1 if below >= min([above, *every]) else first


def _failed_event(sheet: Sheet) -> NextStep | None:
    """The last blank or check read fails: nothing read after it will count until that is put right."""
    first = _first_unread(sheet)
    for at in _last_events(sheet, first):
        row = sheet.rows[at]
        if row.state != "held" or _put_right(row):
            continue
        if any(f.acted_on and row.id in f.rows for f in sheet.quality):
            continue
        finding = next((f for f in sheet.quality if f.rows == (row.id,) and f.rule == row.kind), None)
        why = finding.why if finding else "it is outside its limits"
        if row.kind not in _coming(sheet):
            return NextStep("queue", at, f"{row.id} fails: put it right and read it again with r", why)
        if (again := _read_event(sheet, f"{row.id} fails: {why}")) is not None:
            return again
    return None


def _last_events(sheet: Sheet, first: int | None) -> list[int]:
    """Where the last events read stand, the latest first: of each kind, those what is read next will stand on.

    Where nothing is left to read, the very last alone: what it and others hold is told as held.
    """
    read = [n for n in range(len(sheet.rows) - 1, -1, -1) if sheet.rows[n].kind in EVENTS and sheet.rows[n].signals]
    if first is None:
        return read[:1]
    mine = [n for n in read if sheet.rows[n].calibration is sheet.rows[first].calibration]
    return sorted({sheet.rows[n].kind: n for n in reversed(mine)}.values(), reverse=True)


def _coming(sheet: Sheet) -> set[str]:
    """The kinds of event that are read before anything else is."""
    unread = (row for row in sheet.rows[place_to_come(sheet) :] if row.state == "unread")
    return {row.kind for row in itertools.takewhile(lambda row: row.kind in EVENTS, unread)}


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


def _unfinished(sheet: Sheet) -> NextStep | None:
    """A calibration that no row waits for is not finished either."""
    return next((_finish(sheet, each) for each in sheet.calibrations if each.state == "todo"), None)


def to_be_seen_to(sheet: Sheet, pane: str, place: int) -> int | None:
    """Where something must be done after a row was read, or None.

    It is that row where it is above the range or an event that fails; of a calibration all read, the standard that
    spoils its curve.
    """
    if pane == "queue":
        row = sheet.rows[place]
        failed = row.kind in (*EVENTS, "second-source") and row.state == "held"
        return place if row.signals and ((row.advice and row.reports) or failed) else None
    if pane != "standards":
        return None
    places = _places(sheet)
    for result in sheet.calibrations:
        mine = {s.standard.id for s in result.standards}
        if result.ready and sheet.run.standard[place].id in mine and (odd := _spoiler(sheet, result)):
            return places[odd]
    return None


def _spoiler(sheet: Sheet, result: CalibrationResult) -> str:
    """The standard that does not fit the others of its calibration, of one that fails the farthest; or nothing."""
    if odd := usual.odd_level(sheet.run, result.id):
        return odd[0]
    off = {s.standard.id: abs(s.residual) for s in result.standards if s.used and s.residual is not None}
    return max(off, key=lambda name: off[name]) if off and result.state == "fail" else ""


def unread_after(sheet: Sheet, pane: str, place: int) -> int | None:
    """The next thing to read in a pane below a place, or None."""
    if pane == "queue":
        return next((at for at in range(place + 1, len(sheet.rows)) if sheet.rows[at].state == "unread"), None)
    if pane == "standards":
        standards = sheet.run.standard
        unread = (
            at
            for at in range(place + 1, len(standards))
            if not standards[at].readings and standards[at].use is not False
        )
        return next(unread, None)
    return next((at for at in range(place + 1, len(sheet.setup)) if sheet.setup[at].state == "todo"), None)


def _unread(sheet: Sheet) -> NextStep | None:
    at = _first_unread(sheet)
    if at is None:
        return None
    row = sheet.rows[at]
    left = sum(other.state == "unread" for other in sheet.rows)
    return NextStep("queue", at, f"read {row.id}{_kind(row)}", _reason(sheet, row, left))


def _kind(row: RowResult) -> str:
    return "" if row.kind == "sample" else f", {spoken(row.kind)}"


def _reason(sheet: Sheet, row: RowResult, left: int) -> str:
    soon = next((result for result in sheet.due if result.state != "ok" and result.what != row.kind), None)
    rows = f"{left} row{'s' if left > 1 else ''} left"
    return f"{rows}; {soon.words}" if soon else rows


def _first_unread(sheet: Sheet, start: int = 0) -> int | None:
    return next((at for at in range(start, len(sheet.rows)) if sheet.rows[at].state == "unread"), None)


def _closing(sheet: Sheet) -> NextStep | None:
    """A row is open: the blank or check that closes it is inserted on its calibration, whichever was read last."""
    waiting = [row for row in sheet.rows if row.state == "open" and row.is_reported]
    if not waiting:
        return None
    last, curve = waiting[-1], waiting[-1].calibration
    kind: Event = next((result.what for result in sheet.due if result.what not in last.after), "blank")
    many = sum(row.calibration is curve and kind not in row.after for row in waiting)
    rows = f"{many} row{'s wait' if many > 1 else ' waits'} for it"
    other = calibration_of(Row(id="", kind=kind), sheet.calibrations) is not curve
    on = curve.id if curve is not None and other else ""
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


_FIRST = (_setup, _standards, _failed_curve, _empty, _failed_event, _due)
_THEN = (_unread, _unfinished, _held, _closing, _failing, _done)
"""What comes before and after a sample that is to be diluted."""


def offered_kind(due: tuple[DueResult, ...]) -> Event:
    """The kind of row to offer when one is asked for: what is most urgent."""
    order = {"overdue": 0, "due": 1, "soon": 2, "ok": 3}
    return min(due, key=lambda result: order[result.state]).what if due else "blank"
