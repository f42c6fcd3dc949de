"""The last sections of a report: the method's limits, what a result is not, cautions.

Owns: nothing of its own; the words come from `methods`. Invariant: no sentence claims compliance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.methods import solvents, standing, words
from runsheet.report.blocks import Block, Heading, Items, Paragraph, Table
from runsheet.report.issue_marks import marks
from runsheet.report.making import facts

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.report.making import Report


def not_claimed(report: Report) -> Iterator[Block]:
    """Say what an infrared result is not."""
    sheet = report.sheet
    yield Heading("What this result is not")
    yield Items(tuple(str(sentence) for sentence in standing.standing(sheet.run.method.unit)))
    yield Paragraph("Names typed into a run are not electronic signatures.")


def method_limits(report: Report) -> Iterator[Block]:
    """Say the method's limits, each with its source."""
    sheet = report.sheet
    yield Heading("The method's limits and their sources")
    method = sheet.run.method
    below = "the detection limit" if method.nondetect == "detection" else "the reporting limit"
    yield facts(
        ("Unit", method.unit),
        ("Significant figures", "three from 10 up, two below" if method.figures in (None, "1664") else method.figures),
        ("Below detection", f"less than {below}"),
        ("Estimates, J", "no: reported as less than the reporting limit" if method.estimates is False else "reported"),
        ("Note", method.note),
    )
    described = words.describe(sheet.run.method)
    if described:
        group = [words.GROUPS.get(limit.path.partition(".")[0], "") for limit in described]
        rows = tuple((of, one.words, one.value, one.source) for of, one in zip(group, described, strict=True))
        yield Table(("of", "limit", "value", "source"), rows, (True, True, False, True))
    else:
        yield Paragraph("The method has no limits.")


def cautions(report: Report) -> Iterator[Block]:
    """Say the cautions for the solvent."""
    sheet = report.sheet
    yield Heading("Cautions")
    name = sheet.run.solvent.name or ""
    refusal = solvents.refusal(name)
    yield Items((*((refusal,) if refusal else ()), *solvents.cautions(name)))


def end(report: Report) -> Iterator[Block]:
    """Say where the report ends, so that a missing page is missed."""
    short = ", the client's pages; the full report has what they stand on" if report.short else ""
    yield Paragraph(f"End of the report on run {report.sheet.run.run.id}{short}. {marks(report)}")
