"""What to read again after a failed blank, check or calibration.

Owns: which rows are read again, in what order, and what becomes of the old ones. Invariant: once the new rows are read
with good values on a good curve, no row that reports a result is held.
"""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.brackets import asked_for, left_good
from runsheet.compute.readings import calibration_of
from runsheet.compute.rules.times import moment
from runsheet.run import edit
from runsheet.run.kinds import ABBREVIATIONS, EVENTS, spoken
from runsheet.run.model import Row
from runsheet.work import superseding
from runsheet.work.batch_plan import Spacer
from runsheet.work.new_row import Names, advised, new_row, read_again

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.run.model import Run


class Clock(NamedTuple):
    """What is left of a holding time."""

    what: str
    hours: float
    """Negative where it has run out."""


@dataclass(frozen=True, slots=True)
class Step:
    """A row to read."""

    row: Row
    why: str
    old: str = ""
    """The id of the row it stands in for; empty for a blank or check."""
    clocks: tuple[Clock, ...] = ()

    @property
    def hours(self) -> float:
        """The least holding time left; infinite where none is known."""
        return min((clock.hours for clock in self.clocks), default=math.inf)


@dataclass(frozen=True, slots=True)
class Rereading:
    """The shortest order of readings."""

    steps: tuple[Step, ...]
    superseded: tuple[tuple[str, str], ...]
    """Old rows that report and are no longer to, each with the id of what replaces it."""
    at: int
    """The number in the queue the first step gets."""
    first: str = ""
    """What must be done before it, where reading again is not enough."""


def plan_rereading(sheet: Sheet) -> Rereading | None:
    """What to read again; None where nothing is held that reading again could mend."""
    held = [row for row in sheet.rows if _mendable(row)]
    names = Names(sheet.run)
    at = 1 + max((n for n, row in enumerate(sheet.rows, 1) if row.state != "unread"), default=0)
    old, again = _to_read(sheet, held, names, at)
    steps = _spaced(sheet, again, names, at)
    if not steps:
        steps = _repeated(sheet, names, at)
    if not steps and not old:
        return None
    return Rereading(tuple(steps), tuple(old), at, _first(sheet, [step.row for step in steps]))


def _mendable(row: RowResult) -> bool:
    """Whether a row is held and reports; a curve still to be finished is finished, not read again."""
    waits = row.calibration is not None and row.calibration.state == "todo"
    return row.state == "held" and row.kind not in EVENTS and row.reports and not waits


def _key(row: RowResult) -> tuple[str, ...]:
    """Name what is read: one reading of it is enough. A QC row is the extract it reads."""
    return (row.kind,) if row.kind == "second-source" else (row.kind, row.sample, row.fraction)


def _to_read(sheet: Sheet, held: list[RowResult], names: Names, at: int) -> tuple[list[tuple[str, str]], list[Step]]:
    """The old rows with what replaces them, and the readings there are not yet."""
    # An unread row that was passed over stands between the events that failed: it is no reading to come.
    live = [row for n, row in enumerate(sheet.rows, 1) if row.reports and (row.state != "unread" or n >= at)]
    there = {_key(row): row.id for row in live if row.state in ("unread", "open", "accepted")}
    old, again = [], []
    for row in held:
        if _key(row) not in there:
            step = Step(_copy(row, sheet, names), _why(row), row.id, clocks(sheet, row))
            there[_key(row)] = step.row.id
            again.append(step)
        old.append((row.id, there[_key(row)]))
    return old, sorted(again, key=lambda step: step.hours)


def _copy(row: RowResult, sheet: Sheet, names: Names) -> Row:
    """Make the row that reads an extract again: diluted as advised, on the latest curve where its own fails."""
    stem = f"{row.sample}-" if row.kind == "sample" else ABBREVIATIONS[row.kind]
    several = len({str(c.calibration.cell_mm) for c in sheet.calibrations}) > 1
    cell = row.calibration.calibration.cell_mm if row.calibration and several else None
    made = read_again(row.row, names.first(stem), row.sample, advised(row))
    made = replace(made, calibration=None, cell_mm=row.row.cell_mm or cell)
    if row.calibration is None or row.calibration.state != "pass":
        return made
    latest = calibration_of(made, sheet.calibrations)
    stays = row.row.calibration is not None or latest is None or latest.state != "pass"
    return replace(made, calibration=row.calibration.id) if stays else made


def _why(row: RowResult) -> str:
    """What holds a row: its curve, or the blanks and checks beside it that fail."""
    fail = "fails" if len(row.holders) == 1 else "fail"
    said = f"held: {' and '.join(f'{spoken(event.kind)} {event.id}' for event in row.holders)} beside it {fail}"
    if row.calibration is None:
        said = "held: no calibration of its cell was read in full by its time"
    elif row.calibration.state != "pass":
        said = f"held: calibration {row.calibration.id} fails"
    return f"{said}; {row.over}: {row.advice}" if row.advice else said


