"""A program on a pseudo-terminal: keys in; the screen's text, bytes and times out. Standard library and pyte."""

from __future__ import annotations

import contextlib
import os
import re
import select
import signal
import struct
import sys
import time
from typing import TYPE_CHECKING

import pytest

try:
    import fcntl
    import pty
    import termios
except ImportError:
    pytest.skip("this system has no pseudo-terminals", allow_module_level=True)

import pyte

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

QUERIES = re.compile(rb"\x1b\[[<>=?][0-9;]*[$a-zA-Z]+|\x1b\[[0-9;]*\$[a-z]")
"""What pyte does not know and would print."""

KEYS = {
    "f3": "\x1bOR",
    "f4": "\x1bOS",
    "enter": "\r",
    "escape": "\x1b",
    "tab": "\t",
    "up": "\x1b[A",
    "down": "\x1b[B",
    "right": "\x1b[C",
    "left": "\x1b[D",
}
PROGRAM = (sys.executable, "-m", "runsheet")


class Terminal:
    """A child program on a terminal of its own."""

    def __init__(
        self, command: Sequence[str], size: tuple[int, int] = (80, 24), env: Mapping[str, str] | None = None
    ) -> None:
        """Start the command."""
        columns, rows = size
        environment = {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", **(env or {})}
        for name in (
            ("COLUMNS", "LINES", "TMUX", "NO_COLOR") if "NO_COLOR" not in (env or {}) else ("COLUMNS", "LINES", "TMUX")
        ):
            environment.pop(name, None)
        self.started = time.perf_counter()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            fcntl.ioctl(0, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
            os.execvpe(command[0], list(command), environment)  # noqa: S606 - the tests run the program itself
        self.resize(columns, rows)
        self.chunks: list[tuple[float, bytes]] = []
        self.ended = False
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)
        self._fed = 0

    def resize(self, columns: int, rows: int) -> None:
        """The terminal another size."""
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        if hasattr(self, "_screen"):
            self._screen.resize(rows, columns)

    def send(self, *keys: str | bytes) -> None:
        """Send keys by name or characters."""
        for key in keys:
            os.write(self.fd, key if isinstance(key, bytes) else KEYS.get(key, key).encode())

    def pump(self, seconds: float) -> bool:
        """Take what the program writes within some seconds; say whether anything came."""
        ready, _, _ = select.select([self.fd], [], [], max(0, seconds))
        if not ready:
            return False
        try:
            data = os.read(self.fd, 1 << 16)
        except OSError:
            data = b""
        if not data:
            self.ended = True
            return False
        self.chunks.append((time.perf_counter(), data))
        return True

    def settle(self, quiet: float = 0.15, limit: float = 5.0) -> None:
        """Take output until none comes for a while."""
        end = time.perf_counter() + limit
        while not self.ended and time.perf_counter() < end and self.pump(quiet):
            pass

    def _feed(self) -> pyte.Screen:
        for _, data in self.chunks[self._fed :]:
            self._stream.feed(QUERIES.sub(b"", data))
        self._fed = len(self.chunks)
        return self._screen

    def cursor(self) -> tuple[int, int]:
        """The column and line of the terminal's own cursor, from 0."""
        cursor = self._feed().cursor
        return cursor.x, cursor.y

    def shows_cursor(self) -> bool:
        """Whether the terminal's own cursor is in sight."""
        output = b"".join(data for _, data in self.chunks)
        return output.rfind(b"\x1b[?25h") > output.rfind(b"\x1b[?25l")

    def reversed_cell(self) -> tuple[int, int, str]:
        """The column and line where the one stretch in reverse video begins, and its text; there must be one."""
        buffer = self._feed().buffer
        places = [
            (y, x) for y in range(self._screen.lines) for x in range(self._screen.columns) if buffer[y][x].reverse
        ]
        y, x = places[0]
        assert places == [(y, x + more) for more in range(len(places))]
        return x, y, "".join(buffer[at[0]][at[1]].data for at in places)

    def text(self) -> str:
        """The screen as it stands."""
        self._feed()
        return "\n".join(line.rstrip() for line in self._screen.display)

    def wait(self, words: str, limit: float = 20.0) -> float:
        """Wait until words are on the screen; give the seconds since the start. Fails the test when they never are."""
        end = time.perf_counter() + limit
        while time.perf_counter() < end and not self.ended:
            if words in self.text():
                return self.chunks[-1][0] - self.started
            self.pump(0.2)
        raise AssertionError(f"{words!r} did not come:\n{self.text()}")

    def exit_code(self, limit: float = 10.0) -> int:
        """Wait for the program to end; give its exit code, negative for a signal."""
        end = time.perf_counter() + limit
        while time.perf_counter() < end:
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                self.settle(0.5)  # what it wrote last: a busy system hands it on late
                return os.waitstatus_to_exitcode(status)
            self.pump(0.05)
        self.kill()
        raise AssertionError(f"the program did not end:\n{self.text()}")

    def kill(self, number: int = signal.SIGKILL) -> None:
        """Send the program a signal."""
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, number)

    def hang_up(self) -> None:
        """Take the terminal away, as a dropped line does."""
        os.close(self.fd)
