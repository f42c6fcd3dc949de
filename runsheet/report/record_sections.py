"""The record: everything of the document that enters a result, as it was typed, so that each can be computed again.

Owns: the tables of samples, batches and rows as the document has them, and what was computed of each row. Invariant:
every field of the document's tables has its column, so that one added to the model is printed; nothing is rounded that
was typed.
"""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from runsheet.report.blocks import Block, Facts, Heading, Paragraph, Table
from runsheet.report.making import Report, pick, table
from runsheet.run.model import Batch, Row, Sample
from runsheet.show import columns

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.run.model import Setup, Standard

    Typed = Batch | Row | Sample | Setup | Standard

UNITS = {"ml": "mL", "g": "g", "mg": "mg", "mm": "mm", "c": "C", "percent": "%"}
"""What the end of a field's name says its figures are in."""
WORDS = {"of": "parent", "at": "time", "use": "used", "check": "setup check"}


def title(name: str) -> str:
    """A field's name as the head of a column."""
    stem, _, end = name.rpartition("_")
    named = f"{stem} {UNITS[end]}" if stem and end in UNITS else WORDS.get(name, name)
    return named.replace("_", " ")


def cell(value: Any) -> str:
    """A value of the document as a cell: figures as typed, a time with its seconds where it has any."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(map(str, value))
    if isinstance(value, datetime):
        return value.isoformat(" ", "minutes" if value.second == value.microsecond == 0 else "auto")
    return str(value)


def typed(made: Sequence[Typed], kind: type, left_out: Iterable[str] = ()) -> Table:
    """Tables of the document of one kind, field for field; what is in no one of them is left out."""
    names = [field.name for field in fields(kind) if field.name not in left_out]
    rows = tuple(tuple(cell(getattr(each, name)) for name in names) for each in made)
    left = tuple(not all(map(_is_figure, column)) for column in zip(*rows, strict=True)) if rows else ()
    return Table(tuple(map(title, names)), rows, left or (True,) * len(names))


def _is_figure(text: str) -> bool:
    return not text or text.replace(".", "", 1).replace("-", "", 1).isdigit()


def received(report: Report) -> Iterator[Block]:
    """Say the samples as they came in."""
    if report.sheet.run.sample:
        yield Heading("Samples as received")
        yield typed(report.sheet.run.sample, Sample)


def batches(report: Report) -> Iterator[Block]:
    """Say the extraction batches; without any, that the queue is one."""
    yield Heading("Extraction batches")
    if report.sheet.run.batch:
        yield typed(report.sheet.run.batch, Batch)
    else:
        extracted = any(row.extracted for row in report.sheet.run.queue)
        when = (
            "When it was extracted stands with its rows, by whom" if extracted else "When and by whom it was extracted"
        )
        yield Paragraph(f"None is given: the whole queue is one batch. {when} is not given.")


def rows(report: Report) -> Iterator[Block]:
    """Say every row of the queue, in the order of analysis, as typed and as computed."""
    sheet = report.sheet
    if not sheet.run.queue:
        return
    yield Heading("Rows as typed, in the order of analysis")
    told = [replace(row, void=None if row.void is None else "yes") for row in sheet.run.queue]
    yield replace(typed(told, Row, ("reason", "note")), places=True)
    yield Paragraph(DEFAULTS)
    notes = tuple((row.id, "; ".join(_notes(row))) for row in sheet.run.queue)
    if any(words for _, words in notes):
        yield Heading("Reasons and notes of rows")
        yield Facts(tuple((name, words) for name, words in notes if words))
    yield Heading("Rows as computed")
    keys = (
        "id", "calibration", "drift", "net", "extract", "u_extract", "factor", "result", "unit", "U", "k", "detection",
        "reporting", "reported", "flags", "recovery_percent", "rpd_percent", "state",
    )  # fmt: skip
    yield replace(table(pick(columns.QUEUE, *keys), sheet.rows), points=True)
    yield Paragraph("Figures in brackets are not reported.")


def _notes(row: Row) -> Iterator[str]:
    if row.void is not None:
        yield f"void: {row.void or 'no reason given'}"
    if row.report is False:
        yield f"superseded: {row.reason or 'no reason given'}"
    elif row.reason:
        yield f"reason: {row.reason}"
    if row.note:
        yield f"note: {row.note}"


DEFAULTS = (
    "Where a column is empty: the sample is the row's own id, dilution 1, silica gel no (oil and grease), the matrix "
    "that of the method's unit, density 1.00 g/mL; a method blank, control or journey blank has the nominal amounts."
)
