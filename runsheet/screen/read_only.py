"""A run that is only looked at, in the place of a store.

Owns: `ReadOnlyStore`, which follows the files another program writes. Invariant: it writes nothing.
"""

from __future__ import annotations

import errno
from typing import TYPE_CHECKING, NoReturn

from runsheet.problem import Problem
from runsheet.run.edit import EditError

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.run.disk.opening import Follower
    from runsheet.run.model import Run


READ_ONLY = "read-only: nothing can be changed here"


class ReadOnlyStore:
    """What the bench needs of a store, for a run nobody writes from here."""

    saved_at = None
    pending = 0
    conflict = None
    drafted = None
    came_back = 0
    unkept: tuple[str, ...] = ()
    lost = 0
    last_step = 0
    copied = None

    def __init__(self, follower: Follower, run: Run) -> None:
        """Take the run as it stands."""
        self._follower, self.run = follower, run
        self.notes = follower.found.notes

    @property
    def rescued(self) -> int:
        """Entries that are in no log on its disk, but in a rescue."""
        return self._follower.found.rescued

    @property
    def trouble(self) -> str:
        """Why the run cannot be followed just now: what is shown is as it was."""
        return self._follower.trouble or ("" if self._follower.found.readable else "the document has errors")

    def refresh(self) -> bool:
        """Take what another program has written since; say whether anything was."""
        if not self._follower.refresh():
            return False
        found = self._follower.found
        if found.run is not None and found.readable:
            self.run = found.run
            return True
        return False

    def accept(self, *_: object, **__: object) -> NoReturn:
        """Refuse."""
        raise EditError(Problem("", READ_ONLY))

    def begin(self, _now: datetime) -> None:
        """Begin nothing: no log of ours is written."""

    def undo(self, _now: datetime) -> None:
        """Do nothing: there is nothing of ours to undo."""

    def redo(self, _now: datetime) -> None:
        """Do nothing."""

    def draft(self, _typed: str, _place: str) -> None:
        """Keep nothing."""

    def copy_to(self, _folder: object) -> NoReturn:
        """Refuse."""
        raise OSError(errno.EROFS, "read-only: nothing is kept from here")

    def flush(self, _timeout: float = 0) -> bool:
        """Say that nothing waits."""
        return True

    def close(self, _timeout: float = 0) -> bool:
        """End; there is nothing to save."""
        return True
