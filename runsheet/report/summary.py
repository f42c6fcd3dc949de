"""The short form of a sheet, for `results --as text`.

Owns: what fits a look at a terminal: calibrations, rows, findings, what is due.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.report import bench_sections, quality_sections
from runsheet.report.blocks import Block, Heading, Items, Paragraph
from runsheet.report.making import Report
from runsheet.show import explain, state

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet
    from runsheet.problem import Problem


def blocks(sheet: Sheet, problems: list[Problem]) -> tuple[Block, ...]:
    """Give the sheet in short, with the warnings the document was read with."""
    found: list[Block] = [Heading(f"{sheet.run.run.id}: {state.words(sheet)}", 1)]
    curves = [f"{c.id}: {c.state}, {explain.curve_words(c)}" for c in sheet.calibrations]
    found += [Items(tuple(curves))] if curves else []
    for section in (bench_sections.results, bench_sections.fractions, quality_sections.findings_found):
        found += section(Report(sheet))
    found += [Paragraph(str(problem)) for problem in problems]
    return tuple(found)
