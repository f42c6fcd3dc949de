"""The last sections of a report: the method's limits, what a result is not, cautions.

Owns: nothing of its own; the words come from `methods`. Invariant: no sentence claims compliance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.methods import solvents, standing, words
from runsheet.report.blocks import Block, Heading, Items, Paragraph, Table

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
    described = words.describe(sheet.run.method)
    if described:
        groups = [words.GROUPS.get(limit.path.partition(".")[0], "") for limit in described]
        shown = [group if group not in groups[:at] else "" for at, group in enumerate(groups)]
        rows = tuple(
            (group, limit.words, limit.value, limit.source) for group, limit in zip(shown, described, strict=True)
        )
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
    yield Paragraph(f"End of the report on run {report.sheet.run.run.id}.")
