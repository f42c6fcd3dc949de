"""A reviewer's walk: the exceptions of a run looked at, and one row in ten typed again from the notebook.

Owns: what there is to look at, which rows are typed again, who may, what is left. Invariant: pure; the rows follow from
the digest of what the analyst signs, so that nobody can know them before the sheet is as it is, and everybody gets the
same afterwards.

One in ten of the rows read and not void, rounded up, drawn by SHA-256 of the analyst's digest with the id; what was
typed again counts also where the document has changed since. An exception is known by its words, so that one whose
words change is open again. Rows come before exceptions, which may tell a reading; a row that differs is offered again
once nothing else is left.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.rules import BY_NAME, notebook
from runsheet.figures import counted, figure, minute, visible
from runsheet.review import entries, signing
from runsheet.run.kinds import SOLVENT_STANDARDS
from runsheet.show import findings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.review.entries import Audit
    from runsheet.run.model import Row, Run, Standard

SHARE = 10
"""One row in so many is typed again (common practice, no source)."""


class Remaining(NamedTuple):
    """What is done of a walk, and what is left."""

    rows: tuple[str, ...]
    """Ids of the rows to type again, in the order of the document; once nothing else is left, those that differ."""
    exceptions: tuple[str, ...]
    rows_done: int
    """How many were typed again, without those in `rows`."""
    exceptions_done: int


def refusal(run: Run, name: str, entered_by: Iterable[str] = ()) -> str:
    """Say why this person cannot review the run, or nothing; `entered_by` entered a reading, by the log."""
    if not name.strip():
        return "a name is needed"
    return signing.no_reviewer(run, name, entered_by)


def remaining(sheet: Sheet, audit: Audit) -> Remaining:
    """Say what of a walk is left. What was done counts whoever did it, also where the document has changed since."""
    known = _readable(sheet.run)
    typed = {name: made for name, made in notebook.latest(sheet.run).items() if name in known}
    more = [name for name in _drawn(sheet.run, known) if name not in typed][: max(0, share(len(known)) - len(typed))]
    every = exceptions(sheet, audit)
    seen = {made.exception for made in sheet.run.review}
    open_ = tuple(words for words in every if words not in seen)
    if not more and not open_:
        more = [name for name, made in typed.items() if made.readings != known[name].readings]
    rows = tuple(name for name in known if name in more)
    return Remaining(rows, open_, sum(name not in rows for name in typed), len(every) - len(open_))


# --- the rows ---------------------------------------------------------------------------------------------------


def chosen(run: Run) -> tuple[str, ...]:
    """The ids of the rows to type again, in the order of the document: of what is read and not void."""
    known = _readable(run)
    first = set(_drawn(run, known)[: share(len(known))])
    return tuple(name for name in known if name in first)


def share(count: int) -> int:
    """How many of so many rows are typed again: one in ten, rounded up."""
    return -(-count // SHARE)


def _readable(run: Run) -> dict[str, Row | Standard]:
    return {name: row for name, row in notebook.rows(run).items() if row.readings}


def _drawn(run: Run, names: Iterable[str]) -> list[str]:
    """The rows in the order they are drawn in."""
    # The name of its log is left out: the log may begin with the first answer, and the rows are drawn before it.
    seal = signing.digest(replace(run, run=replace(run.run, log=None)))
    return sorted(names, key=lambda name: hashlib.sha256(f"{seal} {name}".encode()).digest())


# --- the exceptions ---------------------------------------------------------------------------------------------


ALONE = 3
"""So many exceptions of one kind are looked at one by one; more of them are one exception that lists them all."""


class _Exception(NamedTuple):
    """What a reviewer looks at."""

    kind: str
    """What it is about; empty for what is never put together with others."""
    words: str


def exceptions(sheet: Sheet, audit: Audit) -> tuple[str, ...]:
    """Say what a reviewer looks at, each once, with nothing in it that a terminal would obey.

    What fails is told one by one. Of a kind that only warns, was set aside or was entered late, more than three are one
    exception, in which all of them stand.
    """
    told = (*_findings(sheet), *_set_aside(sheet), *_doubtful(sheet), *_logged(audit))
    return tuple(dict.fromkeys(map(visible, _grouped(told))))


def _grouped(told: Iterable[_Exception]) -> Iterator[str]:
    kinds: dict[str, list[str]] = {}
    for at, (kind, words) in enumerate(told):
        kinds.setdefault(kind or f"#{at}", []).append(words)
    for all_ in kinds.values():
        yield from all_ if len(all_) <= ALONE else (f"{len(all_)} of a kind: {'; '.join(all_)}",)


def _findings(sheet: Sheet) -> Iterator[_Exception]:
    """Findings that fail or warn, the failing first, with what was done about them."""
    for finding in findings.raised(sheet):
        rule = BY_NAME.get(finding.rule)
        if rule is None or rule.walked:
            told = (findings.words(finding, len(finding.rows)), findings.taken(finding, sheet))
            kind = finding.rule if finding.state == "warn" else ""
            yield _Exception(kind, "; ".join(filter(None, told)))


def _set_aside(sheet: Sheet) -> Iterator[_Exception]:
    """What was read and does not count: void and superseded rows, standards left out."""
    for row in sheet.run.queue:
        if row.void is not None:
            yield _Exception("void", f"void: {row.id}: {row.void or 'no reason given'}")
        elif row.report is False:
            yield _Exception("superseded", f"superseded: {row.id}: {row.reason or 'no reason given'}")
    for made in (standard for calibration in sheet.calibrations for standard in calibration.standards):
        if not made.used:
            reason = made.standard.reason or "no reason given"
            yield _Exception("", f"standard left out: {made.standard.id} at {figure(made.x)} mg/L: {reason}")


def _doubtful(sheet: Sheet) -> Iterator[_Exception]:
    """Rows that are reported although they are held, or above the range."""
    for row in sheet.rows:
        if row.reports and row.counted and row.kind not in SOLVENT_STANDARDS:
            if row.state == "held":
                yield _Exception("held", f"held: {row.id}: {_reported(row)}")
            if row.over:
                yield _Exception("", f"{row.over}: {row.id}: {_reported(row)}")


def _reported(row: RowResult) -> str:
    return f"reported as {row.reported} {row.unit or ''}".strip() if row.reported else "no result"


def _logged(audit: Audit) -> Iterator[_Exception]:
    """What the edit log tells."""
    for made in audit.corrections:
        why = made.reason or "no reason given"
        what = "limit changed after the first standard was read" if made.limit else "corrected"
        words = (
            f"{what}: {made.what}, {minute(made.time)} {made.who}: {made.old or 'nothing'} to {made.new or 'nothing'}"
        )
        yield _Exception("" if made.limit else f"{made.step} {made.reason}", f"{words}: {why}")
    for words in entries.words(audit):
        yield _Exception("entry times", f"entry times: {words}")
    if audit.faults:
        steps = counted(audit.faults, "step")
        yield _Exception("", f"{steps} of the log could not be followed: runsheet log --verify says which")
