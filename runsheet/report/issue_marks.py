"""What a report says of being issued: a draft, the report of a number, or one that replaces another.

Owns: `mark` and `marks`, which stand on every page, and the section `amended`. Invariant: only a document that the
register has a line of is called issued; whatever else is a draft, and says why where the document claims otherwise.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import when
from runsheet.report.blocks import Heading, Items, Paragraph, Table
from runsheet.report.making import DIGITS
from runsheet.review import signing
from runsheet.show.client_results import ANALYTES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.report.blocks import Block
    from runsheet.report.making import Report
    from runsheet.run.model import IssuedResult

DRAFT = "Draft, not issued"
NOT_REVIEWED = "not independently reviewed"


def mark(report: Report) -> str:
    """Say what this report is."""
    made = report.issue
    if made is None:
        named = report.sheet.run.issued
        why = report.no_issue or (f"the document names {named[-1].number} as issued, not looked for" if named else "")
        return f"{DRAFT}; {why}" if why else DRAFT
    said = (
        f"Amended report {made.issued.number}, replaces {made.replaces}"
        if made.replaces
        else (f"Test report {made.issued.number}")
    )
    return said if made.reviewed else f"{said}, {NOT_REVIEWED}"


def marks(report: Report) -> str:
    """Say what stands on every page: the run, what the report is, and the digest that tells a draft from any other."""
    run = report.sheet.run
    return f"{run.run.id}   {mark(report)}   SHA-256 {signing.digest(run)[:DIGITS]}"


def amended(report: Report) -> Iterator[Block]:
    """Say what is other than in the report this one replaces, old beside new, with the reasons."""
    made = report.issue
    if made is None or not made.replaces:
        return
    yield Heading(f"What changed since {made.replaces}")
    yield Paragraph(f"{made.issued.number} replaces {made.replaces}: {made.issued.reason}")
    if made.results:
        rows = tuple(map(_result, made.results))
        yield Table(("row", "analyte", "was", "is"), rows, (True, True, True, True))
    else:
        yield Paragraph("No printed result changed.")
    if made.values:
        yield Paragraph("Values of the document that changed:")
        rows = tuple((each.path, each.old or "nothing", each.new or "nothing") for each in made.values)
        yield Table(("what", "was", "is"), rows, (True, True, True))
    elif made.values is None:
        yield Paragraph("Which other values changed cannot be said: the log does not lead to that report.")
    if made.reasons:
        yield Items(tuple(f"{when(each.at)} {each.by or ''}: {each.reason}" for each in made.reasons))


def _result(pair: tuple[IssuedResult | None, IssuedResult | None]) -> tuple[str, ...]:
    old, new = pair
    one = new or old
    named = (one.id, ANALYTES.get(one.fraction or "", "")) if one else ("", "")
    return (*named, _printed(old), _printed(new))


def _printed(each: IssuedResult | None) -> str:
    return " ".join(filter(None, (each.reported or "none", each.unit, each.flags))) if each else "not reported"
