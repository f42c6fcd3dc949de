"""The terminal given to the shell when the program is suspended, and the screen whole when it goes on.

Owns: `SuspendingDriver`, what Textual's own driver does at SIGTSTP and SIGCONT put right. Invariant: after a stop of
any kind the terminal is the program's again, drawn anew, and read by one thread.

Textual draws nothing anew after SIGCONT. After SIGSTOP, which nobody hears of, it starts all it has a second time: two
threads read the keys, and the terminal is never given back. It also does all this inside the signal handler, where a
lock may be held by what was interrupted; here it waits for the event loop.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from typing import TYPE_CHECKING, Any

assert sys.platform != "win32"  # noqa: S101 - nothing here is loaded there

import termios  # noqa: E402

from textual.drivers.linux_driver import LinuxDriver  # noqa: E402

if TYPE_CHECKING:
    from textual.app import App

TAKE = "\x1b[?1049h\x1b[?1004h\x1b[?2004h\x1b[?7l"
"""The alternate screen, focus reports, bracketed paste, no wrapped lines: what a shell may have undone."""
BELOW = "\x1b[999;1H\r\n"
"""Below all that is drawn: a terminal without an alternate screen goes on there."""
HIDE_CURSOR = "\x1b[?25l"


class SuspendingDriver(LinuxDriver):
    """Textual's driver for POSIX terminals, suspended and resumed as a whole."""

    cursor = HIDE_CURSOR
    """Whether the terminal's own cursor is seen."""

    def __init__(self, app: App[Any], **more: Any) -> None:
        """Listen for both signals."""
        super().__init__(app, **more)
        self._away, self._draw = False, app.refresh
        self._own: list[Any] = []
        loop = asyncio.get_running_loop()
        signal.signal(signal.SIGTSTP, lambda *_: loop.call_soon_threadsafe(self.suspend))
        signal.signal(signal.SIGCONT, lambda *_: loop.call_soon_threadsafe(self.resume))

    def suspend(self) -> None:
        """Give the terminal to the shell and stand still."""
        if not self._away:
            self.suspend_application_mode()
            self._away = True
        os.kill(os.getpid(), signal.SIGSTOP)

    def resume(self) -> None:
        """Take the terminal again and draw all of the screen."""
        if not self._away:
            termios.tcsetattr(self.fileno, termios.TCSANOW, self._own)
            self.write(TAKE + self.cursor)
        else:
            self.resume_application_mode()
            self._away = self._cooked()  # in the background: we were stopped once more
        if not self._away:
            self._draw(layout=True)

    def start_application_mode(self) -> None:
        """Remember how the terminal is set for us."""
        super().start_application_mode()  # type: ignore[no-untyped-call]
        self._own = termios.tcgetattr(self.fileno)

    def stop_application_mode(self) -> None:
        """Give the terminal back."""
        self.write(BELOW)
        super().stop_application_mode()

    def _cooked(self) -> bool:
        return bool(termios.tcgetattr(self.fileno)[3] & termios.ICANON)
