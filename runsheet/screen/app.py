"""The application: one screen on a terminal.

Owns: what Textual is told about the whole program, and the terminal's own cursor. Invariant: it holds no data, the
bench does; and the cursor, seen or not, stands where the next key goes: screen readers and braille lines follow it.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from textual.app import App

if sys.platform == "win32":  # it has no POSIX terminals, and nothing is suspended there
    from textual.drivers.windows_driver import WindowsDriver as Driver
else:
    from runsheet.screen.driver import SuspendingDriver as Driver

if TYPE_CHECKING:
    from textual.geometry import Offset
    from textual.screen import Screen

    from runsheet.screen.canvas import CanvasScreen

SHOW_CURSOR = "\x1b[?25h"


class CursorDriver(Driver):
    """The driver of this system, with the terminal's own cursor in sight."""

    cursor = SHOW_CURSOR

    def start_application_mode(self) -> None:
        """Show it again: Textual hides it."""
        super().start_application_mode()
        self.write(SHOW_CURSOR)


class RunsheetApp(App[object], inherit_bindings=False, inherit_css=False):
    """The app; every key is the bench's."""

    ENABLE_COMMAND_PALETTE = False
    TITLE = "runsheet"

    def __init__(self, first: CanvasScreen, theme: str, *, cursor: bool = False) -> None:
        """Start with a screen, in a theme of Textual's, with the terminal's own cursor in sight or without."""
        self._first = first
        super().__init__(driver_class=CursorDriver if cursor else Driver)
        self.theme = theme

    @property
    def cursor_position(self) -> Offset:
        """Where Textual leaves the terminal's cursor after each frame."""
        return self._first.cursor

    @cursor_position.setter
    def cursor_position(self, _place: Offset) -> None:
        """Keep to the screen's place: Textual begins with the corner."""

    def get_default_screen(self) -> Screen[None]:
        """The first screen, so that the first frame is already the run."""
        return self._first
