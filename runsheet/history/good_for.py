"""Whether this analyst, and these limits of control, are good for the run that is open.

Owns: `Shown`, `shown`, `findings`. Invariant: judged only where the method says for how many months each holds; what
the folder does not tell is said to be missing in it, not to be missing. It warns and never fails a run.

A demonstration is of an analyst, a method, a fraction and a unit, which stands for the matrix. The photometer, cell and
solvent of the detection study are judged by the rule `reporting-limit`.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.results import Finding
from runsheet.figures import counted
from runsheet.history import extract, studies
from runsheet.history.charts import FRACTIONS
from runsheet.history.rows import PROCEDURE, SERIES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.history.baselines import Baseline
    from runsheet.history.rows import StudyRow

RULE = "history"


class Shown(NamedTuple):
    """The latest demonstration of an analyst."""

    analyst: str
    method: str
    fraction: str
    unit: str
    day: date
    passes: bool | None


def shown(rows: Iterable[StudyRow], until: date | None = None) -> Iterator[Shown]:
    """The latest demonstration of each analyst of each group, or the latest on a day or before."""
    for each in studies.demonstrated(rows, until=until):
        if not each.rows:  # none of theirs counts
            continue
        day = datetime.fromisoformat(each.rows[-1].at).date()
        yield Shown(each.analyst, each.group.method, each.group.fraction, each.group.unit, day, each.result.passes)


def findings(
    sheet: Sheet, others: Iterable[StudyRow], baselines: Iterable[Baseline], unread: int = 0
) -> Iterator[Finding]:
    """What is missing or too old for this run, as warnings; `others` are the demonstrations of the folder's other runs,
    but for those of so many `unread` documents.

    Its own are those it has now, not those it was opened with.
    """
    batch = sheet.run.method.batch
    day = extract.latest(sheet.run).date()
    if batch and batch.demonstration_months:
        own = extract.studies("", sheet) if extract.dated(sheet.run) else ()
        rows = sorted((*others, *own), key=lambda row: row.moment)
        read = max(extract.times(sheet.run), default=None)  # what comes after a run says nothing of it; not read is now
        known = tuple(shown((row for row in rows if row.kind == "capability"), read and read.date()))
        place = "this folder's runs"
        if unread:
            place = f"what was read of this folder ({counted(unread, 'document')} not read)"
        yield from _analysts(sheet, known, day, float(batch.demonstration_months), place)
    if batch and batch.baseline_months:
        yield from _limits(sheet, baselines, day, float(batch.baseline_months))


def _analysts(sheet: Sheet, known: Sequence[Shown], day: date, months: float, place: str) -> Iterator[Finding]:
    method = sheet.run.method.name or ""
    asked = {
        (name, row.fraction, row.unit or "") for row in sheet.rows if row.for_client for name in _people(sheet, row)
    }
    for name, fraction, unit in sorted(asked):
        theirs = [each for each in known if each[:4] == (name, method, fraction, unit)]
        good = [each for each in theirs if each.passes and _age(each.day, day) <= months]
        if not good:
            last = max(theirs, key=lambda each: each.day, default=None)
            had = "none" if last is None else f"the last, of {last.day}, {_verdict(last, day, months)}"
            what = f"{FRACTIONS.get(fraction, fraction)}, {unit}"
            yield _warning(f"{name} has no demonstration of capability for {what} in {place}: {had}")


def _people(sheet: Sheet, row: RowResult) -> set[str]:
    batch = next((batch for batch in sheet.run.batch if batch.id == row.batch), None)
    names = {row.row.analyst or sheet.run.run.analyst, batch.analyst if batch else None}
    return {name for name in names if name}


def _verdict(last: Shown, day: date, months: float) -> str:
    if _age(last.day, day) > months:
        return f"is older than {months:g} months"
    return "does not pass" if last.passes is False else "is not complete"


def _limits(sheet: Sheet, baselines: Iterable[Baseline], day: date, months: float) -> Iterator[Finding]:
    method = sheet.run.method.name or ""
    for each in {frozen.shared: frozen for frozen in baselines}.values():  # of several of a chart the last is in use
        mine = each.method == method and (each.what in PROCEDURE or each.instrument == extract.instrument(sheet.run))
        frozen = each.at.date()
        if mine and _age(frozen, day) > months:
            of = ", ".join(
                filter(None, (SERIES.get(each.what, each.what), FRACTIONS.get(each.fraction, each.fraction)))
            )
            yield _warning(f"the limits of control of {of}, frozen on {frozen}, are older than {months:g} months")


def _age(then: date, now: date) -> float:
    """Whole months from one day to another, and a little more where a day is begun."""
    months = (now.year - then.year) * 12 + now.month - then.month
    return months + (0.5 if now.day > then.day else 0)


def _warning(why: str) -> Finding:
    return Finding(RULE, (), state="warn", why=why, affects=())
