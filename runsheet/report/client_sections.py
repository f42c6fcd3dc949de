"""The client's results, on the first page of a report.

Owns: the client's table, its legend, and what U is. Invariant: samples and journey blanks only; what is not final is
said under the table.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute import limits as limits_
from runsheet.compute.readings import relative_parts
from runsheet.figures import figure, some
from runsheet.report.blocks import Block, Heading, Paragraph, Table
from runsheet.report.making import Report, pick
from runsheet.report.making import table as laid
from runsheet.run import kinds
from runsheet.show import client_results, columns

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.show.client_results import ClientResult


def results(report: Report) -> Iterator[Block]:
    """Say each sample's results, the two fractions of a sample beside their polar part."""
    sheet = report.sheet
    yield Heading("Results")
    lines = client_results.results(sheet)
    if not lines:
        yield Paragraph("No sample is in the queue and none is named as received.")
        return
    yield table(lines)
    waiting = [row.id for row in sheet.rows if row.for_client and row.state == "open"]
    if waiting:
        yield Paragraph(f"Not final, no closing blank or check standard yet: {some(waiting, 12)}.")
    yield from legend({flag for line in lines for flag in line.given}, sheet)
    yield Paragraph(uncertainty(lines, sheet))


def table(lines: tuple[ClientResult, ...]) -> Table:
    """The client's table."""
    titles = (
        "sample", "analyte", "result", f"+/- ({client_results.one_coverage(lines)})", "unit", "flags",
        "detection limit", "reporting limit", "analysed", "client's id *", "site *", "collected *",
    )  # fmt: skip
    cells = tuple(
        (
            line.sample,
            line.analyte,
            line.result,
            figure(line.expanded, 2),
            " ".join(filter(None, (line.unit, line.basis))),
            line.flags,
            figure(line.detection, 3),
            figure(line.reporting, 3),
            line.analysed,
            line.client_id,
            line.site,
            line.collected,
        )
        for line in lines
    )
    right = {2, 3, 6, 7}
    return Table(titles, cells, tuple(at not in right for at in range(len(titles))), keys=2)


def legend(given: Collection[str], sheet: Sheet) -> Iterator[Block]:
    """Say what each of the flags given is, by the letter it is printed with."""
    letters = limits_.letters(sheet.run.method)
    told = [f"{letters[flag]} {said}" for flag, said in columns.flag_words(sheet.run.method).items() if flag in given]
    if told:
        yield Paragraph("Flags: " + "; ".join(told) + ".")


def uncertainty(lines: tuple[ClientResult, ...], sheet: Sheet) -> str:
    """Say what stands under +/-, of what, and how sure."""
    if not any(line.expanded is not None for line in lines):
        return "No uncertainty is given: no result is a figure with one."
    lacks = []
    if sheet.run.instrument.step is None and any(each.direct for each in sheet.calibrations):
        lacks.append("of the instrument no display step is given")
    if "volumes" not in relative_parts(sheet.run.method.uncertainty):
        lacks.append("of volumes the method gives none")
    scope = "instrument and volumes only" + (f" ({'; '.join(lacks)})" if lacks else "")
    if sheet.uncertainty_complete:
        known = sheet.run.method.sources or {}
        parts = [known[name] for name in ("uncertainty.precision_percent", "uncertainty.bias_percent") if name in known]
        of = f" ({'; '.join(dict.fromkeys(parts))})" if parts else ", from where is not said"
        scope = f"the whole procedure, by the laboratory's own precision or bias{of}"
    sure = any(line.confidence is not None for line in lines)
    t = "; the percentage is the confidence k is taken from t at" if sure else ""
    k = client_results.coverage(lines)
    return f"+/- is the expanded uncertainty U, {k}: {scope}{t}. None stands beside a less-than."


def others(report: Report) -> Iterator[Block]:
    """Say the rows of quality control."""
    sheet = report.sheet
    rows = [row for row in sheet.rows if row.kind not in kinds.CLIENTS]
    if rows:
        yield Heading("Quality control rows")
        keys = ("id", "kind", "of", "net", "extract", "reported", "unit", "flags", "recovery_percent", "rpd_percent")
        yield laid(pick(columns.QUEUE, *keys, "state"), rows)
        yield Paragraph(kinds_legend(rows))


def kinds_legend(rows: Sequence[RowResult]) -> str:
    """What each kind of row is called in full."""
    there = dict.fromkeys(row.kind for row in rows if row.kind != "sample")
    return "Kinds: " + "; ".join(f"{kinds.ABBREVIATIONS[kind]} {kinds.WORDS[kind]}" for kind in there) + "."
