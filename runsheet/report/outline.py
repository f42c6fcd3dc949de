"""What a report says, in order.

Owns: `SECTIONS`, each a function from a `Report` to blocks. Invariant: the report shows the sheet and judges nothing
itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.report import judged, measured, reviewed, smallprint
from runsheet.report.blocks import Heading
from runsheet.report.front import front

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.report.blocks import Block
    from runsheet.report.parts import Report


def outline(report: Report) -> tuple[Block, ...]:
    """Give the whole report as blocks."""
    return tuple(block for section in SECTIONS for block in section(report))


def _charts(report: Report) -> Iterator[Block]:
    if report.charts:
        yield Heading("Control charts")
        yield from report.charts


SECTIONS: tuple[Callable[[Report], Iterator[Block]], ...] = (
    front,
    measured.received,
    measured.results,
    measured.fractions,
    judged.findings_found,
    judged.quality,
    measured.setup,
    measured.calibrations,
    measured.blanks,
    measured.limits,
    _charts,
    measured.worked,
    judged.corrections,
    reviewed.review,
    judged.signatures,
    smallprint.method_limits,
    smallprint.not_claimed,
    smallprint.cautions,
    smallprint.end,
)
