"""How far a change moves what was read before it, and whether that asks for a reason.

Owns: `asked`, the one place that decides it. Invariant: a reading taken is no change, nor is a fact given for the first
time; whatever moves a figure that stood there is one, be it the row's own or one for all rows.

A figure that was not there cannot move: solids weighed after the extract was read ask nothing. The U of a result is
one, and so is what the result is of. A limit moves no figure, so what is asked about is whether a flag, a state or a
verdict turns with it.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.sheet import evaluate
from runsheet.figures import counted, some
from runsheet.run import edit
from runsheet.run.edit import EditError

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import datetime

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.run.edit import Edit
    from runsheet.run.model import Row, Run, Standard

WORDS_ONLY = ("run", "action", "review", "signature", "amendment", "issued")
"""Tables no figure hangs on."""
_FIELD = re.compile(r"(\w+)\[(\d+)\](?:\.(\w+))?")
SAME = 1e-12
"""Relative difference up to which two figures are one."""


class Moved(NamedTuple):
    """What differs between two sheets of one day."""

    results: int
    """Results and recoveries that stood there and are others now, or none."""
    percent: float
    """By how much the one of them moves most that still is a figure other than 0, percent of what it was."""
    lost: int
    """Those of them that are none now."""
    others: int
    """Results that are of another unit, fraction, kind or sample now, whatever their figures."""
    spreads: int
    """Results that stay, with another U or with none."""
    marks: int
    """Rows whose flags, printed result or state differ, their figures apart."""
    verdicts: int
    """Findings that turn."""

    @property
    def words(self) -> str:
        """Say it in a line; empty where nothing differs."""
        told = []
        if self.results:
            most = f", at most {_percent(self.percent)} %" if self.percent else ""
            lost = f", {self.lost} lost" if self.lost else ""
            told.append(f"{counted(self.results, 'result moves', 'results move')}{most}{lost}")
        if self.others:
            told.append(f"{counted(self.others, 'result is', 'results are')} of another unit, fraction, kind or sample")
        if self.spreads:
            told.append(counted(self.spreads, "result gets another U", "results get another U"))
        if self.marks:
            one = "row gets another flag, state or printed result"
            told.append(counted(self.marks, one, "rows get other flags, states or printed results"))
        if self.verdicts and not told:
            told.append(counted(self.verdicts, "verdict turns", "verdicts turn"))
        return "; ".join(told)


def asked(run: Run, edits: Sequence[Edit], now: datetime) -> str:
    """What the edits move of what was read, in words; empty where nothing does, and no reason is asked."""
    names = any(made.path.endswith(".analyst") or made.path.startswith("instrument.") for made in edits)
    figures_may = any(_may(run, made) for made in edits)
    if not (names or figures_may):
        return ""
    try:
        new = edit.apply_each(run, edits)
    except EditError:  # whoever takes them says so
        return ""
    whose = _attributed(run, new) if names else ""
    if not figures_may:
        return whose
    found = compare(evaluate(run, now), evaluate(new, now))
    replaced = any(_replaces(made) for made in edits if _may(run, made))
    limit = any(made.path.startswith("method") for made in edits)
    figures = found.results or found.others or found.spreads
    moved = found.words if figures or (found.marks and replaced) or (found.verdicts and limit) else ""
    return "; ".join(filter(None, (whose, moved)))


def _attributed(run: Run, new: Run) -> str:
    """Which rows that were read are said to be another person's or photometer's, in words; empty where none is."""
    before, after = _readers(run), _readers(new)
    others = [name for row, name in before.items() if name and after.get(row, name) != name]
    whose = some(list(dict.fromkeys(others)), 2, ", ")
    told = [f"{counted(len(others), 'row was', 'rows were')} read by {whose}"] if others else []
    was = " ".join(filter(None, (run.instrument.name, run.instrument.serial)))
    rows: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    read = [row for row in rows if row.readings]
    if was and read and (run.instrument.name, run.instrument.serial) != (new.instrument.name, new.instrument.serial):
        told.append(f"{counted(len(read), 'standard or row was', 'standards and rows were')} read on {was}")
    return "; ".join(told)


def _readers(run: Run) -> dict[str, str | None]:
    """Who read each row, by its id."""
    return {row.id: row.analyst or run.run.analyst for row in run.queue if row.readings}


def compare(old: Sheet, new: Sheet) -> Moved:
    """How two sheets differ in the rows read in both with the same readings."""
    after = {row.id: row for row in new.rows}
    pairs = [(row, after[row.id]) for row in old.rows if row.counted and row.id in after]
    pairs = [(row, other) for row, other in pairs if other.counted and row.row.readings == other.row.readings]
    steps = [step for row, other in pairs if (step := _step(row, other)) is not None]
    others = sum(row.result is not None and _what(row) != _what(other) for row, other in pairs)
    spreads = sum(_step(row, other) is None and _spread(row, other) for row, other in pairs)
    marks = sum(_step(row, other) is None and _mark(row) != _mark(other) for row, other in pairs)
    before, then = (Counter((f.rule, f.rows, f.state) for f in sheet.quality) for sheet in (old, new))
    turned = {found[:2] for found in {*before, *then} if before[found] != then[found]}  # one row may fail in two ways
    figures = [step for step in steps if step != float("inf")]
    return Moved(len(steps), max(figures, default=0.0), len(steps) - len(figures), others, spreads, marks, len(turned))


def _step(row: RowResult, other: RowResult) -> float | None:
    """By how many percent a row's figures move, infinite where one is lost; None where they stay."""
    found = [each for each in _steps(row, other) if each]
    return max(found, default=None)


