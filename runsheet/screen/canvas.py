"""Lines of text as a widget.

Owns: the one way this screen draws: a widget keeps its lines as segments and repaints only lines that changed; and
where in them the next key goes. Invariant: no scrollbars, no layout on a change, one region a line.

No stock input, table or footer is used: Textual repaints whole tables and lays out again at each key.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rich.cells import cell_len, set_cell_size
from rich.segment import Segment
from textual.geometry import Offset, Region
from textual.screen import Screen
from textual.strip import Strip
from textual.widget import Widget

from runsheet.screen.style import PLAIN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.style import Style

Line = tuple[tuple[str, "Style"], ...]
"""Pieces of one line, each with its style."""


def harmless(text: str) -> str:
    """A text of the same width without control characters: whatever a run holds, none reaches the terminal."""
    return text if text.isprintable() else "".join(c if c.isprintable() else "?" for c in text)


def clipped(text: str, width: int, *, left: bool = True, more: str = "…") -> str:
    """Fit a text to a width in cells: padded, or cut with a mark."""
    if text.isascii():
        if len(text) <= width:
            return text.ljust(width) if left else text.rjust(width)
        return text[: max(0, width - 1)] + more if width else ""
    size = cell_len(text)
    if size <= width:
        return text + " " * (width - size) if left else " " * (width - size) + text
    return set_cell_size(text, max(0, width - 1)) + more if width else ""


class Canvas(Widget):
    """A widget of lines; subclasses give `lines` and call `paint`."""

    DEFAULT_CSS = "Canvas { height: 1fr; width: 1fr; }"

    def __init__(self, **options: str) -> None:
        """Start without lines."""
        super().__init__(**options)  # type: ignore[arg-type]
        self._drawn: list[Line] = []
        self.caret = Offset(0, 0)
        """The cell or character that a key would change, as `lines` found it."""

    def lines(self, width: int, height: int) -> Sequence[Line]:
        """The lines to show at a size."""
        raise NotImplementedError

    def paint(self) -> None:
        """Take the lines anew and repaint those that changed."""
        width, height = self.size
        if not width or not height:
            return
        before = self.caret
        new = list(self.lines(width, height))[:height]
        old, self._drawn = self._drawn, new
        changed = [
            Region(0, y, width, 1)
            for y in range(max(len(old), len(new)))
            if y >= len(old) or y >= len(new) or old[y] != new[y]
        ]
        if not changed and self.caret != before:
            changed = [Region(*self.caret, 1, 1)]  # the terminal's cursor moves with a frame only
        if changed:
            self.refresh(*changed)

    def on_resize(self) -> None:
        """Take the lines for the new size."""
        self._drawn = []
        self.paint()

    def render_line(self, y: int) -> Strip:
        """One line as Textual wants it."""
        width = self.size.width
        pieces = self._drawn[y] if y < len(self._drawn) else ()
        strip = Strip([Segment(harmless(text), style) for text, style in pieces])
        # Padding without a style would end the program under NO_COLOR: Textual's filter takes one from each segment.
        return strip.adjust_cell_length(width, PLAIN)


class CanvasScreen(Screen[None], inherit_bindings=False, inherit_css=False):
    """A screen of such widgets; subclasses say which of them takes the next key."""

    # Here and not with the app, whose styles Textual reads twice before the first frame.
    DEFAULT_CSS = (Path(__file__).parent / "bench.tcss").read_text(encoding="utf-8")
    SCOPED_CSS = False

    @property
    def taking(self) -> Canvas:
        """The widget the next key goes to."""
        raise NotImplementedError

    @property
    def cursor(self) -> Offset:
        """Where on the screen the next key goes."""
        canvas = self.taking
        width, height = canvas.size
        x, y = canvas.caret
        return canvas.region.offset + Offset(max(0, min(x, width - 1)), max(0, min(y, height - 1)))
