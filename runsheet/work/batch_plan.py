"""From a list of samples to queue rows.

Owns: the batch QC a method asks for, and where blanks and checks go. Invariant: no id is used twice,
and a planned queue read in order, one reading a row, overruns no interval and lacks no QC row of its batch.

A plan opens with a solvent blank, so that the second source and check after it have a drift to stand on.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables
from runsheet.compute.brackets import asked_for, left_good
from runsheet.compute.readings import calibration_of
from runsheet.compute.sheet import evaluate
from runsheet.figures import counted
from runsheet.run import edit
from runsheet.run.kinds import EVENTS, SEVERAL, SOLVENT_STANDARDS, WORDS
from runsheet.run.model import Row, Sample
from runsheet.work.new_row import Names, batch_limit, missing, new_row, with_nominal

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.problem import Problem
    from runsheet.run.kinds import Event, Kind
    from runsheet.run.model import Run
    from runsheet.work.sample_list import Planned

PACE = 2.0
"""Minutes a row takes, for intervals given in minutes. Common practice, no source."""


class Plan(NamedTuple):
    """What is to be inserted."""

    rows: tuple[Row, ...]
    samples: tuple[Sample, ...]
    """Those the run has no `[[sample]]` of yet."""


# --- planning -----------------------------------------------------------------------------------------------------


def plan(run: Run, planned: Sequence[Planned], sheet: Sheet | None, now: datetime) -> Plan:
    """The rows to append for these samples, with the QC and the events the method asks for.

    `sheet` is that of `run`; it is computed at `now` where it is None.
    """
    sheet = sheet or evaluate(run, now)
    names = Names(run, (each.row.id for each in planned))
    second: tuple[Row, ...] = ()
    if run.method.check is not None and all(row.void or row.kind != "second-source" for row in sheet.rows):
        second = (new_row(run, "second-source", names.of("second-source")),)
    spacer = Spacer(sheet, sheet.rows, names, Row(id="", kind="blank"), now)
    closing = bool(run.method.check and run.method.check.closing)
    rows = spacer.space(_with_qc(sheet, planned, names), opening=second, closing=asked_for(run.method) * closing)
    return Plan(tuple(rows), _new_samples(run, planned))


def _new_samples(run: Run, planned: Sequence[Planned]) -> tuple[Sample, ...]:
    """The samples not received yet; what two lines say of one is put together, the first line first."""
    had = {sample.id for sample in run.sample}
    made: dict[str, dict[str, Any]] = {}
    for each in planned:
        if each.sample.id not in had:
            made[each.sample.id] = {**tables.plain(each.sample), **made.get(each.sample.id, {})}
    return tuple(Sample(**values) for values in made.values())


def _with_qc(sheet: Sheet, planned: Sequence[Planned], names: Names) -> Iterator[Row]:
    """The samples with the QC of their batch: before each started one what the bench prepares, after its first
    sample a duplicate, after its second (its first, where no duplicate is asked for) a spike pair.
    """
    run = sheet.run
    only = run.batch[0].id if len(run.batch) == 1 else None
    had: defaultdict[tuple[str | None, str], defaultdict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for result in sheet.rows:
        if not result.void:
            had[result.batch, result.fraction][result.kind].add(result.sample)
    for each in planned:
        row = with_nominal(each.row, run)
        fraction = "petroleum" if row.silica_gel else "oil_grease"
        group = had[row.batch or only, fraction]
        group["sample"].add(row.sample or row.id)
        size = batch_limit(run, fraction, "samples")
        started = 1 if size is None else math.ceil(len(group["sample"]) / float(size) - 1e-9)
        prepared: tuple[Kind, ...] = ("method-blank", "control") if size is not None else ()
        lacking = [kind for kind in prepared for _ in range(started - len(group[kind]))]
        yield from _counted(group, (new_row(run, kind, names.of(kind), row) for kind in lacking))
        yield row
        after = _after(run, fraction, group, started)
        yield from _counted(group, (new_row(run, kind, names.of(kind), row) for kind in after))


def _counted(group: defaultdict[str, set[str]], rows: Iterable[Row]) -> Iterator[Row]:
    for row in rows:
        group[row.kind].add(row.id)
        yield row


def _after(run: Run, fraction: str, group: defaultdict[str, set[str]], started: int) -> tuple[Kind, ...]:
    """Name the QC rows made from a sample just planned, of which its batch has not enough."""
    if batch_limit(run, fraction, "duplicate_rpd_percent") is not None and len(group["duplicate"]) < started:
        return ("duplicate",)
    pair: tuple[Kind, ...] = ("spike", "spike-duplicate")
    pairs = min(len(group[kind]) for kind in pair)
    return pair if batch_limit(run, fraction, "spike_percent") is not None and pairs < started else ()


# --- blanks and checks between rows -------------------------------------------------------------------------------


@dataclass(slots=True)
class _Interval:
    """How much of the interval to the next event of a kind is used up."""

    kind: Event
    readings: float
    minutes: float
    used: float = 0
    elapsed: float = 0
    fresh: bool = False
    """Whether a good one was the last thing read."""

    def full(self, row: Row) -> bool:
        """Whether the event must come before a row: after it, it would be late."""
        if row.kind == self.kind or not (self.used or self.elapsed):
            return False
        many = row.kind not in EVENTS and self.used + 1 > self.readings
        return many or self.elapsed + 2 * PACE > self.minutes

    def after(self, row: Row) -> None:
        """Count a row."""
        if row.kind == self.kind:
            self.used = self.elapsed = 0
        else:
            self.used += row.kind not in EVENTS
            self.elapsed += PACE


class Spacer:
    """Puts blanks and checks between rows so that no interval is overrun."""

    def __init__(self, sheet: Sheet, before: Sequence[RowResult], names: Names, like: Row, now: datetime) -> None:
        """Take what was read already and what is to be read `before`; events are read in the cell `like` names."""
        self._sheet, self._names, self._like, self._now = sheet, names, like, now
        self._intervals = [self._interval(kind, before) for kind in asked_for(sheet.run.method)]
        self._rows: list[Row] = []

    def space(self, rows: Iterable[Row], *, opening: Sequence[Row], closing: Iterable[str]) -> list[Row]:
        """The rows behind an opening blank and check, with events where they fall due and the closing ones."""
        rows = list(rows)
        if not rows:
            return []
        self._open("blank")
        for row in opening:
            self._add(row)
        self._open("check")
        for row in rows:
            self._add(row)
        for kind in closing:
            self._event(kind)  # type: ignore[arg-type]
        return self._rows

    def _open(self, kind: Event) -> None:
        if any(interval.kind == kind and not interval.fresh for interval in self._intervals):
            self._event(kind)

    def _event(self, kind: Event) -> None:
        self._add(new_row(self._sheet.run, kind, self._names.of(kind), self._like))

    def _add(self, row: Row) -> None:
        for interval in self._intervals:
            if interval.full(row):
                self._event(interval.kind)
        self._rows.append(row)
        for interval in self._intervals:
            interval.after(row)

    def _interval(self, kind: Event, before: Sequence[RowResult]) -> _Interval:
        limits = getattr(self._sheet.run.method, kind)
        made = _Interval(kind, _every(limits, "every_readings"), _every(limits, "every_minutes"))
        due = next(due for due in self._sheet.due if due.what == kind)
        if due.readings_left is not None:
            made.used = made.readings - due.readings_left
        made.elapsed = self._since(kind)
        for result in before:
            if result.state == "unread":
                made.after(result.row)
        made.fresh = self._fresh(kind, before)
        return made

    def _since(self, kind: Event) -> float:
        """The minutes since the last event of a kind or the last calibration."""
        times = [row.row.at for row in self._sheet.rows if row.kind == kind and row.counted and row.row.at]
        times += [c.finished for c in self._sheet.calibrations if c.ready and c.finished]
        return max(0.0, (self._now - max(times)).total_seconds() / 60) if times else 0.0

    def _fresh(self, kind: Event, before: Sequence[RowResult]) -> bool:
        """Whether the last rows are events, and the last of the kind is unread, or good on a curve that passes."""
        curve = calibration_of(self._like, self._sheet.calibrations)
        for result in reversed([result for result in before if not result.void]):
            if result.kind not in EVENTS:
                return False
            if result.kind == kind and result.state == "unread":
                return True
            if result.kind == kind and result.calibration is curve:
                return curve is not None and curve.state == "pass" and left_good(result, self._sheet.run)
        return False


def _every(limits: object, name: str) -> float:
    every = getattr(limits, name, None)
    return math.inf if every is None else float(every)


# --- what comes of it ---------------------------------------------------------------------------------------------


def edits(run: Run, rows: Iterable[Row], samples: Iterable[Sample], at: int) -> list[edit.Edit]:
    """The edits, as one step, that add samples and insert rows as number `at` of the queue and on."""
    places: list[tuple[str, int, Sample | Row]] = [
        ("sample", n, sample) for n, sample in enumerate(samples, len(run.sample) + 1)
    ]
    places += [("queue", n, row) for n, row in enumerate(rows, at)]
    bare = replace(run, sample=(), queue=())  # what a row is written as hangs on no other, and there may be thousands
    made = [(array, place, edit.insert_row(bare, array, 1, table)) for array, place, table in places]
    return [replace(each, path=f"{array}[{place}]") for array, place, each in made]


def preview(run: Run, rows: Sequence[Row], problems: Iterable[Problem]) -> list[str]:
    """Lines that say what would be inserted, what the bench has to add to it, and what is wrong with the list."""
    many = Counter(row.kind for row in rows)
    kinds = ", ".join(counted(n, WORDS[kind], SEVERAL.get(kind, "")) for kind, n in many.items())
    said = [f"{counted(len(rows), 'row')}: {kinds}" if rows else "no rows"]
    unsaid = (row for row in rows if row.silica_gel is None and row.kind not in SOLVENT_STANDARDS)
    if run.method.fraction is None and any(unsaid):
        said.append("the method does not say which fraction it reads: planned as oil and grease, without silica gel")
    return [*map(str, problems), *said, *map(_line, rows)]


def _line(row: Row) -> str:
    parts: list[tuple[str, object]] = [
        ("amount", row.amount),
        ("extract mL", row.extract_ml),
        ("added mg", row.added_mg),
        ("expected mg/L", row.expected),
        ("batch", row.batch),
    ]
    words = WORDS[row.kind] + (f" of {row.of}" if row.of else "")
    said = [words, *missing(row), *(f"{name} {value}" for name, value in parts if value is not None)]
    return f"  {row.id:10} {', '.join(said)}"
