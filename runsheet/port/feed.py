"""Lines from a photometer's port, as they come.

Owns: `Feed` and its thread. Invariant: one thread, which ends when asked; a port that goes is tried again until it
comes back; no line is joined from before and after, and each has the time its end came.
"""

from __future__ import annotations

import contextlib
import selectors
import socket
import sys
import threading
import time
from collections import deque
from typing import TYPE_CHECKING, NamedTuple

from runsheet.port import network
from runsheet.port.lines import HALF, PIECE, Cut, Splitter

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from datetime import datetime

    from runsheet.port.named import Port
    from runsheet.port.network import Connection

    if sys.platform == "win32":
        Device = Connection
    else:
        from runsheet.port.device import Device

RETRY = 0.5
"""Seconds until a port that is not there is tried again, and a FIFO nobody writes to is looked at."""
ANSWER = 5.0
"""Seconds a host has to answer."""
UNDER_WAY = 0.05
"""What comes so soon after a serial device is opened was being sent already."""
BREATH = 0.02
"""Seconds between two full pieces, of which a serial line sends three a second at most."""
STOPPED = 1.0
"""Seconds more than a wait can take: the program was stopped, or a machine is busier than any."""
KEPT = 1000
"""Lines kept for a screen that does not fetch them."""


class Line(NamedTuple):
    """One line."""

    raw: str
    at: datetime
    """When its end came."""
    why: str = ""
    """Why it is no whole line; empty where it is one."""


class State(NamedTuple):
    """Whether the port is open."""

    connected: bool
    since: datetime
    why: str = ""
    """Why it is not."""


class Feed:
    """The lines of one port."""

    def __init__(self, port: Port, clock: Callable[[], datetime], tell: Callable[[], None]) -> None:
        """Read a port; `tell` is called, in the feed's thread, when there is something to fetch."""
        self.port, self._clock, self._tell = port, clock, tell
        self.state = State(connected=False, since=clock(), why="it is being opened")
        self._lines: deque[Line] = deque(maxlen=KEPT)
        self._lost = 0
        self._untold = threading.Lock()
        self._told = False
        self._ended = False
        self._thread = threading.Thread(target=self._run, name="photometer", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._wake, self._bell = socket.socketpair()
        self._thread.start()

    def fetch(self) -> tuple[Sequence[Line], int]:
        """The lines since the last time, and how many before them were more than could be kept."""
        with self._untold:
            lines, lost = tuple(self._lines), self._lost
            self._lines.clear()
            self._told, self._lost = False, 0
        return lines, lost

    def close(self, timeout: float = 1.0) -> None:
        """End the thread and close the port; a second time it does nothing."""
        if not self._ended and self._thread.ident is not None:
            self._ended = True
            self._bell.close()
            self._thread.join(timeout)

    # --- the thread -------------------------------------------------------------------------------------------------

    def _run(self) -> None:
        with self._wake:
            while not self._ended:
                try:
                    with contextlib.closing(self._opened()) as source:
                        self._listen(source)
                except (OSError, UnicodeError) as error:  # a host's name may be none
                    self._is(why=getattr(error, "strerror", None) or str(error))
                self._pause(RETRY)

    def _opened(self) -> Device | Connection:
        if sys.platform != "win32" and self.port.path:
            from runsheet.port.device import Device

            return Device(self.port)
        return network.connect(self.port, lambda wire: self._wait(wire, selectors.EVENT_WRITE, ANSWER))

    def _listen(self, source: Device | Connection) -> None:
        """Take lines until the port is gone or the feed ends."""
        serial = bool(self.port.path) and not source.is_fifo
        splitter = Splitter(begun=serial and self._wait(source, selectors.EVENT_READ, UNDER_WAY))
        while not self._ended:
            data, why = _read(source)
            if why and not (source.is_fifo and not source.replaced):
                self._add(splitter.give_up("the port went in the middle of it"))
                self._is(why=why)
                return
            self._is(why="nobody writes to it" if why else "")
            if why:
                self._add(splitter.give_up("the writer left in the middle of it"))
                self._pause(RETRY)
            self._add(splitter.take(data, time.monotonic()))
            if len(data) == PIECE:  # a flood is no photometer, and keys come first
                self._pause(BREATH)
            if not data and not why and not self._more_comes(source, splitter) and source.replaced:
                self._is(why="something else has its name now")
                return

    def _more_comes(self, source: Device | Connection, splitter: Splitter) -> bool:
        """Wait for more; what came while the program was stopped has no time, and is no line to be taken."""
        began = time.monotonic()
        comes = self._wait(source, selectors.EVENT_READ, HALF)
        if time.monotonic() - began > HALF + STOPPED:
            cuts = splitter.take(_read(source)[0], time.monotonic())
            self._add(cut._replace(why=cut.why or "the program was stopped when it came") for cut in cuts)
        return comes

    def _wait(self, source: Device | Connection | socket.socket, what: int, seconds: float) -> bool:
        """Wait until a source is ready, the time is over or the feed ends; whether it is ready."""
        with selectors.DefaultSelector() as waiting:
            waiting.register(self._wake, selectors.EVENT_READ)
            waiting.register(source, what)
            return any(key.fileobj is source for key, _ in waiting.select(seconds))

    def _pause(self, seconds: float) -> None:
        with selectors.DefaultSelector() as waiting:
            waiting.register(self._wake, selectors.EVENT_READ)
            waiting.select(seconds)

    def _add(self, cuts: Iterable[Cut]) -> None:
        lines = [Line(cut.raw, self._clock(), cut.why) for cut in cuts]
        if lines:
            with self._untold:
                self._lost += max(0, len(self._lines) + len(lines) - KEPT)
                self._lines.extend(lines)
            self._say()

    def _is(self, why: str = "") -> None:
        """Note whether the port is open, and since when."""
        if (self.state.connected, self.state.why) != (not why, why):
            since = self.state.since if bool(why) != self.state.connected else self._clock()
            self.state = State(not why, since, why)
            self._say()

    def _say(self) -> None:
        with self._untold:
            told, self._told = self._told, True
        if not told and not self._ended:
            self._tell()


def _read(source: Device | Connection) -> tuple[bytes, str]:
    """What has come, and why nothing more will."""
    try:
        data = source.read()
    except OSError as error:
        return b"", error.strerror or str(error)
    return data or b"", "the other end is closed" if data == b"" else ""
