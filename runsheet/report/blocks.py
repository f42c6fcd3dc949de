"""What a report is made of.

Owns: the blocks every format can write. Invariant: blocks hold text and figures ready to read; a format lays them out
and decides nothing about content.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from runsheet.show.plot import Plot


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 is the report's title."""

    text: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph of prose."""

    text: str


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are."""

    pairs: tuple[tuple[str, str], ...]
    beside: bool = False
    """Whether they may stand in two columns where there is room."""


@dataclass(frozen=True, slots=True)
class Items:
    """A list."""

    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Copied:
    """Lines that are copied elsewhere as they stand, never wrapped."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; `left` says which columns are text."""

    titles: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: tuple[bool, ...]
    keys: int = 1
    """How many of its first columns name a row: where a table is too wide, each part of it begins with them."""
    places: bool = False
    """Whether what its first column names is described here, so that other tables point to it."""
    points: bool = False
    """Whether its cells point: the first word of each part of a cell, set apart by "; ", may be a name."""

    def filled(self) -> Table:
        """The table without the columns nothing stands in; all of them where nothing stands in any."""
        kept = [at for at in range(len(self.titles)) if at < self.keys or any(row[at] for row in self.rows)]
        if not any(map(any, self.rows)):
            return self
        rows = tuple(tuple(row[at] for at in kept) for row in self.rows)
        titles, left = tuple(self.titles[at] for at in kept), tuple(self.left[at] for at in kept)
        return replace(self, titles=titles, rows=rows, left=left)


@dataclass(frozen=True, slots=True)
class Figure:
    """A plot with its title."""

    title: str
    plot: Plot


@dataclass(frozen=True, slots=True)
class PageMark:
    """What the report is, said again where a page may begin; a format whose pages have margins says it there."""

    text: str


Block = Heading | Paragraph | Facts | Items | Copied | Table | Figure | PageMark
