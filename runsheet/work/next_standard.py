"""What to do next about the calibrations: a standard to read, one that fails or lacks, one to finish.

Owns: the steps of the standards' table. Invariant: each is a `NextStep` of that table, or None where nothing is next
there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.work import to_come, usual
from runsheet.work.step import NextStep

if TYPE_CHECKING:
    from runsheet.compute.results import CalibrationResult, RowResult, Sheet


def to_be_read(sheet: Sheet) -> NextStep | None:
    """A standard of a calibration that is begun; before the first row is read on one that can be used, of any."""
    if any(row.signals for row in sheet.rows) and any(result.ready for result in sheet.calibrations):
        started = {result.id for result in sheet.calibrations if any(s.y is not None for s in result.standards)}
        at = to_come.first_unread(sheet)
        if at is not None:  # it is read to judge the calibration it names
            started.add(sheet.rows[at].row.calibration or "")
    else:
        started = {result.id for result in sheet.calibrations}
    steps = (_first_unread(sheet, result) for result in sheet.calibrations if result.id in started)
    return next(filter(None, steps), None)


def to_be_put_right(sheet: Sheet) -> NextStep | None:
    """What is to be read next would be read on a calibration that fails, or on none: all of it would be held."""
    at = to_come.first_unread(sheet)
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
    cell = result.calibration.cell_mm
    for other in sheet.calibrations:
        if other.calibration.cell_mm == cell and (step := _first_unread(sheet, other)):  # another one is begun
            return step
    named = sheet.rows[at] if at is not None and sheet.rows[at].row.calibration is not None else None
    cells = {str(each.calibration.cell_mm) for each in sheet.calibrations}
    of = f" of {cell} mm" if len(cells) > 1 and cell is not None else ""
    else_ = f"N begins another{of}" if named is None else f"have {named.id} name another"
    words = f"calibration {result.id} fails: put it right, or {else_}"
    return NextStep("standards", places(sheet).get(spoiler(sheet, result), 0), words, "; ".join(result.fails))


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


def to_be_finished(sheet: Sheet) -> NextStep | None:
    """A calibration that no row waits for is not finished either."""
    return next((_finish(sheet, each) for each in sheet.calibrations if each.state == "todo"), None)


def _finish(sheet: Sheet, result: CalibrationResult) -> NextStep:
    """The next standard of a calibration to be finished; where all are read, that they are too few."""
    if step := _first_unread(sheet, result):
        return step
    last = places(sheet)[result.standards[-1].standard.id] if result.standards else 0
    return NextStep("standards", last, f"finish calibration {result.id}", "; ".join(result.todos))


def _first_unread(sheet: Sheet, result: CalibrationResult) -> NextStep | None:
    """The first standard of a calibration that is to be read; None where all are."""
    unread = [s for s in result.standards if s.used and s.y is None]
    if not unread:
        return None
    name, x = unread[0].standard.id, unread[0].x
    words = f"{_doing(result, x)} {name}, {x:g} mg/L"
    return NextStep("standards", places(sheet)[name], words, f"{len(unread)} to read for {result.id}")


def _doing(result: CalibrationResult, x: float) -> str:
    """What is done with a standard: read, or on a direct-reading analyser blank, span, verify."""
    if not result.direct:
        return "read standard"
    if x == 0:
        return "set the blank to 0 and read"
    span = max(standard.x for standard in result.standards if standard.used)
    return "span on and read" if x == span else "verify with"


def places(sheet: Sheet) -> dict[str, int]:
    """Where each standard stands, from 0."""
    return {standard.id: at for at, standard in enumerate(sheet.run.standard)}


def spoiler(sheet: Sheet, result: CalibrationResult) -> str:
    """The standard that does not fit the others of its calibration, of one that fails the farthest; or nothing."""
    if odd := usual.odd_level(sheet.run, result.id):
        return odd[0]
    off = {s.standard.id: abs(s.residual) for s in result.standards if s.used and s.residual is not None}
    return max(off, key=lambda name: off[name]) if off and result.state == "fail" else ""
