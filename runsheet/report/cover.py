"""The first page of a report.

Owns: what the report is of, its findings in short, and where the points a reviewer looks at first stand. Invariant:
figures and verdicts are the sheet's.

Page numbers, run and digest in the margins of a printed page are CSS page-margin boxes: browsers that have none print
the rest.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import when
from runsheet.report import client_sections, review_section
from runsheet.report.blocks import Facts, Heading, Items, NewPage, Paragraph
from runsheet.report.issue_marks import mark
from runsheet.report.making import Report, facts
from runsheet.report.reviewer_points import POINTS, span
from runsheet.review import signed, signing
from runsheet.show import findings, state
from runsheet.work import what_if

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Finding, Sheet
    from runsheet.report.blocks import Block

MOST = 6
"""Findings told on the first page; the others are counted."""


def front(report: Report) -> Iterator[Block]:
    """Say what the report is of, the client's results, and what fails or warns; the rest begins on a new page."""
    yield Heading(report.sheet.run.run.title or report.sheet.run.run.id, 1)
    yield facts(*_about(report))
    yield from client_sections.results(report)
    yield Paragraph(
        "Results relate only to the items tested. Verdicts are taken on unrounded figures (ASTM E29, absolute method); "
        "the decision rule is simple acceptance, uncertainty not applied."
    )
    yield NewPage()


def first_look(report: Report) -> Iterator[Block]:
    """Answer what reviewers look at first, after the findings in short."""
    told = [_told(finding, report.sheet) for finding in findings.raised(report.sheet)]
    if told:
        yield Heading(f"Findings: {len(told)} that fail or warn")
        more = (f"and {len(told) - MOST} more, under Findings",) if len(told) > MOST else ()
        yield Items((*told[:MOST], *more))
    yield Heading("What reviewers look at first")
    answers = ((name, " ".join(filter(None, answer(report)))) for name, answer in POINTS)
    yield Facts(tuple((name, answer or "nothing recorded") for name, answer in answers))
    yield NewPage()


def _told(finding: Finding, sheet: Sheet) -> str:
    """A finding with what hangs on it, where it fails, and what was done about it."""
    if finding.state != "fail":
        return findings.words(finding)
    rows = f" {findings.some(finding.rows)}" if finding.rows else ""
    told = f"fail: {finding.rule}{rows}: {finding.why}; {what_if.effect(finding, sheet)}"
    return f"{told}; {findings.taken(finding, sheet)}"


def _about(report: Report) -> Iterator[tuple[str, object]]:
    sheet = report.sheet
    run, about, method, instrument, solvent = (
        sheet.run,
        sheet.run.run,
        sheet.run.method,
        sheet.run.instrument,
        sheet.run.solvent,
    )
    lot = solvent.lot and f"lot {solvent.lot}"
    yield "Run", about.id
    yield "Report", mark(report)
    yield "State", state.words(sheet)
    yield "Edit log", report.trail.words + (f": {report.trail.why}" if report.trail.why else "")
    yield "Laboratory", about.laboratory
    yield "Client", about.client
    yield "Received", span(s.received for s in run.sample)
    yield "Tested", span(row.row.at for row in sheet.rows if row.counted)
    yield "Analyst", about.analyst
    yield "Reviewer", about.reviewer
    yield "Authorised by", _authorised(report)
    yield "Review", review_section.extent(report)
    yield "Evaluated as of", when(sheet.now)
    yield "Method", " - ".join(filter(None, (method.title or method.name, method.basis)))
    serial = instrument.serial and f"serial {instrument.serial}"
    step = "not given" if instrument.step is None else instrument.step
    reads = f"reads {instrument.reads or 'absorbance'}, display step {step}"
    yield "Instrument", ", ".join(filter(None, (instrument.name, serial, reads)))
    yield "Cell", ", ".join(dict.fromkeys(f"{c.cell_mm} mm" for c in run.calibration if c.cell_mm is not None))
    yield "Solvent", ", ".join(filter(None, (solvent.name, solvent.grade, lot)))
    yield "Standards made of", ", ".join(dict.fromkeys(c.material for c in run.calibration if c.material))
    yield "Document's SHA-256", signing.digest(run)
    yield "Note", about.note


def _authorised(report: Report) -> str:
    run = report.sheet.run
    made = signed.standing(run, report.trail).get("reviewer")
    if made is None:
        return "nobody yet: no reviewer's signature stands"
    one = signed.shared_account(run)
    said = f"{made.signature.name}, {when(made.signature.at)}"
    return f"{said}; analyst and reviewer signed under one account, {one}" if one else said
