"""The application: one screen on a terminal.

Owns: what Textual is told about the whole program. Invariant: it holds no data; the bench does.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import App

try:
    from runsheet.screen.driver import SuspendingDriver
except ImportError:  # a system without POSIX terminals
    SuspendingDriver = None  # type: ignore[assignment, misc]

if TYPE_CHECKING:
    from textual.screen import Screen


class RunsheetApp(App[object], inherit_bindings=False):
    """The app; every key is the bench's."""

    CSS_PATH = Path(__file__).parent / "bench.tcss"
    ENABLE_COMMAND_PALETTE = False
    TITLE = "runsheet"

    def __init__(self, first: Screen[None], theme: str) -> None:
        """Start with a screen, in a theme of Textual's."""
        super().__init__(driver_class=SuspendingDriver)
        self._first = first
        self.theme = theme

    def get_default_screen(self) -> Screen[None]:
        """The first screen, so that the first frame is already the run."""
        return self._first
