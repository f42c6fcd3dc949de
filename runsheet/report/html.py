"""A report as one self-contained page: no scripts, no network.

Owns: the layout of blocks as HTML with inline SVG plots. Invariant: everything from a run is escaped.
"""

from __future__ import annotations

import html
from typing import TYPE_CHECKING

from runsheet.figures import visible
from runsheet.report.blocks import Block, Copied, Facts, Figure, Heading, Items, PageMark, Paragraph, Table
from runsheet.report.svg import draw

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

STYLE = """
body { font: 9.5pt/1.3 sans-serif; color: #000; background: #fff; max-width: 190mm; margin: 1em auto; }
h1 { font-size: 14pt; margin: 0 0 .4em; } h2 { font-size: 11pt; margin: 1em 0 .3em; border-bottom: 1px solid #000; }
p, ul { margin: .4em 0; font-size: 8.5pt; }
table { border-collapse: collapse; width: 100%; font-size: 8.5pt; margin: .4em 0; }
.wide { font-size: 7.5pt; }
h3 { font-size: 10pt; margin: 1.2em 0 .3em; break-after: avoid; }
th, td { padding: .1em .4em; vertical-align: top; border-bottom: 1px solid #bbb; text-align: right; }
th { border-bottom: 1px solid #000; } .left { text-align: left; } .facts th { width: 32%; font-weight: normal; }
.facts th, .facts td { text-align: left; border-bottom: 1px solid #bbb; }
.facts { break-inside: avoid; } .beside { columns: 2; column-gap: 6mm; margin: .4em 0; font-size: 8.5pt; }
.beside div { display: flex; break-inside: avoid; border-bottom: 1px solid #bbb; padding: .1em 0; }
.beside dt { flex: 0 0 30%; } .beside dd { margin: 0; overflow-wrap: anywhere; }
td { overflow-wrap: break-word; } .one { white-space: nowrap; } figure { margin: .8em 0; break-inside: avoid; }
svg { width: 100%; height: auto; max-height: 62mm; }
h1, h2, h3 { break-after: avoid; } thead tr { break-after: avoid; } tr { break-inside: avoid; }
a { color: inherit; }
thead { display: table-header-group; }
@media print { body { max-width: none; margin: 0; } }
"""

MANY = 12
"""A table of more columns is set smaller."""
ONE = 24
"""A word with hyphens is kept on one line below this length."""


def write(blocks: Sequence[Block], marks: str = "", foot: str = "") -> str:
    """Write blocks as a page; its first heading is its title, `marks` and `foot` stand on every printed page."""
    title = next((block.text for block in blocks if isinstance(block, Heading)), "report")
    places = _places(blocks)
    body = "\n".join(filter(None, (_block(block, places) for block in blocks)))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{_escaped(title)}</title>\n<style>{_page(marks, foot)}{STYLE}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def _page(marks: str, foot: str) -> str:
    """The rules of the printed page: its margins say the run, the digest, and which page of how many it is.

    It has no size of its own, so that it comes out on the paper that is in the printer, A4 or US Letter.
    """
    small = "font: 8pt sans-serif; color: #000;"
    return (
        "\n@page { margin: 16mm 13mm 15mm;\n"
        f"  @top-left {{ content: {_css(marks)}; {small} }}\n"
        f"  @bottom-left {{ content: {_css(foot)}; {small} }}\n"
        f'  @bottom-right {{ content: "page " counter(page) " of " counter(pages); {small} }}\n}}'
    )


def _css(text: str) -> str:
    """Quote a text for a style sheet: every character that is no plain letter, digit or space as its number."""
    return (
        '"' + "".join(c if (c.isalnum() and c.isascii()) or c == " " else f"\\{ord(c):x} " for c in visible(text)) + '"'
    )


def _escaped(text: str) -> str:
    return html.escape(visible(text))


def _places(blocks: Sequence[Block]) -> dict[str, str]:
    """The place on the page of each thing that is described on it, by its name."""
    tables = (block for block in blocks if isinstance(block, Table) and block.places)
    names = dict.fromkeys(row[0] for table in tables for row in table.rows)
    return {name: f"at-{number}" for number, name in enumerate(names)}


def _facts(block: Facts) -> str:
    if block.beside:
        pairs = (f"<div><dt>{_escaped(name)}</dt><dd>{_escaped(value)}</dd></div>" for name, value in block.pairs)
        return '<dl class="beside">\n' + "\n".join(pairs) + "\n</dl>"
    rows = "\n".join(f"<tr><th>{_escaped(name)}</th><td>{_escaped(value)}</td></tr>" for name, value in block.pairs)
    return f'<table class="facts">\n{rows}\n</table>'


def _block(block: Block, places: dict[str, str]) -> str:
    if isinstance(block, Heading):
        return f"<h{block.level}>{_escaped(block.text)}</h{block.level}>"
    if isinstance(block, Paragraph):
        return f"<p>{_escaped(block.text)}</p>"
    if isinstance(block, PageMark):
        return ""
    if isinstance(block, Items):
        return "<ul>\n" + "\n".join(f"<li>{_escaped(text)}</li>" for text in block.texts) + "\n</ul>"
    if isinstance(block, Copied):
        return "<pre>" + "\n".join(map(_escaped, block.lines)) + "</pre>"
    if isinstance(block, Facts):
        return _facts(block)
    if isinstance(block, Figure):
        return f"<figure>\n{draw(block.plot)}\n<figcaption>{_escaped(block.title)}</figcaption>\n</figure>"
    return _table(block, places)


def _table(block: Table, places: dict[str, str]) -> str:
    block = block.filled()
    head = _row("th", block.titles, map(_escaped, block.titles), block.left)
    pointed = places if block.points else {}
    lines = []
    for row in block.rows:
        name = f' id="{places[row[0]]}"' if block.places else ""
        lines.append(_row("td", row, (_pointing(cell, pointed) for cell in row), block.left, name))
    body = "\n".join(lines)
    wide = ' class="wide"' if len(block.titles) > MANY else ""
    return f"<table{wide}>\n<thead>\n{head}\n</thead>\n<tbody>\n{body}\n</tbody>\n</table>"


def _pointing(cell: str, places: dict[str, str]) -> str:
    """A cell whose names lead to where they are described."""
    if not places:
        return _escaped(cell)
    parts = (part.partition(" ") for part in cell.split("; "))
    return "; ".join(
        (f'<a href="#{places[name]}">{_escaped(name)}</a>' if name in places else _escaped(name)) + _escaped(gap + rest)
        for name, gap, rest in parts
    )


def _row(tag: str, texts: Iterable[str], cells: Iterable[str], left: Iterable[bool], name: str = "") -> str:
    """A row of texts, each with its cell as it stands on the page."""
    inner = "".join(
        f"<{tag}{_class(text, left=is_left)}>{cell}</{tag}>"
        for text, cell, is_left in zip(texts, cells, left, strict=True)
    )
    return f"<tr{name}>{inner}</tr>"


def _class(text: str, *, left: bool) -> str:
    """How a cell stands: to the left where it is text, on one line where it is one word, as a date or an id."""
    classes = [*(["left"] if left else []), *(["one"] if "-" in text and " " not in text and len(text) < ONE else [])]
    return f' class="{" ".join(classes)}"' if classes else ""
