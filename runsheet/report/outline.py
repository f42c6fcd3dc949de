"""What a report says, in order.

Owns: `SECTIONS`, each a function from a `Report` to blocks. Invariant: the report shows the sheet and judges nothing
itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.report import (
    bench_sections,
    client_sections,
    issue_marks,
    method_sections,
    quality_sections,
    record_sections,
    review_section,
    standing_section,
)
from runsheet.report.blocks import Heading
from runsheet.report.cover import first_look, front, the_run

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.report.blocks import Block
    from runsheet.report.making import Report


def outline(report: Report) -> tuple[Block, ...]:
    """The whole report as blocks, or the client's pages of it."""
    return tuple(block for section in (SHORT if report.short else SECTIONS) for block in section(report))


def _charts(report: Report) -> Iterator[Block]:
    if report.charts:
        yield Heading("Control charts")
        yield from report.charts


SECTIONS: tuple[Callable[[Report], Iterator[Block]], ...] = (
    front,
    method_sections.not_claimed,
    issue_marks.amended,
    the_run,
    quality_sections.findings_found,
    first_look,
    standing_section.each_result,
    quality_sections.quality,
    client_sections.others,
    bench_sections.calibrations,
    bench_sections.blanks,
    bench_sections.setup,
    _charts,
    record_sections.received,
    record_sections.batches,
    record_sections.rows,
    bench_sections.worked,
    method_sections.method_limits,
    quality_sections.outside,
    quality_sections.corrections,
    review_section.review,
    quality_sections.signatures,
    method_sections.cautions,
    method_sections.end,
)

SHORT: tuple[Callable[[Report], Iterator[Block]], ...] = (
    front,
    method_sections.not_claimed,
    issue_marks.amended,
    method_sections.end,
)
"""The client's pages."""
