"""A run opened for work: each accepted edit kept before anyone is told so.

Owns: `open_for_writing`, `Store`, `read_only`, `create`. Invariant: when `accept` returns, the edit is in the log on
the disk, or `trouble` says where it is instead. Whichever is ahead, the document and the log together are the run.
"""

from __future__ import annotations

import contextlib
import errno
import glob
import json
import os
import stat
import threading
from datetime import datetime
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.problem import has_errors
from runsheet.run import edit, text
from runsheet.run.disk import copies, files, lock, log, replay, state
from runsheet.run.disk.drafts import DraftFile
from runsheet.run.disk.files import DISK, Disk, digest
from runsheet.run.disk.lacking import lacking
from runsheet.run.disk.opening import Follower, RunOnDisk, look, parsed
from runsheet.run.disk.saver import Conflict, LogFile, RunPlace, Saver
from runsheet.tables import has_comments

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from runsheet.problem import Problem
    from runsheet.run.disk.log import Entry, Step
    from runsheet.run.edit import Edit
    from runsheet.run.model import Run


PROGRAM = "runsheet"
"""Who the log says made an entry that no person made."""


class CannotOpenError(Exception):
    """A run that cannot be opened for writing, and why; `problems` are those of its text."""

    def __init__(self, words: str, problems: Sequence[Problem] = ()) -> None:
        """Take the reason, for a person."""
        super().__init__(words)
        self.problems = tuple(problems)


class LockedError(CannotOpenError):
    """Someone else has it open, or left a lock behind: see `holder`."""

    def __init__(self, holder: lock.Holder) -> None:
        """Take who."""
        super().__init__(holder.words())
        self.holder = holder


class Draft(NamedTuple):
    """A half-typed entry."""

    text: str
    place: str
    """The path of the cell, as `queue[3].readings`."""
    run: str
    """The run's id."""
    row: str
    """The row's own name; empty where it has none."""
    stands_on: str
    """The chain of the log it was typed after; without a log the digest of the document."""


def read_only(path: Path, disk: Disk = DISK) -> Follower:
    """Read a run without writing anything; its `found` has the run, its problems and what the log is ahead.

    Raises OSError.
    """
    return Follower(path, disk)


def create(path: Path, run: Run, disk: Disk = DISK) -> None:
    """Write a new document. Raises FileExistsError where one, or the log of one, stands; OSError."""
    files.nameable(path)
    document = files.real(path)
    files.fitting(document)
    if os.path.lexists(files.log_of(document)):
        raise FileExistsError(f"{files.log_of(document)} is there: the log of another run of this name")
    files.write_new(disk, document, text.write(run).encode(), mode=0o666)


def open_for_writing(
    path: Path,
    who: str,
    now: datetime,
    *,
    take_over: bool = False,
    disk: Disk = DISK,
    clock: Callable[[], datetime] = lambda: datetime.now().astimezone(),
) -> Store:
    """Open a run for work and bring its document up to date with its log.

    `take_over` takes a lock that was left behind. Raises LockedError, CannotOpenError.
    """
    document = files.real(path)
    try:
        files.nameable(path)
        _writable(document)
        files.fitting(document)
        held = lock.acquire(document, who, now, take_over=take_over)
        if isinstance(held, lock.Holder):
            raise LockedError(held)
        try:
            return _opened(RunPlace(document, held, disk, clock), who)
        except BaseException:
            held.release()
            raise
    except OSError as error:
        raise CannotOpenError(f"{path}: {files.words(error)}") from error


def _writable(document: Path) -> None:
    if document.exists() and not (stat.S_IMODE(document.stat().st_mode) & 0o222 and os.access(document, os.W_OK)):
        raise CannotOpenError(f"{document} is write-protected")


def _opened(place: RunPlace, who: str) -> Store:
    for path in (place.document, files.log_of(place.document)):
        files.clear(place.disk, path)
    found = look(place.document, place.disk)
    if found.run is None or not found.readable:
        raise CannotOpenError(f"{place.document} has errors", found.problems)
    copies.settle_all(place.document, found.run.run.id, place.disk)
    return Store(place, found, found.run, who)


def _taken_over(held: lock.Lock) -> tuple[str, ...]:
    return () if held.took is None else (f"lock taken over: {held.took.words()}",)