def clocks(sheet: Sheet, row: RowResult) -> tuple[Clock, ...]:
    """The hours left at the sheet's time on the holding clocks that end with the analysis of a row."""
    limits = sheet.run.method.holding
    samples = {sample.id: sample for sample in sheet.run.sample}
    sample = samples.get(row.sample) or samples.get(row.row.of or "")
    finished = {batch.id: batch.finished for batch in sheet.run.batch}
    starts = (
        ("collection", moment(sample.collected, sheet.run) if sample else None),
        ("extraction", row.row.extracted or finished.get(row.batch or "")),
    )
    found = []
    for what, start in starts:
        days = getattr(limits, f"{what}_to_analysis_days", None)
        if start is not None and days is not None:
            left = float(days) * 24 - (sheet.now - start).total_seconds() / 3600
            found.append(Clock(f"{what} to analysis", left))
    return tuple(found)


# --- blanks and checks around them --------------------------------------------------------------------------------


def _spaced(sheet: Sheet, again: list[Step], names: Names, at: int) -> list[Step]:
    """The readings between an opening and a closing blank and check, those of one curve together."""
    groups: dict[str, list[Step]] = defaultdict(list)
    for step in again:
        curve = calibration_of(step.row, sheet.calibrations)
        groups[curve.id if curve else ""].append(step)
    ahead = _ahead(sheet, at) if len(groups) == 1 else set()
    closing = [kind for kind in asked_for(sheet.run.method) if kind not in ahead]
    made = []
    for steps in groups.values():
        by = {step.row.id: step for step in steps}
        like = Row(id="", kind="blank", calibration=steps[0].row.calibration, cell_mm=steps[0].row.cell_mm)
        spacer = Spacer(sheet, sheet.rows[: at - 1], names, like, sheet.now)
        rows = spacer.space([step.row for step in steps], opening=(), closing=closing)
        made += [by.get(row.id) or Step(row, _role(n, rows, by)) for n, row in enumerate(rows)]
    return made


def _ahead(sheet: Sheet, at: int) -> set[str]:
    """Name the kinds of event that come next in the queue anyway."""
    found: set[str] = set()
    for row in sheet.rows[at - 1 :]:
        if row.kind not in EVENTS:
            break
        found.add(row.kind)
    return found


def _role(n: int, rows: list[Row], by: dict[str, Step]) -> str:
    """Say what a blank or check is for."""
    if not any(row.id in by for row in rows[:n]):
        return "opens the readings"
    return "closes the readings" if not any(row.id in by for row in rows[n:]) else "falls due"


def _repeated(sheet: Sheet, names: Names, at: int) -> list[Step]:
    """The events to repeat at once where nothing is held yet: what is read next would be."""
    if not any(row.state == "unread" for row in sheet.rows):
        return []
    ahead, made = _ahead(sheet, at), []
    curve = calibration_of(Row(id="", kind="blank"), sheet.calibrations)
    for kind in asked_for(sheet.run.method):
        last = [row for row in sheet.rows if row.kind == kind and row.counted and row.calibration is curve]
        if curve is not None and last and kind not in ahead and not left_good(last[-1], sheet.run):
            row = new_row(sheet.run, last[-1].kind, names.of(last[-1].kind))
            made.append(Step(row, f"{last[-1].id} failed: what is read next would be held"))
    return made


def _first(sheet: Sheet, rows: Iterable[Row]) -> str:
    """Say that a curve is needed first where the one the new rows would use does not pass."""
    curves = [calibration_of(row, sheet.calibrations) for row in rows]
    failing = sorted({curve.id for curve in curves if curve is not None and curve.state != "pass"})
    if failing:
        return f"calibrate again first: {', '.join(failing)} do{'es' * (len(failing) == 1)} not pass"
    return "calibrate first: no curve of this cell was read in full" if None in curves else ""


# --- what comes of it ---------------------------------------------------------------------------------------------


def edits(run: Run, found: Rereading) -> list[edit.Edit]:
    """The edits, as one step: old rows no longer report and say why, new rows go before what is unread."""
    place = {row.id: n for n, row in enumerate(run.queue, 1)}
    made: list[edit.Edit] = []
    for old, new in found.superseded:
        made += superseding.supersede(run, place[old], new)
    for n, step in enumerate(found.steps, found.at):
        made.append(edit.insert_row(run, "queue", n, step.row))
        run = edit.apply(run, made[-1])
    return made


def lines(found: Rereading) -> list[str]:
    """Say in lines what to read again, why, and how long each sample may still wait."""
    said = [found.first] if found.first else []
    said += [f"{step.row.id:10} {_left(step)}{step.why}" for step in found.steps]
    inserted = {step.row.id for step in found.steps}
    kept = [f"{old:10} superseded by {new}" for old, new in found.superseded if new not in inserted]
    return [*said, *kept]


def _left(step: Step) -> str:
    """The hours left, whole ones: no more is promised than there is, and what has run out is over by some."""
    words = [
        f"{math.floor(clock.hours + 1e-9)} h left, {clock.what}"
        if clock.hours >= 0
        else f"{math.ceil(-clock.hours - 1e-9)} h over, {clock.what}"
        for clock in step.clocks
    ]
    return "".join(f"{each}; " for each in words)
