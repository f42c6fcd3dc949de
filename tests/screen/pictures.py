"""The README's pictures of the screen, drawn by the program itself: `python -m tests.screen.pictures`.

Owns: `drawn`, the screen as SVG. Invariant: only what stands on the screen is in it: no frame of a window, no line of
whoever made it, and no typeface but the one the reader's own program takes for text of one width.
"""

from __future__ import annotations

import asyncio
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from runsheet import demo
from runsheet.screen.app import RunsheetApp
from runsheet.screen.canvas import Canvas
from tests.goldens import FIXTURES
from tests.screen.driving import Drive, keys

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from rich.segment import Segment
    from rich.style import Style

PICTURES: dict[str, tuple[str, tuple[int, int], Sequence[str]]] = {
    "typing": ("water-day", (80, 24), keys("0.11")),
    "four-panes": ("soil-day", (120, 40), ["f4"]),
    "why": ("water-day", (80, 24), ["up", "right", "equals_sign"]),
    "plot": ("water-day", (80, 24), ["p"]),
}
WIDE, HIGH, EDGE = 9, 18, 12
"""Of a character, and around all of them, in pixels."""
PAPER, INK = "#14181c", "#d8dde2"
COLOURS = {"green": "#7ac47a", "red": "#ff7b72", "yellow": "#e3c35b", "cyan": "#6fc7d8"}


def drawn(picture: str) -> str:
    """One picture."""
    name, size, presses = PICTURES[picture]
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.toml"
        path.write_text(demo.text(name), encoding="utf-8")
        shown = demo.NOW[name].replace(tzinfo=None).timestamp()  # it says when it was saved, by the clock on the wall
        os.utime(path, (shown, shown))
        return asyncio.run(_screen(Drive(path, size=size, now=demo.NOW[name]), presses))


async def _screen(drive: Drive, presses: Sequence[str]) -> str:
    app = RunsheetApp(drive.bench, "ansi-dark")
    async with app.run_test(size=drive.size) as pilot:
        await pilot.press(*presses)
        await pilot.pause()
        parts = [part for widget in drive.bench.query(Canvas) if widget.display for part in _widget(widget)]
    drive.store.close()
    width, height = (cells * one + 2 * EDGE for cells, one in zip(drive.size, (WIDE, HIGH), strict=True))
    head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
    style = f'font-family="monospace" font-size="15" fill="{INK}" xml:space="preserve"'
    return "\n".join([f"{head} {style}>", f'<rect width="100%" height="100%" fill="{PAPER}"/>', *parts, "</svg>", ""])


def _widget(widget: Canvas) -> Iterator[str]:
    for y in range(widget.size.height):
        x = widget.region.x
        for segment in widget.render_line(y):
            yield from _piece(segment, x, widget.region.y + y)
            x += segment.cell_length


def _piece(segment: Segment, x: int, y: int) -> Iterator[str]:
    """The background and the text of a piece of one style, at its place in cells."""
    style, left, top = segment.style, EDGE + x * WIDE, EDGE + y * HIGH
    ink = COLOURS.get(style.color.name, INK) if style and style.color else INK
    if style and style.reverse:
        yield f'<rect x="{left}" y="{top}" width="{segment.cell_length * WIDE}" height="{HIGH}" fill="{ink}"/>'
        ink = PAPER
    text = segment.text.rstrip()
    if text:
        indent = len(text) - len(text.lstrip())
        place = f'x="{left + indent * WIDE}" y="{top + HIGH - 5}" textLength="{(len(text) - indent) * WIDE}"'
        yield f"<text {place}{_looks(style, ink)}>{escape(text.lstrip())}</text>"


def _looks(style: Style | None, ink: str) -> str:
    given = {
        "fill": ink if ink != INK else "",
        "font-weight": "bold" if style and style.bold else "",
        "text-decoration": "underline" if style and style.underline else "",
    }
    return "".join(f' {name}="{value}"' for name, value in given.items() if value)


def main() -> None:
    """Write every picture."""
    for picture in PICTURES:
        (FIXTURES / "pictures" / f"{picture}.svg").write_text(drawn(picture), encoding="utf-8")


if __name__ == "__main__":
    main()
