"""A run as it stands on the disk: the document, the log ahead of it, and what both come to.

Owns: `RunOnDisk`, `look`, `verify`, `Follower`. Invariant: nothing here writes. An accepted reading is in `run`,
from the document, from the log, or from the part of the log that the state folder kept.

A document changed between two openings is taken as it stands, and what the log led to is kept as
`NAME.ours-TIME.toml`; undo does not cross such a point.
"""

from __future__ import annotations

import errno
import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from runsheet.problem import Problem, has_errors
from runsheet.run import edit, text
from runsheet.run.disk import copies, files, log, replay, rescue
from runsheet.run.disk.files import DISK, Disk, Identity, digest

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.run.disk.log import ReadLog
    from runsheet.run.disk.rescue import Joined
    from runsheet.run.model import Run


@dataclass(frozen=True, slots=True)
class RunOnDisk:
    """A document, its log, and the run that both make."""

    data: bytes | None
    """The document as it stands; None: it is not there."""
    run: Run | None
    problems: tuple[Problem, ...]
    log: ReadLog
    log_bytes: bytes
    """Its whole steps, with what a rescue has of them."""
    safe: int
    """Bytes of it that are in the log on the disk."""
    torn: bytes
    """What stands after those in the log on the disk: of an edit that was never accepted, or not to be read."""
    unreadable: bool
    """Whether that cannot be read, as after a power cut."""
    rescue: Joined
    """What is kept of the log elsewhere."""
    logged: bool = False
    """Whether the log's file is there, be it empty."""
    ahead: int = 0
    """Entries the document does not have yet; `run` has them."""
    behind: bool = False
    """Whether the document lacks anything of `run`, be it the log's name alone."""
    known: bool = False
    """Whether the log leads to `run`."""
    notes: tuple[str, ...] = ()
    """What a person should be told."""

    @property
    def rescued(self) -> int:
        """How many entries are not in the log on the disk, but in a rescue."""
        return log.entries_in(self.log_bytes[self.safe :])

    @property
    def told(self) -> bytes | None:
        """All bytes of the log, with what a rescue has of it; None where there is neither."""
        return self.log_bytes or self.torn or (b"" if self.logged else None)

    @property
    def readable(self) -> bool:
        """Whether `run` may be computed from."""
        return self.run is not None and not has_errors(self.problems)

    @property
    def log_leads_elsewhere(self) -> bool:
        """Whether the log leads to another document than stands there."""
        return self.readable and bool(self.log.steps) and not self.known


def look(document: Path, disk: Disk = DISK) -> RunOnDisk:
    """Read a document and its log. Raises OSError where there is neither, or they cannot be read."""
    data = _read(disk, document, files.LARGEST_DOCUMENT)  # before the log, which is always written first
    log_file = _read(disk, files.log_of(document))
    on_disk = log_file or b""
    own = log.parse(on_disk)
    joined = rescue.join(disk, document, on_disk[: own.whole], data)
    run, problems = (None, []) if data is None else parsed(data)
    told = _rescued(joined, own.whole)
    joined = _with_issue(joined, document, run, disk)
    read_log = log.parse(joined.data)
    found = RunOnDisk(
        data,
        run,
        tuple(problems),
        read_log,
        joined.data,
        own.whole,
        on_disk[own.whole :],
        own.unreadable,
        joined,
        log_file is not None,
        notes=(*joined.notes, *told),
    )
    if data is None:
        return _rebuilt(found, document)
    return _brought_up(found, run, data) if run is not None and found.readable else found


def _with_issue(joined: Joined, document: Path, run: Run | None, disk: Disk) -> Joined:
    """The log with the step of an issue that was cut off between the register and it."""
    found = copies.broken_off(document, run.run.id, joined.data, disk) if run and joined.data else None
    if found is None:
        return joined
    line, step = found
    note = f"{line.number} is issued, by the register; opening the run for work writes that into it"
    return joined._replace(data=joined.data + step, notes=(*joined.notes, note))


