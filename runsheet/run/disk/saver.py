"""What is on the disk: the log, written before an edit counts, and the document, from a thread of its own.

Owns: `LogFile`, `Saver`. Invariant: the document on the disk is never ahead of the log on the disk, a file that someone
else changed is never written over, and what could not be written is in the state folder until it can be.
"""

from __future__ import annotations

import contextlib
import errno
import os
import queue
import stat
import threading
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from runsheet.run.disk import files, log
from runsheet.run.disk.files import Disk, Identity, digest
from runsheet.run.disk.rescue import Rescue, set_aside
from runsheet.tables import has_comments

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from runsheet.run.disk.lock import Lock
    from runsheet.run.disk.log import Entry, Step
    from runsheet.run.disk.opening import RunOnDisk

_KINDS = {stat.S_IFDIR: "folder", stat.S_IFLNK: "link", stat.S_IFIFO: "pipe"}
LOOK_EVERY = 1.0
"""Seconds between two looks at the files; a save that failed is tried again as often."""


@dataclass(frozen=True, slots=True)
class RunPlace:
    """Where a run is kept, and what it is kept with."""

    document: Path
    """The file itself, no link."""
    lock: Lock
    disk: Disk
    clock: Callable[[], datetime]


def check(lock: Lock) -> None:
    """Raise OSError where the lock is no longer ours, and what is on the disk so no longer either."""
    if not lock.held():
        raise OSError(errno.ESTALE, "another program has taken over the run")


class LogFile:
    """The edit log on the disk: added to at its end, and nothing but that.

    It holds all its bytes, so that a log whose folder vanished can be written anew. Writing the same bytes at the same
    place twice does no harm, so a signal handler may push while the push it interrupted is under way.
    """

    def __init__(self, place: RunPlace, found: RunOnDisk) -> None:
        """Take the log as it was found."""
        self.path = files.log_of(place.document)
        self.trouble = ""
        self._place, self._like = place, place.document.stat() if place.document.exists() else None
        self._data = bytearray(found.log_bytes)
        self.chain, self._number = found.log.chain, found.log.last
        self._safe, self._torn = found.safe, found.torn
        self.aside = files.torn_of(place.document, place.clock()) if found.unreadable else None
        """Where an end that cannot be read is kept, once something is written in its place."""
        self._identity: Identity | None = None
        self.first = found.log.steps[0].entries[0].chain if found.log.steps else ""
        """The chain value of its first entry."""
        self._turn = threading.RLock()
        begun = found.log.steps[0].document if found.log.steps else ""
        self._rescue = Rescue(place.disk, place.document, found.rescue.own, begun)
        self._copied = 0
        self._stands = True
        """Whether the log on the disk is as we left it, as far as the last look told."""

    @property
    def waiting(self) -> int:
        """Edits that are not in the log on the disk."""
        return log.entries_in(bytes(self._data[self._safe :]))

    @property
    def behind(self) -> bool:
        """Whether the log on the disk lacks anything."""
        return self._safe < len(self._data)

    @property
    def rescue(self) -> Path | None:
        """Where those are kept meanwhile; None where that, too, lacks any."""
        return self._rescue.path if self._rescue.end >= len(self._data) else None

    @property
    def unkept(self) -> bytes:
        """The lines that are in memory only: a program that ends loses them."""
        return bytes(self._data[max(self._safe if self._stands else 0, self._rescue.end, self._copied) :])

    def with_(self, made: Sequence[Entry]) -> bytes:
        """The whole log as it would be with one more step."""
        entries = log.chained(made, self.chain, self._number + 1)
        return bytes(self._data) + b"".join(map(log.line, entries))

    def append(self, made: Sequence[Entry]) -> Step:
        """Add a step and write it to the disk, or keep it elsewhere where the disk fails: see `trouble`."""
        entries = log.chained(made, self.chain, self._number + 1)
        self._data += b"".join(log.line(entry) for entry in entries)
        self.chain, self._number = entries[-1].chain, self._number + 1
        self.first = self.first or entries[0].chain
        with contextlib.suppress(OSError):  # `trouble` says so
            self.push()
        return log.Step(tuple(entries), 0, sound=True)

    def push(self, timeout: float = -1) -> None:
        """Write what the disk does not have yet. Raises OSError."""
        if not self._turn.acquire(timeout=timeout):
            raise TimeoutError(errno.ETIMEDOUT, "the disk does not answer")
        try:
            if self._data and not self._there():
                self._write()
            self.trouble, self._stands = "", True
            self._rescue.drop()
        except OSError as error:
            self._stands = error.errno not in (errno.ESTALE, *files.NOT_THERE)
            if self.rescue is None:
                with contextlib.suppress(OSError):  # `rescue` and `unkept` say so; an append may come meanwhile
                    self._rescue.keep(bytes(self._data), self._safe if self._stands else 0)
            self.trouble = files.words(error)
            raise
        finally:
            self._turn.release()

    def copy(self, path: Path) -> None:
        """Write the whole log as a new file. Raises OSError."""
        data = bytes(self._data)
        files.write_new(self._place.disk, path, data, self._like)
        self._copied = len(data)

    def _there(self) -> bool:
        found = self._place.disk.look(self.path)
        as_left = found is not None and self._identity in (None, Identity.of(found))
        return as_left and not self._torn and not self.behind

    def _write(self) -> None:
        if new := self._place.disk.look(self.path) is None:
            self._safe, self._torn = 0, b""
        check(self._place.lock)
        at = self._safe
        added = bytes(self._data[at:])
        if new:  # at once with its first lines: an empty log would look like one that somebody emptied
            files.write_new(self._place.disk, self.path, added, self._like)
        else:
            self._add(added, at)
        found = self._place.disk.look(self.path)
        self._identity = Identity.of(found) if found else None
        self._safe, self._torn = at + len(added), b""

    def _add(self, added: bytes, at: int) -> None:
        fd = self._place.disk.open(self.path, os.O_RDWR)
        try:
            self._check(fd)
            self._place.disk.write(fd, added, at)
            self._place.disk.sync_data(fd)
        finally:
            self._place.disk.close(fd)

    def _check(self, fd: int) -> None:
        """See that the log is as we left it; a failed write or a crash may have left more. Raises OSError."""
        if Identity.of(os.fstat(fd)) != self._identity:
            found, safe = self._place.disk.read(self.path), bytes(self._data[: self._safe])
            if self._torn and found == safe + self._torn:
                if self.aside is not None and self._place.disk.look(self.aside) is None:
                    files.write_new(self._place.disk, self.aside, self._torn, self._like)
                self._place.disk.truncate(fd, self._safe)
            elif not (found.startswith(safe) and self._data.startswith(found)):
                raise OSError(errno.ESTALE, "another program changed the log")


