"""A report as plain text for 80 columns.

Owns: the layout of blocks in characters. Invariant: no cell is cut and no word broken: what does not fit its column
wraps, a table with too many columns goes on in a second part, and only a word that is longer by itself makes a line
wider than `WIDTH`.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from runsheet.figures import visible
from runsheet.report.blocks import Block, Copied, Facts, Figure, Heading, Items, PageMark, Paragraph, Table
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from collections.abc import Iterable

WIDTH = 80
GAP = "  "
EASY = 14
"""Characters a column of longer cells should have: narrower ones, a word a line, are hard to read."""


NAME = 24
"""A name in the first column is kept on one line up to this length: a line without one goes on from the one above."""


def write(blocks: Iterable[Block], *, ascii_only: bool = False) -> str:
    """Write blocks as text."""
    return (
        "\n\n".join("\n".join(line.rstrip() for line in _lines(block, ascii_only=ascii_only)) for block in blocks)
        + "\n"
    )


def _lines(block: Block, *, ascii_only: bool) -> list[str]:
    if isinstance(block, Heading):
        text = visible(block.text)
        lines = wrapped(text, WIDTH)
        return [*lines, ("=" if block.level == 1 else "-") * max(map(len, lines))]
    if isinstance(block, Paragraph):
        return wrapped(visible(block.text), WIDTH)
    if isinstance(block, PageMark):
        return ["=" * WIDTH, *wrapped(visible(block.text), WIDTH)]
    if isinstance(block, Items):
        return [line for text in block.texts for line in _hanging("- ", visible(text))]
    if isinstance(block, Copied):
        return [visible(line) for line in block.lines]
    if isinstance(block, Facts):
        return _facts(block)
    if isinstance(block, Figure):
        return [*wrapped(visible(block.title), WIDTH), *draw(block.plot, WIDTH, 16, ascii_only=ascii_only)]
    return table(block)


def wrapped(text: str, width: int) -> list[str]:
    """Wrap text; an empty text is one empty line."""
    return textwrap.wrap(text, width, break_on_hyphens=False, break_long_words=False) or [""]


def _hanging(first: str, text: str) -> list[str]:
    lines = wrapped(text, WIDTH - len(first))
    return [(first if at == 0 else " " * len(first)) + line for at, line in enumerate(lines)]


def _facts(block: Facts) -> list[str]:
    """Names beside what they are; a long name, or a word too long to stand beside one, has a line of its own."""
    pairs = [(visible(name), visible(value)) for name, value in block.pairs]
    indent = min(max((len(name) for name, _ in pairs), default=0), 24) + 2
    found: list[str] = []
    for name, value in pairs:
        fits = len(name) + 2 <= indent and _longest(value) <= WIDTH - indent
        inward = indent if _longest(value) <= WIDTH - indent else 2
        found += [] if fits else [name]
        lines = wrapped(value, WIDTH - inward)
        found += [(name if fits and at == 0 else "").ljust(inward) + line for at, line in enumerate(lines)]
    return found


def _longest(text: str) -> int:
    return max(map(len, text.split()), default=0)


def table(block: Table) -> list[str]:
    """Lay a table out in as many parts as its columns need, each beginning with those that name a row."""
    block = block.filled()
    cells = [block.titles, *(tuple(map(visible, row)) for row in block.rows)]
    parts = _parts(cells, block.keys)
    lines = [_part([tuple(row[at] for at in part) for row in cells], [block.left[at] for at in part]) for part in parts]
    return [line for at, part in enumerate(lines) for line in (*([""] if at else []), *part)]


def _part(cells: list[tuple[str, ...]], left: list[bool]) -> list[str]:
    widths = _widths(cells)
    rule = GAP.join("-" * width for width in widths)
    lines = [_row(row, widths, left) for row in cells]
    return [*lines[0], rule, *(line for row in lines[1:] for line in row)]


def _parts(cells: list[tuple[str, ...]], keys: int) -> list[list[int]]:
    """The columns of each part: as many as fit the line with room for their words, one where not even one does."""
    least = [
        max(width, min(EASY, max(map(len, column[1:]), default=0)))
        for width, column in zip(_least(cells), zip(*cells, strict=True), strict=True)
    ]
    first = list(range(keys))
    parts = [first]
    for at in range(keys, len(least)):
        line = [*parts[-1], at]
        full = sum(least[each] for each in line) + len(GAP) * (len(line) - 1) > WIDTH
        if full and len(parts[-1]) > keys:
            parts.append([*first, at])
        else:
            parts[-1] = line
    return parts


def _least(cells: list[tuple[str, ...]]) -> list[int]:
    """The least width of each column: no word is broken, and a name in the first is not wrapped."""
    columns = list(zip(*cells, strict=True))
    names = max((len(name) for name in columns[0][1:] if len(name) <= NAME), default=0)
    return [max(*map(_longest, column), 0 if at else names) for at, column in enumerate(columns)]


def _widths(cells: list[tuple[str, ...]]) -> list[int]:
    """Columns that fit the line: the widest gives way first, and none below what it needs."""
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    least = _least(cells)
    while sum(widths) + len(GAP) * (len(widths) - 1) > WIDTH:
        soft = [at for at, width in enumerate(widths) if width > least[at]]
        if not soft:
            break
        widths[max(soft, key=widths.__getitem__)] -= 1
    return widths


def _row(row: tuple[str, ...], widths: list[int], left: list[bool]) -> list[str]:
    wraps = [wrapped(cell, width) for cell, width in zip(row, widths, strict=True)]
    height = max(map(len, wraps))
    return [
        GAP.join(
            (cell[at] if at < len(cell) else "").ljust(width)
            if is_left
            else (cell[at] if at < len(cell) else "").rjust(width)
            for cell, width, is_left in zip(wraps, widths, left, strict=True)
        )
        for at in range(height)
    ]
