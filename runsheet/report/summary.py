"""The short form of a sheet, for `results --as text`.

Owns: what fits a look at a terminal: calibrations, rows, findings, what is due.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.report import bench_sections, client_sections, quality_sections
from runsheet.report.blocks import Block, Heading, Items, Paragraph, Table
from runsheet.report.making import Report
from runsheet.review.trail import NO_TRAIL
from runsheet.show import drawn as propagated
from runsheet.show import explain, state

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.compute.results import Sheet
    from runsheet.compute.statistics.monte_carlo import Propagated
    from runsheet.problem import Problem
    from runsheet.review.trail import Trail


def drawn(sheet: Sheet, made: Sequence[Propagated]) -> tuple[Block, ...]:
    """What the Monte Carlo draws say of each reported result."""
    rows = {row.id: row for row in sheet.rows}
    cells = tuple(propagated.line(each, rows[each.id]) for each in made)
    if not made:
        return Heading("Monte Carlo", 2), Paragraph("Nothing is drawn: no reported result has an uncertainty.")
    anew = ", curve fitted anew in each" if any(c.curve is not None for c in sheet.calibrations) else ""
    said = f"{made[0].draws} draws{anew}; shortest interval; {propagated.SOURCE}."
    left = (True, *[False] * (len(propagated.TITLES) - 2), True)
    table = Heading("Monte Carlo", 2), Paragraph(said), Table(propagated.TITLES, cells, left)
    drawn_ = {each.id for each in made}
    others = [row.id for row in sheet.rows if row.is_reported and row.result is not None and row.id not in drawn_]
    return (*table, Paragraph(f"Not drawn, without an uncertainty: {' '.join(others)}.")) if others else table


def blocks(sheet: Sheet, problems: list[Problem], trail: Trail = NO_TRAIL) -> tuple[Block, ...]:
    """The sheet in short, with the warnings the document was read with."""
    found: list[Block] = [Heading(f"{sheet.run.run.id}: {state.words(sheet)}", 1)]
    found.append(Paragraph(f"Edit log: {trail.words}" + (f" ({trail.why})" if trail.why else "") + "."))
    curves = [f"{c.id}: {c.state}, {explain.curve_words(c)}" for c in sheet.calibrations]
    found += [Items(tuple(curves))] if curves else []
    for section in (client_sections.results, bench_sections.rows, quality_sections.findings_found):
        found += section(Report(sheet))
    found += [Paragraph(str(problem)) for problem in problems]
    return tuple(found)