def _rescued(joined: Joined, safe: int) -> list[str]:
    count = log.entries_in(joined.data[safe:])
    words = f"{count} {'entry' if count == 1 else 'entries'} of its log are kept in"
    return [f"{words} {', '.join(map(str, joined.used))}"] if count else []


def verify(path: Path, disk: Disk = DISK) -> list[Problem]:
    """Find what is wrong with a run's log and document as they stand. Raises OSError, also where there is no log."""
    document = files.real(path)
    data = _read(disk, document, files.LARGEST_DOCUMENT)  # before the log, which may grow meanwhile
    on_disk = _read(disk, files.log_of(document))
    own = log.parse(on_disk or b"")
    whole = (on_disk or b"")[: own.whole]
    joined = rescue.join(disk, document, whole, data)
    if on_disk is None and not joined.data:
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(files.log_of(document)))
    told = [Problem("", words, "warning") for words in (*joined.notes, *_rescued(joined, len(whole)))]
    if not joined.used:
        return [*replay.verify(on_disk or b"", data), *told]
    return [*replay.verify(joined.data, data), *replay.unfinished(own, on_disk or b""), *told]


def _read(disk: Disk, path: Path, largest: int = files.LARGEST) -> bytes | None:
    try:
        return disk.read(path, largest)
    except OSError as error:
        if error.errno in files.NOT_THERE:
            return None
        raise


def parsed(data: bytes) -> tuple[Run | None, list[Problem]]:
    """Read a document's bytes as `text.read` reads its text."""
    try:
        return text.read(data.decode())
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        return None, [Problem("", f"expected UTF-8 text, found the byte 0x{data[error.start]:02X}", line=line)]


def _rebuilt(found: RunOnDisk, document: Path) -> RunOnDisk:
    """Make the run from the log alone, which holds all of it."""
    steps = found.log.since_start()
    try:
        run = replay.replay(None, steps)
    except edit.EditError:
        raise FileNotFoundError(f"{document.name} is not there, and no log to make it from") from None
    note = f"{document.name} was missing: this is the run its log holds"
    return replace(
        found, run=run, ahead=sum(step.count for step in steps), behind=True, known=True, notes=(*found.notes, note)
    )


def _brought_up(found: RunOnDisk, run: Run, data: bytes) -> RunOnDisk:
    """Add to the document what the log has ahead of it, where the log knows the document."""
    later = found.log.after(digest(data))
    if later is None:
        changed = "the document was changed outside, or its log was: it is taken as it stands"
        return replace(found, notes=(*found.notes, changed) if found.log.steps else found.notes)
    try:
        run = replay.replay(run, later)
    except edit.EditError as error:
        unfitting = f"the log does not fit the document, which is taken as it stands: {error}"
        return replace(found, notes=(*found.notes, unfitting))
    return replace(found, run=run, ahead=sum(step.count for step in later), behind=bool(later), known=True)


class Follower:
    """A run that is only read, and followed while another program writes it."""

    def __init__(self, path: Path, disk: Disk = DISK) -> None:
        """Read it. Raises OSError."""
        self._document, self._disk = files.real(path), disk
        self._trouble = ""
        self._seen = self._stand()
        self.found = look(self._document, disk)

    @property
    def trouble(self) -> str:
        """Why it cannot be read just now, and `found` is as it was; or why what is shown is not in the document."""
        gone = f"{self._document.name} is gone; what is shown is from its log" if self.found.data is None else ""
        return self._trouble or gone

    def refresh(self) -> bool:
        """Read it again if it changed; False where it did not, or cannot be read just now: see `trouble`."""
        try:
            seen = self._stand()
            changed = seen != self._seen
            if changed:
                self.found = look(self._document, self._disk)
        except OSError as error:
            self._trouble = files.unread(error)
            return False
        self._seen, self._trouble = seen, ""
        return changed

    def _stand(self) -> list[Identity | None]:
        paths = (self._document, files.log_of(self._document), *rescue.known(self._document))
        found = (self._disk.look(path) for path in paths)
        return [Identity.of(stand) if stand else None for stand in found]
