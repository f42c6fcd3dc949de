"""A cursor without a screen: a session, and the row that a command is about.

Owns: `Cursor`, on which stands whatever runs commands without widgets. Invariant: it is moved as the screen's is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet.screen import panes
from runsheet.work import next_step

if TYPE_CHECKING:
    from runsheet.screen.panes import Pane
    from runsheet.screen.session import Session
    from runsheet.show.columns import Column
    from runsheet.work.step import PaneName


class Cursor:
    """Where the work is."""

    def __init__(self, session: Session) -> None:
        """Begin on the next thing to do."""
        self.session = session
        self.active: PaneName = "queue"
        self.place = 0
        self.go_to_next()

    @property
    def pane(self) -> Pane[Any]:
        """The pane the cursor is in."""
        return next(pane for pane in panes.PANES if pane.name == self.active)

    @property
    def item(self) -> Any:
        """What it is on."""
        items = self.pane.items(self.session.sheet)
        return items[self.place] if self.place < len(items) else None

    @property
    def column(self) -> Column[Any]:
        """The column of the first thing to type."""
        return self.pane.columns[self.pane.home_column]

    def activate(self, name: PaneName) -> None:
        """Put the cursor into another pane."""
        if name != self.active:
            self.active, self.place = name, 0

    def go(self, place: int, *, same_column: bool = False) -> None:  # noqa: ARG002 - there is one column
        """Put it on a row."""
        self.place = place

    def go_to_next(self) -> None:
        """Put it on the next thing to do."""
        step = next_step.next_step(self.session.sheet)
        self.active, self.place = step.pane, step.row

    def recompute(self) -> None:
        """Compute the run."""
        self.session.recompute()