class Store:
    """A run open for writing."""

    def __init__(self, place: RunPlace, found: RunOnDisk, run: Run, who: str) -> None:
        """Take what was found on the disk, and the run it comes to."""
        self.run = run
        """The run with every accepted edit."""
        self.came_back = found.ahead
        """Entries the log had and the document did not."""
        first = not found.log.steps  # what the disk cannot do is told once, before anything is kept on it
        lacks = lacking(place.disk, place.document) if first else ()
        self.notes = (*_taken_over(place.lock), *found.notes, *_kept_apart(place, found), *lacks)
        """What a person should be told on opening."""
        self.copied: Path | None = None
        """Where the run was copied to because its own disk failed: that copy has every entry accepted by then."""
        self._place, self._who, self._entries = place, who, found.ahead
        self._login = lock.login()
        self._start = None if found.known else found.data
        self._nameless = run.run.log is None and not run.signature and (found.known or not found.log.steps)
        self._done, self._undone = replay.history(found.log.since_start() if found.known else ())
        self._closing, self._closed, self._clean = threading.RLock(), False, False
        self._pages = text.Writer()
        self._draft = DraftFile(state.kept_for(place.document, ".draft"))
        self._log = LogFile(place, found)
        self._saver = Saver(place, self._log, found.data)
        if found.behind:
            last = found.log.steps[-1].entries[-1]  # of a start, the text itself: where the log leads, to the byte
            self._saver.want(last.text.encode() if last.text else self._pages.write(run), self._entries)
        if found.behind or found.torn:
            self._saver.save(timeout=2)
        if (aside := self._log.aside) is not None:
            kept = "kept" if place.disk.look(aside) is not None else "will be kept"
            torn = "the end of the log cannot be read, as after a power cut; it is left out and"
            self.notes = (*self.notes, f"{torn} {kept} in {aside.name}")

    # --- state ---

    @property
    def saved_at(self) -> datetime | None:
        """When the document was last written."""
        return self._saver.saved_at

    @property
    def pending(self) -> int:
        """Accepted entries the document does not have yet; the log has them, unless `trouble` says otherwise."""
        return self._saver.pending

    @property
    def trouble(self) -> str:
        """What keeps entries from being saved, and where they are meanwhile; empty when all is well."""
        words = self._log.trouble or self._saver.trouble
        if not words or not self._log.first:  # without a log nothing was entered that could be anywhere
            return words
        waiting, rescue = self._log.waiting, self._log.rescue
        if not waiting:
            kept = "the log" if not self._log.trouble else rescue
            since = f": not saved since {self.saved_at:%H:%M}" if self.saved_at else ""
            return f"{words}{since}, all entries are in {kept}" if kept and since else words
        many = waiting if rescue else self.lost  # fewer where a rescue or a copy has the others
        are = f"{words}: {many} {'entry is' if many == 1 else 'entries are'}"
        if rescue:  # a program that has ended has no memory
            return f"{are} kept {'' if self._closed else 'in memory and '}in {rescue}"
        return f"{are} {'on no disk' if self._closed else 'kept in memory only'}" if many else words

    @property
    def rescued(self) -> int:
        """Accepted entries that are not in the log on its disk, but in a rescue."""
        return self._log.waiting - log.entries_in(self._log.unkept)

    @property
    def unkept(self) -> list[str]:
        """The accepted entries that are in memory only, each as a line for a person: what leaving would lose."""
        return log.lines(self._log.unkept)

    @property
    def lost(self) -> int:
        """How many entries of a person leaving would lose."""
        return log.entries_in(self._log.unkept)

    def copy_to(self, folder: Path) -> None:
        """Write the run and its log, with every accepted entry, into another folder. Raises OSError."""
        target = folder / self._place.document.name
        files.fitting(target)
        if os.path.lexists(target):
            raise FileExistsError(errno.EEXIST, "a file of this name is there", str(target))
        self._log.copy(files.log_of(target))
        files.write_new(self._place.disk, target, self._saver.ours, mode=0o666)
        self.copied = target

    @property
    def conflict(self) -> Conflict | None:
        """A change of the document by someone else; ours is saved beside it until `keep` is called."""
        return self._saver.conflict

    @property
    def drafted(self) -> Draft | None:
        """The half-typed entry that was left, if there is one of this run, row and log: not that of another's run."""
        try:
            if state.shared(self._draft.path.parent):
                return None
            kept = json.loads(self._draft.path.read_bytes())
            found = Draft(**{str(name): str(value) for name, value in kept.items()})
        except (OSError, ValueError, TypeError, AttributeError):
            return None
        return found if found == self._as_draft(found.text, found.place) else None

    def _as_draft(self, typed: str, place: str) -> Draft:
        stands_on = self._log.chain or digest(self._saver.ours)
        return Draft(typed, place, self.run.run.id, _named(self.run, place), stands_on)

    # --- work ---

    def accept(self, edits: Sequence[Edit], now: datetime, reason: str = "", who: str = "") -> Run:
        """Make the edits as one step and keep them.

        Raises edit.EditError, and changes nothing, where they do not fit or would make a document with errors.
        """
        if edits:
            self._commit(edits, now, who, reason=reason)
        return self.run

    def issue(self, made: Edit, now: datetime, reason: str, who: str, put: Callable[[Run, bytes, bytes], None]) -> Run:
        """Keep the edit that notes an issue, once `put` has kept what is issued: the run, its document and its log.

        Raises OSError where `put` does, or the run is not wholly on the disk: nothing changed then; and EditError.
        """
        if not self.flush() or self.conflict:
            raise OSError(errno.EIO, self.trouble or "the document is not saved as it is here")
        run = edit.apply_all(self.run, [made])
        data = self._pages.write(run)
        entries = log.entries([made], data, now, who, reason=reason, **self._login)
        put(run, data, self._log.with_(entries))
        self._kept(run, data, entries)
        return run

    @property
    def last_step(self) -> int:
        """The number of the step that an undo takes back; 0 where there is none."""
        return self._done[-1].number if self._done else 0

    def undo(self, now: datetime, who: str = "") -> Step | None:
        """Take the last step back and give it; None where there is none."""
        if not self._done:
            return None
        step = self._done[-1]
        edits = [edit.inverse(made) for made in reversed(step.edits) if made.changes]
        self._commit(edits, now, who, undoes=step.number)
        return step

    def redo(self, now: datetime, who: str = "") -> Step | None:
        """Make the step that was last taken back again and give it; None where there is none."""
        if not self._undone:
            return None
        step = self._undone[-1]
        edits = [made for made in step.edits if made.changes]
        self._commit(edits, now, who, redoes=step.number)
        return step

    def draft(self, typed: str, place: str) -> None:
        """Keep a half-typed entry; an empty one is forgotten. It is a convenience: a disk that fails is no trouble."""
        with contextlib.suppress(UnicodeEncodeError):
            data = json.dumps(self._as_draft(typed, place)._asdict(), ensure_ascii=False).encode() if typed else None
            self._draft.keep(data)

    def keep(self, which: Literal["ours", "theirs"], now: datetime, who: str = "") -> Run:
        """Settle a conflict: go on with ours (theirs is kept beside it) or with theirs (ours is kept already).

        Raises CannotOpenError where theirs has errors or is not there, or something else stands in its place.
        """
        self.flush()
        try:
            theirs = self._theirs()
            if which == "theirs":
                data = self._adopt(theirs, now, who or self._who)
            else:
                data = self._saver.ours
                self._put_by(theirs, now)
        except OSError as error:
            raise CannotOpenError(files.words(error)) from error
        self._saver.settle(theirs, data, self._entries)
        return self.run

    def _theirs(self) -> bytes | None:
        """Read what stands in the document's place; what is behind a link is not ours to read or to write."""
        found = self._place.disk.look(self._place.document)
        if found and stat.S_ISLNK(found.st_mode):
            raise OSError(errno.ELOOP, "a link stands in the file's place")
        return self._place.disk.read(self._place.document) if found else None

    def _put_by(self, theirs: bytes | None, now: datetime) -> None:
        document, disk = self._place.document, self._place.disk
        if theirs is not None:
            files.write_new(disk, files.unused(document, "theirs", now), theirs, document.stat())

    def flush(self, timeout: float = 2.0) -> bool:
        """Wait until all is on the disk; False where it is not by then. Safe in a signal handler of the main thread."""
        return self._saver.save(timeout) and not self.trouble

    def close(self, timeout: float = 5.0) -> bool:
        """Save, end the thread and give the lock back. False where something could not be saved: see `trouble`.

        Safe in a signal handler and in another thread; a second time it does nothing.
        """
        if not self._closing.acquire(timeout=timeout):
            return False
        try:
            if not self._closed:
                self._clean = self.flush(timeout)
                self._saver.stop()
                self._draft.write(timeout)
                self._place.lock.release()
                self._closed = True  # last: a signal that came before it does all of it again, in this thread
        finally:
            self._closing.release()
        return self._clean

    def begin(self, now: datetime, who: str = "") -> None:
        """Begin the log where there is none yet, and write into the document which log is its own.

        Before anything is drawn or signed from the document, that is; else the first edit begins it.
        """
        if self._start is not None:
            self._add(log.start(self._start, now, who or self._who, **self._login))
            self._start = None
        if self._nameless and self._log.first:
            named = [edit.set_value(self.run, log.NAME, self._log.first)]
            self.run, self._nameless = edit.apply_each(self.run, named), False
            data = self._pages.write(self.run)
            self._add(log.entries(named, data, now, PROGRAM, reason="the log begins", **self._login))
            self._saver.want(data, self._entries)

    def _commit(self, edits: Sequence[Edit], now: datetime, who: str, **more: object) -> None:
        run = edit.apply_all(self.run, edits)  # what does not fit is refused before anything is kept
        if self._start is not None or self._nameless:
            self.begin(now, who)
            run = edit.apply_each(self.run, edits)
        data = self._pages.write(run)
        self._kept(run, data, log.entries(edits, data, now, who or self._who, **self._login, **more))

    def _kept(self, run: Run, data: bytes, entries: Sequence[Entry]) -> None:
        self._add(entries)
        self.run = run
        self.draft("", "")
        self._saver.want(data, self._entries)

    def _add(self, made: Sequence[Entry]) -> None:
        step = self._log.append(made)
        replay.remember(self._done, self._undone, step)
        self._entries += step.count

    def _adopt(self, theirs: bytes | None, now: datetime, who: str) -> bytes:
        if theirs is None:
            raise CannotOpenError(f"{self._place.document} is not there")
        run, problems = parsed(theirs)
        if run is None or has_errors(problems):
            raise CannotOpenError(f"{self._place.document} has errors", problems)
        self._add(log.start(theirs, now, who, reason="changed by another program; kept", **self._login))
        self._start, self.run = None, run
        return theirs


