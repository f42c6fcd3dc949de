"""The first page of a report.

Owns: what the report is of, its findings in short, and where the points a reviewer looks at first stand. Invariant:
figures and verdicts are the sheet's.

Page numbers, run and digest in the margins of a printed page are CSS page-margin boxes: browsers that have none print
the rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import some, when
from runsheet.report import client_sections, identity, review_section
from runsheet.report.blocks import Facts, Heading, Items, PageMark, Paragraph
from runsheet.report.issue_marks import marks
from runsheet.report.making import Report, facts
from runsheet.report.reviewer_points import POINTS
from runsheet.review import signing
from runsheet.show import findings
from runsheet.work import what_if

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Finding, Sheet
    from runsheet.report.blocks import Block

DIGEST_OF = (
    "the document without signatures, amendments, issues and the reviews; runsheet log FILE --digest prints it again"
)


def front(report: Report) -> Iterator[Block]:
    """Say what the report is of, the client's results and what they carry; the rest begins on a new page."""
    yield Heading(identity.title(report), 1)
    yield Facts(tuple(identity.about(report)), beside=True)
    yield from client_sections.results(report)
    clients = {row.id for row in report.sheet.rows if row.for_client}
    failing = [f for f in findings.raised(report.sheet) if f.state == "fail" and clients & {*(f.affects or ())}]
    if failing:
        yield Paragraph("What failed and affects results:")
        yield Items(tuple(_told(finding, report.sheet) for finding in failing))
    yield Paragraph(identity.AS_RECEIVED)


def the_run(report: Report) -> Iterator[Block]:
    """Begin the laboratory's pages with what the run was made with, and what its digest is of."""
    yield PageMark(marks(report))
    yield Heading("The run")
    yield facts(*_run(report))


def first_look(report: Report) -> Iterator[Block]:
    """Answer what reviewers look at first."""
    yield Heading("What reviewers look at first")
    answers = ((name, " ".join(filter(None, answer(report)))) for name, answer in POINTS)
    yield Facts(tuple((name, answer or "nothing recorded") for name, answer in answers))


def _told(finding: Finding, sheet: Sheet) -> str:
    """A finding with what hangs on it, where it fails, and what was done about it."""
    if finding.state != "fail":
        return findings.words(finding)
    rows = f" {some(finding.rows)}" if finding.rows else ""
    told = f"fail: {finding.rule}{rows}: {finding.why}; {what_if.effect(finding, sheet)}"
    return f"{told}; {findings.taken(finding, sheet)}"


def _run(report: Report) -> Iterator[tuple[str, object]]:
    run, instrument, solvent = report.sheet.run, report.sheet.run.instrument, report.sheet.run.solvent
    yield "Reviewer", run.run.reviewer
    yield "Review", review_section.extent(report)
    yield "Evaluated as of", when(report.sheet.now)
    step = "not given" if instrument.step is None else instrument.step
    serial = instrument.serial and f"serial {instrument.serial}"
    reads = f"reads {instrument.reads or 'absorbance'}, display step {step}"
    yield "Instrument", ", ".join(filter(None, (instrument.name, serial, reads, instrument.note)))
    lot = solvent.lot and f"lot {solvent.lot}"
    expires = f"expires {solvent.expires}" if solvent.expires else ""
    yield "Solvent", ", ".join(filter(None, (solvent.name, solvent.grade, lot, expires, solvent.note)))
    yield "Document's SHA-256", signing.digest(run)
    yield "which is of", DIGEST_OF
    yield "Note", run.run.note
