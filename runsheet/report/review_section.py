"""The section of a report on what a reviewer looked at and typed again.

Owns: `review`. Invariant: it says also what is not looked at yet, and nothing where nobody reviewed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import figures
from runsheet.compute.rules import notebook
from runsheet.figures import counted, when
from runsheet.report.blocks import Block, Facts, Heading, Items, Paragraph, Table
from runsheet.review import walk

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.report.making import Report
    from runsheet.review.walk import Remaining
    from runsheet.run.model import Review, Row, Run, Standard


def review(report: Report) -> Iterator[Block]:
    """Say who looked at how much, with the remarks, and how what was typed again agrees with the sheet."""
    run = report.sheet.run
    if not run.review:
        return
    yield Heading("Review")
    left = walk.remaining(report.sheet, report.audit)
    yield Facts((*_people(run), *_extent(run, left)))
    known = notebook.rows(run)
    typed = tuple(_row(name, made, known.get(name)) for name, made in notebook.latest(run).items())
    if typed:
        yield Table(("row", "typed again", "by", "at", "and the sheet"), typed, (True, False, True, True, True))
    remarks = tuple(f"{made.exception or made.row}: {made.note} ({made.by})" for made in run.review if made.note)
    if remarks:
        yield Items(remarks)
    if left.exceptions:
        yield Paragraph("Not looked at:")
        yield Items(left.exceptions)


def extent(report: Report) -> str:
    """Say in a line how far the review has come, for the first page."""
    run = report.sheet.run
    if not run.review:
        return "none: no row was typed again, no exception looked at"
    left = walk.remaining(report.sheet, report.audit)
    return "; ".join(f"{name.lower()} {words}" for name, words in _extent(run, left))


def _people(run: Run) -> Iterator[tuple[str, str]]:
    for name in dict.fromkeys(made.by for made in run.review):
        mine = [made for made in run.review if made.by == name]
        seen = counted(len({made.exception for made in mine} - {None}), "exception")
        rows = counted(len({made.row for made in mine} - {None}), "row")
        days = dict.fromkeys(when(made.at)[:10] for made in mine if made.at)
        yield name, f"{seen}, {rows} typed again" + (f" ({', '.join(days)})" if days else "")


def _extent(run: Run, left: Remaining) -> Iterator[tuple[str, str]]:
    """Say how far the walk has come, by the sheet as it is now."""
    read = {name for name, row in notebook.rows(run).items() if row.readings}
    typed = read & notebook.latest(run).keys()
    yield "Exceptions", f"{left.exceptions_done} of {left.exceptions_done + len(left.exceptions)} looked at"
    yield (
        "Typed again",
        f"{len(typed)} of {counted(len(read), 'row')} read; one in ten asks for {walk.share(len(read))}",
    )


def _row(name: str, made: Review, row: Row | Standard | None) -> tuple[str, ...]:
    if row is None:
        verdict = "void or no longer there"
    else:
        verdict = "agrees" if made.readings == row.readings else f"differs: {figures.readings(row.readings) or 'none'}"
    return name, figures.readings(made.readings), made.by, when(made.at), verdict