def _named(run: Run, place: str) -> str:
    """The id of the row that holds a place; empty where it has none."""
    row, _, _ = place.rpartition(".")
    try:
        found = edit.value_at(run, row)
    except edit.EditError:
        return ""
    return str(found.get("id", found.get("check", ""))) if isinstance(found, dict) else ""


def _kept_apart(place: RunPlace, found: RunOnDisk) -> list[str]:
    """Keep what the log or the state folder leads to, where it is not what the document goes on with."""
    notes = []
    if found.log_leads_elsewhere:
        notes += _log_kept(place, found)
    for kept in found.rescue.foreign:
        apart = files.unused(kept, "apart", place.clock()).with_suffix(".log")
        place.disk.replace(kept, apart)
        notes.append(f"entries of an earlier opening do not fit the log; they are kept in {apart}")
    if found.torn and not found.unreadable and not found.rescued:
        notes.append("the last edit in the log was cut short before it was accepted; it is left out")
    if found.data and has_comments(found.data.decode()):
        notes.append(f"comments are not kept; {files.beside(place.document, 'before-edit').name} will have them")
    if found.data is not None and place.document.stat().st_nlink > 1:
        notes.append("the document has several names (hard links); the others stay as they are when it is saved")
    return notes


def _log_kept(place: RunPlace, found: RunOnDisk) -> list[str]:
    try:
        ours = text.Writer().write(replay.replay(None, found.log.since_start()))
    except edit.EditError:
        return []
    known = place.document.parent.glob(f"{glob.escape(place.document.stem)}.ours-*{glob.escape(place.document.suffix)}")
    path = next((path for path in known if path.read_bytes() == ours), None)
    if path is None:
        path = files.unused(place.document, "ours", place.clock())
        files.write_new(place.disk, path, ours, place.document.stat())
    return [f"what the log leads to is kept in {path.name}"]
