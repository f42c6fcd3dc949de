"""Bytes as they come, cut into lines.

Owns: `Splitter`. Invariant: however the bytes are cut into pieces the lines are the same, none is longer than
`LONGEST`, and what is no whole line is told as such.

A line ends with CR, LF or both. A half line whose end does not come within `HALF` is no line: what comes later would be
joined to it, and 0.1 and 0.23 make a number that nobody read. Nor is the rest of one that began before the port was
open: of 123.4 the last 23.4 looks like a reading too.
"""

from __future__ import annotations

import re
from typing import NamedTuple

PIECE = 4096
"""Bytes taken from a port at a time."""
LONGEST = 200
"""Bytes of a line."""
HALF = 2.0
"""Seconds a line may take."""
_END = re.compile(rb"[\r\n]")


class Cut(NamedTuple):
    """What stood between two ends of a line."""

    raw: str
    """Bytes that are no UTF-8 as escapes."""
    why: str = ""
    """Why it is no line; empty where it is one."""


class Splitter:
    """The bytes of one opening of a port."""

    def __init__(self, *, begun: bool = False) -> None:
        """Start at the beginning of a line, or within one that has `begun`."""
        self._held, self._begun, self._long = b"", begun, False
        self._since = 0.0
        """When the half line that is held began."""

    def take(self, data: bytes, now: float) -> list[Cut]:
        """The lines that some bytes end, or the half line whose end has not come; `now` is a clock's, in seconds."""
        made = self.give_up(f"its end did not come within {HALF:g} s") if now - self._since > HALF else []
        *ended, rest = _END.split(data)
        for piece in ended:
            self._hold(piece, now)
            made += self._cut()
            self._begun = False
        self._hold(rest, now)
        return made

    def give_up(self, why: str) -> list[Cut]:
        """The half line that is held, as none."""
        held, self._held, self._long = self._held, b"", False
        return [Cut(_text(held), why)] if held else []

    def _hold(self, piece: bytes, now: float) -> None:
        if not self._held:
            self._since = now
        self._held += piece
        if len(self._held) > LONGEST:
            self._held, self._long = self._held[:LONGEST], True

    def _cut(self) -> list[Cut]:
        if self._long:
            return self.give_up(f"more than {LONGEST} characters without an end")
        if self._begun:
            return self.give_up("it may have begun before the port was open")
        held, self._held = self._held, b""
        return [Cut(_text(held))] if held.strip() else []


def _text(held: bytes) -> str:
    return held.decode("utf-8", "backslashreplace")
