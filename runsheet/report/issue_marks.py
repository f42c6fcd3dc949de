"""What a report says of being issued: a draft, the report of a number, or one that replaces another.

Owns: `mark` and `marks`, which stand on every page, and the section `amended`. Invariant: only a document that the
register has a line of is called issued; whatever else is a draft, and says why where the document claims otherwise.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from runsheet.compute.sheet import evaluate
from runsheet.figures import when
from runsheet.report import client_sections
from runsheet.report.blocks import Heading, Items, Paragraph, Table
from runsheet.report.making import DIGITS
from runsheet.review import signing
from runsheet.show import client_results
from runsheet.show.client_results import ANALYTES

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator

    from runsheet.compute.results import Sheet
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
        yield Table(("row", "analyte", "was", "is"), tuple(map(_result, made.results)), (True, True, True, True))
    else:
        yield Paragraph("No result, unit or flag of a row changed.")
    if made.before is not None:
        told = {one.id for pair in made.results for one in pair if one}
        old = evaluate(made.before, made.before.issued[-1].at or report.sheet.now)
        if more := tuple(moved(old, report.sheet, told)):
            yield Paragraph("What else changed in the client's table:")
            yield Table(("sample", "analyte", "what", "was", "is"), more, (True,) * 5)
    if made.values:
        yield Paragraph("Values of the document that changed:")
        rows = tuple((each.path, each.old or "nothing", each.new or "nothing") for each in made.values)
        yield Table(("what", "was", "is"), rows, (True, True, True))
    elif made.values is None:
        yield Paragraph("Which other values changed cannot be said: the log does not lead to that report.")
    if made.reasons:
        yield Items(tuple(f"{when(each.at)} {each.by or ''}: {each.reason}" for each in made.reasons))


def moved(old: Sheet, new: Sheet, told: Collection[str]) -> Iterator[tuple[str, ...]]:
    """Each item of the client's table that is another now: sample, analyte, what it is, old and new.

    Of the rows `told` result, unit and flags are left out: they are told as they were kept when they were issued.
    """
    before, after = _client_lines(old), _client_lines(new)
    for name in dict.fromkeys([*before, *after]):
        rows_before, was = before.get(name, ((), {}))
        rows_after, is_ = after.get(name, ((), {}))
        rows = {*rows_before, *rows_after}  # two of a polar part, which is kept with no row
        left_out = ("result", "unit", "flags") if len(rows) == 1 and rows <= {*told} else ()
        for what in dict.fromkeys([*was, *is_]):
            one, other = was.get(what, ""), is_.get(what, "")
            if one != other and what not in left_out:
                yield *name[:2], what, one or "nothing", other or "nothing"


def _client_lines(sheet: Sheet) -> dict[tuple[str, str, int], tuple[tuple[str, ...], dict[str, str]]]:
    """The lines of the client's table by sample, analyte and how many such stand before: rows, and cells by title."""
    lines = client_results.results(sheet)
    printed = client_sections.table(lines)
    titles = ["+/-" if title.startswith("+/-") else title.removesuffix(" *") for title in printed.titles[2:]]
    seen: Counter[tuple[str, str]] = Counter()
    made = {}
    for line, cells in zip(lines, printed.rows, strict=True):
        name = line.sample, line.analyte
        made[*name, seen[name]] = line.rows, dict(zip(titles, cells[2:], strict=True))
        seen[name] += 1
    return made


def _result(pair: tuple[IssuedResult | None, IssuedResult | None]) -> tuple[str, ...]:
    old, new = pair
    one = new or old
    named = (one.id, ANALYTES.get(one.fraction or "", "")) if one else ("", "")
    return (*named, _printed(old), _printed(new))


def _printed(each: IssuedResult | None) -> str:
    return " ".join(filter(None, (each.reported or "none", each.unit, each.flags))) if each else "not reported"
