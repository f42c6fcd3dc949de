"""What arrives faster than a person types.

Owns: telling a scan, and a line end of two characters, from keys. Invariant: it runs nothing; a scanner's or a device's
keys come less than `FAST` apart, and each line of theirs ends with Enter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from textual.events import Key

FAST = 0.03
"""Seconds between the keys of a scan; a person's are further apart."""
WAIT = 0.05
"""Seconds after the last key until what came is no scan: longer, since a busy machine hands keys on late."""
LINE_END = 0.05
"""Seconds within which a line feed belongs to the Enter before it."""
SCAN = 3
"""Keys that make a scan, the Enter among them."""
ENDS = ("enter", "ctrl+j")
NUMBER = "0123456789+-.,"
"""Characters that begin a number."""


def waits(key: Key, after: Sequence[Key]) -> bool:
    """Whether a key may be part of a scan and must not act before that is known; a number harms nothing."""
    return key.is_printable and (bool(after) or (key.character or "") not in NUMBER)


class Burst:
    """The keys that came without a pause."""

    def __init__(self) -> None:
        """Start without any."""
        self._keys: list[Key] = []
        self._last: Key | None = None

    def second_end(self, key: Key) -> bool:
        """Whether a line feed only ends the line that the Enter before it has ended."""
        last, self._last = self._last, key
        return key.key == "ctrl+j" and last is not None and last.key == "enter" and key.time - last.time <= LINE_END

    def begins(self, key: Key) -> bool:
        """Whether a key begins a new burst: after a pause, or after the end of a line."""
        return not self._keys or self._keys[-1].key in ENDS or key.time - self._keys[-1].time > FAST

    @property
    def runs(self) -> bool:
        """Whether the last key came at once with the one before it."""
        return len(self._keys) > 1

    def add(self, key: Key) -> str:
        """Take a key; the text of the scan that it ends, or nothing."""
        self._keys = [key] if self.begins(key) else [*self._keys, key]
        *typed, end = self._keys
        whole = end.key in ENDS and len(self._keys) >= SCAN and all(each.is_printable for each in typed)
        return "".join(each.character or "" for each in typed) if whole else ""
