"""A table with a cursor that is its own editor.

Owns: where the cursor is, which columns and rows are in sight, the entry being typed. Invariant: it shows what its pane
gives and never computes; what is typed goes to the bench, which decides.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any, NamedTuple

from rich.cells import cell_len
from textual.geometry import Offset

from runsheet.figures import visible
from runsheet.screen.canvas import Canvas, Line, clipped

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from rich.style import Style

    from runsheet.screen.panes import Pane
    from runsheet.screen.style import Look
    from runsheet.screen.typing_line import TypingLine

GAP = 1


class Filter(NamedTuple):
    """Which rows are shown."""

    name: str
    keep: Callable[[Any], bool]


class Grid(Canvas):
    """The table of one pane."""

    def __init__(self, pane: Pane[Any], look: Look) -> None:
        """Show a pane."""
        super().__init__(id=pane.name, classes="grid")
        self.pane, self.look = pane, look
        self.empty = pane.empty
        self.items: Sequence[Any] = ()
        self.places: Sequence[int] = ()
        self.filter: Filter | None = None
        self.row, self.column = 0, pane.home_column
        self._top, self._first = 0, pane.fixed
        self._widths: dict[int, int] = {}
        self.entry: TypingLine | None = None
        self.proposal = ""
        """What the photometer sent to the cell the cursor is on; it is no entry."""
        self.active = False
        self.summary = ""
        self.notes: Sequence[str] = ()

    # --- what it shows ------------------------------------------------------------------------------------------

    def show(self, items: Sequence[Any], summary: str, notes: Sequence[str] = ()) -> None:
        """Take the items of a new sheet and repaint what changed."""
        keep = self.filter.keep if self.filter else None
        here = self.place
        self.places = [at for at, item in enumerate(items) if keep is None or keep(item) or at == here]
        self.notes = notes
        self.items, self.summary = [items[at] for at in self.places], summary
        self.row = max(0, min(self.row, len(self.items) - 1))
        if here in self.places:
            self.row = self.places.index(here)
        self.paint()

    @property
    def place(self) -> int:
        """The place in the document's array of the row the cursor is on, from 0, whatever the filter hides."""
        return self.places[self.row] if 0 <= self.row < len(self.places) else self.row

    def lines(self, width: int, height: int) -> list[Line]:
        """The title, the columns' titles and the rows in sight."""
        if height < 3:
            self.caret = Offset(0, 0)
            return [self._title(width, "")]
        shown = self._columns_in_sight(width)
        room = height - 2
        self._scroll_to_row(room)
        body = range(self._top, min(len(self.items), self._top + room))
        self._widths = self._widened(shown, body, width)
        self.caret = self._caret(shown)
        titles, where = self._titles(shown), self._where(shown)
        apart = len(titles) + len(where) > width
        title = self._title(width, where if apart else "")
        lines = [title, self._header(titles, "" if apart else where, width), *(self._line(at, shown) for at in body)]
        if not self.items:
            lines.append(((clipped(self.empty, width), self.look.plain()),))
        notes = [part for note in self.notes for part in _wrapped(visible(note), width)]
        notes = ["", *notes] if notes else []
        return [*lines, *(((clipped(note, width), self.look.plain()),) for note in notes)]

    def _columns_in_sight(self, width: int) -> list[int]:
        """The columns that fit, the fixed ones always among them and the cursor's too."""
        columns, fixed = self.pane.columns, self.pane.fixed
        if self.column < self._first:
            self._first = max(fixed, self.column)
        while True:
            shown = list(range(fixed))
            used = sum(columns[at].width for at in shown) + GAP * (fixed - 1)
            for at in range(self._first, len(columns)):
                if used + GAP + columns[at].width > width:
                    break
                shown.append(at)
                used += GAP + columns[at].width
            if self.column in shown or self._first >= self.column:
                return shown
            self._first += 1

    def _widened(self, shown: list[int], body: range, width: int) -> dict[int, int]:
        """The width of each column: room that is left over goes to those whose texts would be cut."""
        columns = self.pane.columns
        widths = {at: columns[at].width for at in shown}
        free = width - sum(widths.values()) - GAP * (len(shown) - 1)
        if free <= GAP:
            return widths
        for at in shown:
            needed = max((len(visible(columns[at].text(self.items[row]))) for row in body), default=0)
            more = max(0, min(free, needed - widths[at]))
            widths[at], free = widths[at] + more, free - more
        return widths

    def _scroll_to_row(self, height: int) -> None:
        if self.row < self._top:
            self._top = self.row
        elif self.row >= self._top + height:
            self._top = self.row - height + 1
        self._top = max(0, min(self._top, len(self.items) - height))

    def _title(self, width: int, where: str) -> Line:
        """Name the pane and its state; the pane with the cursor is marked."""
        mark = "> " if self.active else "  "
        only = f", only {self.filter.name}" if self.filter else ""
        room = width - len(where)
        text = clipped(f"{mark}{self.pane.title}{only}: {visible(self.summary)}", room, more=self.look.more) + where
        return ((text, self.look.strong() if self.active else self.look.plain()),)

    def _titles(self, shown: list[int]) -> str:
        columns, more = self.pane.columns, self.look.more
        cells = (clipped(columns[at].title, self._widths[at], left=columns[at].left, more=more) for at in shown)
        return (" " * GAP).join(cells)

    def _where(self, shown: list[int]) -> str:
        """Which row of how many the cursor is on, and whether columns follow to the right."""
        place = f"{self.row + 1}/{len(self.items)}" if self.items else ""
        return f" {place}{'>' if shown[-1] < len(self.pane.columns) - 1 else ''}"

    def _header(self, titles: str, where: str, width: int) -> Line:
        return ((clipped(titles, max(0, width - len(where)), more=self.look.more) + where, self.look.head()),)

    def _line(self, at: int, shown: list[int]) -> Line:
        """One row: neighbouring pieces of one style as one, since each style costs on a slow line."""
        item, plain = self.items[at], self.look.plain()
        pieces: list[tuple[str, Style]] = []
        for number, column in enumerate(shown):
            text, style = self._cell(at, item, column, plain)
            gap = " " * GAP if number else ""
            if gap:
                _append(pieces, gap, plain)
            _append(pieces, text, style)
        return tuple(pieces)

    def _cell(self, at: int, item: Any, number: int, plain: Style) -> tuple[str, Style]:
        column, width = self.pane.columns[number], self._widths[number]
        here = at == self.row and number == self.column
        if here and self.entry is not None:
            text, caret = self.entry.window(width)
            return clipped(text, width) if caret < width else text, self.look.entry()
        if here and self.proposal:
            return clipped(self.proposal, width, left=False, more=self.look.more), self.look.entry()
        text = clipped(visible(column.text(item)), width, left=column.left, more=self.look.more)
        if here:
            return text, self.look.cursor(active=self.active)
        word = self.pane.mark(item, column)
        return text, self.look.state(word) if word else plain

    def _caret(self, shown: list[int]) -> Offset:
        """Where the entry is being typed, or else where the text of the cursor's cell begins."""
        if self.column not in shown:  # too narrow for any but the fixed columns
            return Offset(0, 2 + self.row - self._top)
        x = sum(self._widths[at] + GAP for at in shown[: shown.index(self.column)])
        width = self._widths[self.column]
        if self.entry is not None:
            text, caret = self.entry.window(width)
            x += cell_len(text[:caret])
        elif self.item is not None:
            text, _ = self._cell(self.row, self.item, self.column, self.look.plain())
            x += len(text) - len(text.lstrip()) if text.strip() else 0
        return Offset(x, 2 + self.row - self._top)

    # --- the cursor ---------------------------------------------------------------------------------------------

    def move(self, rows: int = 0, columns: int = 0) -> None:
        """Move the cursor within the table."""
        self.row = max(0, min(self.row + rows, len(self.items) - 1))
        self.column = max(0, min(self.column + columns, len(self.pane.columns) - 1))
        self.paint()

    def tab(self, by: int) -> None:
        """Move to the next column there is something to type in; without one by a column."""
        columns = self.pane.columns
        way = range(self.column + by, len(columns) if by > 0 else -1, by)
        typed = next((at for at in way if columns[at].edits), None)
        if typed is not None:
            self.move(columns=typed - self.column)
        elif not any(column.edits for column in columns):
            self.move(columns=by)

    def go(self, place: int, key: str | None = None) -> None:
        """Put the cursor on the row at a place of the document, and on the column of a key."""
        if self.filter is not None and place not in self.places:
            self.filter = None
        row = self.places.index(place) if place in self.places else place
        self.row = max(0, min(row, len(self.items) - 1))
        if key is not None:
            self.column = next((at for at, c in enumerate(self.pane.columns) if c.key == key), self.column)
        self.paint()

    @property
    def page(self) -> int:
        """How many rows a page is."""
        return max(1, self.size.height - 3)

    @property
    def item(self) -> Any:
        """What the cursor is on; None in an empty table."""
        return self.items[self.row] if 0 <= self.row < len(self.items) else None


def _wrapped(note: str, width: int) -> list[str]:
    """Wrap a note; one that fits stays as it is, drawn or not."""
    return [note] if len(note) <= width else textwrap.wrap(note, width)


def _append(pieces: list[tuple[str, Style]], text: str, style: Style) -> None:
    if pieces and pieces[-1][1] is style:
        pieces[-1] = (pieces[-1][0] + text, style)
    else:
        pieces.append((text, style))
