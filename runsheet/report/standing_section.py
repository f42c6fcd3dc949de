"""The section of a report on what each of the client's results stands on.

Owns: one line a result. Invariant: values and verdicts are those of `show/stands_on`, and what is missing is said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import some
from runsheet.report.blocks import Block, Heading, Paragraph, Table
from runsheet.show import stands_on

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Finding
    from runsheet.report.making import Report
    from runsheet.show.stands_on import Role, Standing

COLUMNS: tuple[tuple[str, tuple[Role, ...]], ...] = (
    ("calibration", ("calibration",)),
    ("second source", ("second-source",)),
    ("blank and check standard before", ("before",)),
    ("and after", ("after",)),
    ("method blank", ("method-blank",)),
    ("control", ("control",)),
    ("duplicate, spike", ("duplicate", "spike")),
)
"""What stands in each column."""


def each_result(report: Report) -> Iterator[Block]:
    """Say what each result stands on, and the qualifier that follows."""
    found = stands_on.standings(report.sheet)
    if not found:
        return
    yield Heading("What each result stands on")
    titles = ("result", *(title for title, _ in COLUMNS), "lots", "analyst", "flags", "for")
    yield Table(titles, tuple(map(_line, found)), (True,) * len(titles), points=True)
    studies = dict.fromkeys(support.words for each in found for support in each.supports if support.role == "study")
    yield Paragraph(
        "D" + "; ".join(studies).removeprefix("d") + "." if studies else "No detection limit, so no detection study."
    )
    yield Paragraph(
        "Of each: the value and the verdict of its rule; r is that of the calibration. Of batch quality control: the "
        "rows of the result's batch and fraction, a duplicate's or spike's parent named under Rows."
    )


def _line(made: Standing) -> tuple[str, ...]:
    cells = ("; ".join(each.short for each in made.supports if each.role in roles) for _, roles in COLUMNS)
    lots = "; ".join(f"{what} {lot}" for what, lot in made.lots)
    why = "; ".join(_why(finding) for finding in made.findings if finding.state == "fail")
    return made.row.id, *cells, lots or "none given", made.analyst or "not given", made.qualifier, why


def _why(finding: Finding) -> str:
    acted = " (acted on)" if finding.acted_on else ""
    return f"{finding.rule} {some(finding.rows, 4)}".strip() + acted
