"""The half-typed entry on the disk, off the way of a key.

Owns: `DraftFile`. Invariant: a key waits for no disk; what was typed last is written at most `EVERY` seconds later, and
at once when the run is closed. It is a convenience: a disk that fails is no trouble.
"""

from __future__ import annotations

import contextlib
import os
import queue
import threading
import time
from typing import TYPE_CHECKING

from runsheet.run.disk import files, state

if TYPE_CHECKING:
    from pathlib import Path

EVERY = 0.5
"""Seconds between two writings at the least."""


class DraftFile:
    """The file, written by a thread of its own from the first key on."""

    def __init__(self, path: Path) -> None:
        """Keep it at `path`."""
        self.path = path
        self._wanted: bytes | None = None
        self._written: bytes | None = None
        self._bell: queue.SimpleQueue[None] = queue.SimpleQueue()  # whose put may be interrupted by another put
        self._turn = threading.RLock()
        self._thread: threading.Thread | None = None

    def keep(self, data: bytes | None) -> None:
        """Have this written soon; None: have the file forgotten."""
        if data is None and self._thread is None and not self.path.exists():
            return
        self._wanted = data
        if self._thread is None:
            self._written = b""  # whatever is there
            self._thread = threading.Thread(target=self._run, daemon=True)
            self._thread.start()
        self._bell.put(None)

    def write(self, timeout: float = -1) -> None:
        """Write what is wanted, now."""
        if not self._turn.acquire(timeout=timeout):
            return
        try:
            while self._thread is not None and self._written != (data := self._wanted):
                with contextlib.suppress(OSError):
                    _put(self.path, data)
                self._written = data
        finally:
            self._turn.release()

    def _run(self) -> None:
        while True:
            self._bell.get()
            with contextlib.suppress(queue.Empty):
                while True:  # what came meanwhile is written in one go
                    self._bell.get_nowait()
            self.write()
            time.sleep(EVERY)


def _put(path: Path, data: bytes | None) -> None:
    if data is None:
        path.unlink(missing_ok=True)
        return
    state.private(path.parent)
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, files.PRIVATE)
    try:
        os.write(fd, data)
    finally:
        os.close(fd)
