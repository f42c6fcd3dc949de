"""A report as Markdown.

Owns: the layout of blocks as Markdown (CommonMark with tables). Invariant: a name from a run cannot change the layout:
every character that could is escaped.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from runsheet.figures import visible
from runsheet.report.blocks import Block, Copied, Facts, Figure, Heading, Items, PageMark, Paragraph
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


def write(blocks: Iterable[Block]) -> str:
    """Write blocks as Markdown."""
    return "\n\n".join("\n".join(_lines(block)) for block in blocks) + "\n"


def _lines(block: Block) -> list[str]:
    if isinstance(block, Heading):
        return [f"{'#' * block.level} {_escaped(block.text)}"]
    if isinstance(block, Paragraph):
        return [_escaped(block.text)]
    if isinstance(block, PageMark):
        return ["---", "", _escaped(block.text)]
    if isinstance(block, Items):
        return [f"- {_escaped(text)}" for text in block.texts]
    if isinstance(block, Copied):
        return ["```toml", *map(visible, block.lines), "```"]
    if isinstance(block, Facts):
        return _table(("", ""), block.pairs, (True, True))
    if isinstance(block, Figure):
        return [_escaped(block.title), "", "```text", *(line.rstrip() for line in draw(block.plot, 76, 16)), "```"]
    block = block.filled()
    return _table(block.titles, block.rows, block.left)


def _table(titles: Sequence[str], rows: Sequence[Sequence[str]], left: Sequence[bool]) -> list[str]:
    rule = "|".join(" :-- " if is_left else " --: " for is_left in left)
    return [_row(titles), f"|{rule}|", *(_row(row) for row in rows)]


def _row(cells: Sequence[str]) -> str:
    return "| " + " | ".join(_escaped(cell) for cell in cells) + " |"


def _escaped(text: str) -> str:
    return re.sub(r"([\\`*_\[\]<>|#~])", r"\\\1", visible(text))