def _steps(row: RowResult, other: RowResult) -> Iterator[float]:
    for name in ("result", "recovery_percent"):
        was, now = getattr(row, name), getattr(other, name)
        if was is not None and now is None:
            yield float("inf")
        elif was is not None and abs(now - was) > SAME * max(abs(was), abs(now)):
            yield abs(now - was) / abs(was) * 100 if was else 100.0


def _spread(row: RowResult, other: RowResult) -> bool:
    """Whether the U that stood beside a result is another; a U of 0 is told to nobody."""
    was, now = row.expanded or 0.0, other.expanded or 0.0
    return bool(was) and abs(now - was) > SAME * max(was, now)


def _what(row: RowResult) -> tuple[object, ...]:
    return row.unit, row.fraction, row.kind, row.sample


def _mark(row: RowResult) -> tuple[object, ...]:
    return (row.flags, row.reported, row.state) if row.result is not None else ()


def _percent(value: float) -> str:
    """A percentage in two figures or whole, rounded up: it is said to be the most."""
    places = max(0, 1 - math.floor(math.log10(value)))
    up = math.ceil(value * 10**places - 1e-6) / 10**places
    return f"{up:,.{places}f}".rstrip("0").rstrip(".") if places else f"{up:,.0f}"


def _replaces(made: Edit) -> bool:
    """Whether an edit takes the place of something: that a row is reported stands there although nobody wrote it."""
    return made.action != "set" or made.old is not None or made.path.endswith(".report")


def _may(run: Run, made: Edit) -> bool:
    """Whether an edit could move anything read: cheap, since every edit is asked."""
    if not made.changes or not any(row.readings for row in run.queue):
        return False
    found = _FIELD.match(made.path)
    table, field = (found[1], found[3]) if found else (made.path.split(".")[0], None)
    if table in WORDS_ONLY or field in ("note", "started") or (field == "at" and made.old is None):
        return False
    if made.action == "insert":
        return bool(made.new and made.new.get("readings")) or table == "standard"
    rows: Iterable[object] = getattr(run, table, ())
    row = rows[int(found[2]) - 1] if found and isinstance(rows, tuple) and int(found[2]) <= len(rows) else None
    if field == "readings" and not made.old:
        return False
    return table != "queue" or bool(getattr(row, "readings", True))
