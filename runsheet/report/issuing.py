"""Issuing the report of a run: everything that must come about together, in the order that survives a crash.

Owns: `issue`, `Made`. Invariant: either the register has the report's line, and then document, log and copies follow
whatever happens, or nothing changed. What can be refused is refused before anything is written.

In order: copies staged, the register's line, the log, the copies' names, the report's file. The line is what counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet import __version__
from runsheet.compute.sheet import evaluate
from runsheet.exits import Refusal
from runsheet.report import formats
from runsheet.report.making import Report
from runsheet.review import entries, trail, trail_rule
from runsheet.review import issue as issues
from runsheet.run.disk import copies, files, lock, log, register
from runsheet.run.disk.files import DISK, Disk, digest

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from pathlib import Path

    from runsheet.compute.results import Sheet
    from runsheet.review.issue import Issue
    from runsheet.review.trail import Trail
    from runsheet.run.disk.log import Step
    from runsheet.run.disk.store import Store
    from runsheet.run.model import Run

ENDINGS = {".html": "html", ".htm": "html", ".md": "markdown", ".txt": "text"}
"""The form of a report by the ending of its file."""
FORMS = {"html": "html", "markdown": "md", "text": "txt"}


@dataclass(frozen=True, slots=True)
class Asked:
    """Who issues, and how."""

    by: str
    reason: str = ""
    not_reviewed: bool = False
    """A lone worker says that nobody reviewed it, and every page says so."""
    form: str = "html"
    """One of `FORMS`."""


@dataclass(frozen=True, slots=True)
class Made:
    """What came of it."""

    number: str
    report: bytes
    copy: Path
    """The read-only copy of the report."""


def issue(store: Store, document: Path, said: Trail, asked: Asked, now: datetime, disk: Disk = DISK) -> Made:
    """Issue the report of a run open for work. Raises Refusal: nothing is changed then."""
    sheet = trail_rule.judged(evaluate(store.run, now), said)
    if why := issues.refusal(sheet, said, not_reviewed=asked.not_reviewed, reason=asked.reason):
        raise Refusal(f"not issued: {why}")
    place = files.real(register.place(document.parent))
    try:
        held = register.held(place, asked.by, now)
        try:
            return _issued(store, document, place, asked, sheet, now, disk)
        finally:
            held.release()
    except OSError as error:
        raise Refusal(f"not issued: {place}: {files.words(error)}") from error


def _issued(store: Store, document: Path, place: Path, asked: Asked, sheet: Sheet, now: datetime, disk: Disk) -> Made:
    number, form = issues.number(sheet.run), FORMS[asked.form]
    _unused(register.read(place, disk), number)
    report = b""

    def put(run: Run, data: bytes, log_bytes: bytes) -> None:
        nonlocal report
        report = printed(run, data, log_bytes, asked.form, now).encode()
        try:
            copies.stage(place, number, form, copies.Copies(data, log_bytes, report), disk)
            line = register.Line(
                time=now.isoformat(timespec="seconds"),
                who=asked.by,
                **lock.login(),
                number=number,
                run=run.run.id,
                file=register.relative(place, files.real(document)),
                form=form,
                document=digest(data),
                log=digest(log_bytes),
                report=digest(report),
            )
            register.add(line, place, disk)
        except OSError:
            copies.drop(place, number, form, disk)
            raise

    made = issues.issue(sheet, asked.by, asked.reason, now, __version__)
    store.issue(made, now, asked.reason or "issued", asked.by, put)
    copies.settle_all(document, sheet.run.run.id, disk)  # where that fails, the next opening does it
    return Made(number, report, copies.paths(place, number, form)[2])


def _unused(found: register.Register, number: str) -> None:
    """Raise Refusal where the register does not chain, or has the number already."""
    if found.faults:
        raise Refusal(f"not issued: {found.path} does not chain: {found.faults[0]}")
    for line in found.lines:
        if copies.name(line.number) == copies.name(number):
            raise Refusal(f"not issued: the register has {line.number}, issued of {line.file} at {line.time}")


def printed(run: Run, document: bytes, log_bytes: bytes, form: str, now: datetime) -> str:
    """The report of a run that is issued, in one of the forms, from its document and log alone."""
    said = trail.trail(log_bytes, document)
    steps = log.parse(log_bytes).steps
    sheet = trail_rule.judged(evaluate(run, now), said)
    made = Report(sheet, entries.audit(steps, run), trail=said, issue=issues.last(run, said, steps))
    return formats.FORMATS[form](made)


def issued_as(run: Run, document: Path, data: bytes, said: Trail, steps: Sequence[Step]) -> tuple[Issue | None, str]:
    """The issue a document is, by the register; or why it is none although it, or the register, names one."""
    place = files.real(register.place(document.parent))
    try:
        found = register.read(place)
    except OSError as error:
        found = None
        trouble = f"the register {place.name} cannot be read: {files.unread(error)}"
    named = [made.number for made in run.issued]
    if found is None:
        return None, trouble if named else ""
    unnamed = [line.number for line in found.lines if line.run == run.run.id and line.number not in named]
    if unnamed:
        return None, f"the register has {unnamed[-1]} issued of this run, which the document does not name"
    if not named:
        return None, ""
    line = found.of(named[-1])
    if line is None:
        return None, f"the document names {named[-1]} as issued, and the register has no line of it"
    if line.document != digest(data):
        return None, f"changed since {named[-1]} was issued"
    return issues.last(run, said, steps), ""
