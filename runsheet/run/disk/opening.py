"""A run as it stands on the disk: the document, the log ahead of it, and what both come to.

Owns: `RunOnDisk`, `look`, `verify`, `Follower`. Invariant: nothing here writes. An accepted reading is in `run`,
from the document, from the log, or from the part of the log that the state folder kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from runsheet.problem import Problem, has_errors
from runsheet.run import edit, text
from runsheet.run.disk import files, log, replay
from runsheet.run.disk.files import DISK, Disk, Identity, digest

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.run.disk.log import ReadLog
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
    """The log, with what the state folder kept of it."""
    safe: int
    """Bytes of it that are in the log on the disk."""
    torn: bytes
    """What stands after those in the log on the disk: the beginning of an edit that was never accepted."""
    ahead: int = 0
    """Entries the document does not have yet; `run` has them."""
    kept: bool = False
    """Whether the state folder has a log for this document."""
    foreign: bool = False
    """Whether that one fits neither this log nor comes before it."""
    known: bool = False
    """Whether the log leads to `run`."""
    notes: tuple[str, ...] = ()
    """What a person should be told."""

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
    data = _read(disk, document)  # before the log, which is always written first
    on_disk = _read(disk, files.log_of(document)) or b""
    kept = _kept(document, disk)
    whole, read_log = on_disk, log.parse(on_disk)
    safe = read_log.whole
    if len(kept) > safe and kept.startswith(on_disk[:safe]):
        whole, read_log = kept, log.parse(kept)
    run, problems = (None, []) if data is None else parsed(data)
    foreign = not whole.startswith(kept)
    found = RunOnDisk(
        data, run, tuple(problems), read_log, whole, safe, on_disk[safe:], kept=bool(kept), foreign=foreign
    )
    if data is None:
        return _rebuilt(found, document)
    return _brought_up(found, run, data) if run is not None and found.readable else found


def verify(path: Path, disk: Disk = DISK) -> list[Problem]:
    """Find what is wrong with a run's log and document as they stand. Raises OSError, also where there is no log."""
    document = files.real(path)
    data = _read(disk, document)  # before the log, which may grow meanwhile
    return replay.verify(disk.read(files.log_of(document)), data)


def _read(disk: Disk, path: Path) -> bytes | None:
    try:
        return disk.read(path)
    except OSError as error:
        if error.errno in files.NOT_THERE:
            return None
        raise


def _kept(document: Path, disk: Disk) -> bytes:
    try:
        return disk.read(files.kept_for(document, ".log"))
    except OSError:
        return b""  # a state folder that cannot be read keeps nobody from the document


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
    note = f"{document.name} was missing; it was made again from its log"
    return replace(found, run=run, ahead=sum(step.count for step in steps), known=True, notes=(note,))


def _brought_up(found: RunOnDisk, run: Run, data: bytes) -> RunOnDisk:
    """Add to the document what the log has ahead of it, where the log knows the document."""
    later = found.log.after(digest(data))
    if later is None:
        changed = "the document was changed outside, or its log was: it is taken as it stands"
        return replace(found, notes=(changed,) if found.log.steps else ())
    try:
        run = replay.replay(run, later)
    except edit.EditError as error:
        return replace(found, notes=(f"the log does not fit the document, which is taken as it stands: {error}",))
    return replace(found, run=run, ahead=sum(step.count for step in later), known=True)


class Follower:
    """A run that is only read, and followed while another program writes it."""

    def __init__(self, path: Path, disk: Disk = DISK) -> None:
        """Read it. Raises OSError."""
        self._document, self._disk = files.real(path), disk
        self.trouble = ""
        """Why it cannot be read just now; `found` is then as it was."""
        self._seen = self._stand()
        self.found = look(self._document, disk)

    def refresh(self) -> bool:
        """Read it again if it changed; False where it did not, or cannot be read just now: see `trouble`."""
        try:
            seen = self._stand()
            changed = seen != self._seen
            if changed:
                self.found = look(self._document, self._disk)
        except OSError as error:
            self.trouble = files.words(error)
            return False
        self._seen, self.trouble = seen, ""
        return changed

    def _stand(self) -> list[Identity | None]:
        found = (self._disk.look(path) for path in (self._document, files.log_of(self._document)))
        return [Identity.of(stand) if stand else None for stand in found]
