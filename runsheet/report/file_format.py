"""The reference of the files a person writes.

Owns: its sections. Invariant: every table and every field the reader knows stands in it, from the reader's own classes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet.methods.laboratory import Laboratory
from runsheet.report.blocks import Block, Heading, Paragraph, Table
from runsheet.run.model import Method, Run
from runsheet.show import fields

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator


class File(NamedTuple):
    """A kind of file."""

    cls: Any
    title: str
    words: str


FILES = {
    "document": File(Run, "The run document", "One bench day: NAME.toml. The screen writes it; any editor may."),
    "method": File(
        Method, "A method file", "The keys of a document's [method] table at the top level; copied into a new run."
    ),
    "laboratory": File(
        Laboratory,
        "The laboratory file",
        "laboratory.toml, beside the runs or in the configuration folder: what the bench chooses from. Nothing is "
        "computed from it.",
    ),
}
"""Every kind of file, by the name it is asked for with."""
READ = (
    "Only what is required must be written. The default is what a field that is not written is read as; where none "
    "stands here it stays unwritten, and its words or the rule that asks for it say what follows. A time has its date "
    "and offset, as 2026-03-11T07:30:00+01:00. An array of numbers is written as [0.112, 0.114]. A key that is not "
    "here is refused."
)


def blocks(names: Iterable[str]) -> Iterator[Block]:
    """Lay the reference of some files out."""
    for name in names:
        file = FILES[name]
        yield Heading(file.title, 1)
        yield Paragraph(file.words)
        yield Paragraph(READ)
        for group in fields.groups(file.cls):
            yield Heading(", ".join(group.places) or "Top level")
            yield Paragraph(group.words)
            yield _table(group)


def _table(group: fields.Group) -> Table:
    rows = [
        (each.name, fields.type_words(each.hint), each.unit, fields.default_words(each.default), each.words)
        for each in fields.of(group.cls)
    ]
    return Table(("field", "type", "unit", "default", "what it is"), tuple(rows), (True,) * 5)