@dataclass(frozen=True, slots=True)
class Conflict:
    """A document that was changed by someone else while we had it."""

    ours: Path
    """Where ours is kept, beside theirs."""
    words: str


@dataclass(frozen=True, slots=True)
class Wanted:
    """A document to be on the disk."""

    data: bytes
    entries: int
    """How many entries were accepted by then."""


class Saver:
    """Writes the document whenever another one is wanted, as many edits in one go as came meanwhile.

    `want` takes no lock and `save` waits for none beyond its timeout: both may be called by a signal handler that has
    interrupted either.
    """

    def __init__(self, place: RunPlace, log_file: LogFile, data: bytes | None) -> None:
        """Take the document as it stands on the disk; None: it is not there."""
        self.conflict: Conflict | None = None
        self.trouble = ""
        self._place, self._log = place, log_file
        self._like = place.disk.look(place.document)
        self._identity = Identity.of(self._like) if self._like else None
        self.saved_at = datetime.fromtimestamp(self._like.st_mtime).astimezone() if self._like else None
        self._wanted = Wanted(data or b"", 0)
        self._saved = None if data is None else self._wanted
        self._ours = {digest(self._wanted.data)}
        self._comments = _commented(data)
        # A queue for a bell: an Event takes a lock to ring, and a signal handler would wait for ever for the code it
        # interrupted to give that lock back.
        self._turn, self._bell, self._ended = threading.Lock(), queue.SimpleQueue[None](), False
        self._thread = threading.Thread(target=self._run, name="saver", daemon=True)
        self._thread.start()

    @property
    def pending(self) -> int:
        """Entries that were accepted and that the document on the disk does not have."""
        saved, wanted = self._saved, self._wanted
        return wanted.entries - (saved.entries if saved else 0)

    @property
    def ours(self) -> bytes:
        """The document that is to be on the disk: where the log leads, to the byte."""
        return self._wanted.data

    def want(self, data: bytes, entries: int) -> None:
        """Have this document written soon."""
        self._wanted = Wanted(data, entries)
        self._bell.put(None)

    def save(self, timeout: float = -1) -> bool:
        """Write what is wanted, now. True when it is on the disk; False after `timeout` seconds or in trouble."""
        try:
            # Pushed before the turn is taken: a handler that interrupted a push may push again, but could only wait in
            # vain for a turn that the thread keeps while it waits for that push.
            self._log.push(timeout)
            if not self._turn.acquire(timeout=timeout):
                return False
            try:
                if self._log.behind:  # an edit is just coming in, and another save will be asked for
                    return False
                self._save(self._wanted)
            finally:
                self._turn.release()
        except OSError as error:
            self.trouble = files.words(error)
            return False
        self.trouble = ""
        return self._saved is self._wanted

    def stop(self) -> None:
        """End the thread; a second time does nothing."""
        self._ended = True
        self._bell.put(None)
        self._thread.join(timeout=LOOK_EVERY)

    def settle(self, theirs: bytes | None, data: bytes, entries: int) -> None:
        """End the conflict: `data` is wanted in the place of `theirs`; None: nothing is there any more."""
        with self._turn:
            self._identity, self._ours, self.conflict = None, {digest(theirs or b"")}, None
            self._saved = None
            self._comments = _commented(data)
            self.want(data, entries)

    def _run(self) -> None:
        try:
            while not self._ended:
                with contextlib.suppress(queue.Empty):
                    self._bell.get(timeout=LOOK_EVERY)
                    while True:  # what came meanwhile is saved in one go
                        self._bell.get_nowait()
                if not self._ended:
                    self.save()
        except BaseException as error:
            self.trouble = f"saving ended by a fault of this program: {error!r}"
            raise

    def _save(self, wanted: Wanted) -> None:
        self._place.lock.beat(self._place.clock())
        check(self._place.lock)
        if not self.conflict:
            self._look()
        if self._saved is not wanted:
            try:
                self._write(wanted)
            except FileExistsError:  # someone else was quicker
                self._look()
                self._write(wanted)
            self._saved, self.saved_at = wanted, self._place.clock()
            with contextlib.suppress(OSError):  # a help for another day; without it a full disk is told of all the same
                set_aside(self._place.disk)

    def _look(self) -> None:
        """Look whether the document is as we left it; if not, ours is to go beside it."""
        document, disk = self._place.document, self._place.disk
        found = disk.look(document)
        if found is None:
            self._saved = None  # nothing there to be written over
            return
        if stat.S_ISREG(found.st_mode):
            self._like = found
        if Identity.of(found) != self._identity:
            if self._like is found and digest(disk.read(document)) in self._ours:
                self._identity = Identity.of(found)
            else:
                self._part(found)

    def _part(self, found: os.stat_result) -> None:
        kind = _KINDS.get(stat.S_IFMT(found.st_mode))
        what = f"a {kind} stands in its place" if kind else "another program changed it"
        ours = files.unused(self._place.document, "ours", self._place.clock())
        self._saved, self.conflict = None, Conflict(ours, f"{self._place.document.name}: {what}")

    def _write(self, wanted: Wanted) -> None:
        document, disk = self._place.document, self._place.disk
        if self.conflict:
            files.replace_file(disk, self.conflict.ours, wanted.data, self._like)
            return
        if self._comments is not None:
            with contextlib.suppress(FileExistsError):
                files.write_new(disk, files.beside(document, "before-edit"), self._comments, self._like)
            self._comments = None
        self._ours.add(digest(wanted.data))
        self._identity = files.replace_file(disk, document, wanted.data, self._like, self._put)
        self._ours = {digest(wanted.data)}

    def _put(self, new: Path, document: Path) -> None:
        """Put ours in the document's place, if nobody wrote there while we wrote ours. Raises FileExistsError."""
        disk, found = self._place.disk, self._place.disk.look(document)
        if found is None:
            disk.place(new, document)
            disk.remove(new)
        elif Identity.of(found) == self._identity:
            disk.replace(new, document)
        else:
            raise FileExistsError(errno.EEXIST, "another program writes it too", str(document))


def _commented(data: bytes | None) -> bytes | None:
    """The document, where it holds comments, which are lost when it is written over; else None."""
    return data if data and has_comments(data.decode()) else None
