"""The application: one screen on a terminal.

Owns: what Textual is told about the whole program. Invariant: it holds no data; the bench does.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from textual.app import App

DRIVER: type[Driver] | None
if sys.platform == "win32":  # it has no POSIX terminals, and nothing is suspended there
    DRIVER = None
else:
    from runsheet.screen import driver

    DRIVER = driver.SuspendingDriver

if TYPE_CHECKING:
    from textual.driver import Driver
    from textual.screen import Screen


class RunsheetApp(App[object], inherit_bindings=False):
    """The app; every key is the bench's."""

    CSS_PATH = Path(__file__).parent / "bench.tcss"
    ENABLE_COMMAND_PALETTE = False
    TITLE = "runsheet"

    def __init__(self, first: Screen[None], theme: str) -> None:
        """Start with a screen, in a theme of Textual's."""
        super().__init__(driver_class=DRIVER)
        self._first = first
        self.theme = theme

    def get_default_screen(self) -> Screen[None]:
        """The first screen, so that the first frame is already the run."""
        return self._first
