"""One writer to a run: a lock file of its own beside the document.

Owns: `acquire`, `Lock`, `Holder`. Invariant: on one machine two processes never hold the lock together: the file is
made with O_EXCL and kept under the system's own lock (`flock`; on Windows a byte far behind the text), which the system
drops when its process ends, however it ends. For another machine, where that may not reach, the note in the file tells
who holds it and when that one last gave a sign of life.

What a process of this machine left behind when it ended is taken over unasked: nobody can be working on it.
"""

from __future__ import annotations

import contextlib
import errno
import getpass
import hashlib
import json
import os
import socket
import sys
import time
from dataclasses import asdict, dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from runsheet.figures import visible
from runsheet.run.disk.files import DISK, HINDERED, NO_WAIT, Identity, lock_of, patiently

if sys.platform == "win32":
    import msvcrt
    import winreg
else:
    import fcntl

if TYPE_CHECKING:
    from pathlib import Path

STALE_AFTER = timedelta(minutes=5)
"""How long a holder on another host may give no sign of life before its lock may be taken over."""
BEAT_EVERY = timedelta(seconds=30)
"""How often a holder gives one."""
_TRIES, _PAUSE = 20, 0.005
"""How often, and after how many seconds each time, to try again what someone else's passing look may hinder."""
_FAR = 1 << 30
"""The byte that is locked where bytes are: far behind the text, so that everyone can read that."""
_BEING_MADE = 5.0
"""Seconds a lock file without a readable note is taken for one that is just being made."""


@dataclass(frozen=True, slots=True)
class Note:
    """What the lock file says."""

    host: str
    pid: int
    user: str
    since: str
    """ISO, with its offset."""
    heartbeat: str
    """ISO, with its offset: the last sign of life."""
    machine: str = ""
    """What stays the same when the machine's name changes."""

    @property
    def holder(self) -> tuple[str, int, str]:
        """What tells one holder from another."""
        return self.host, self.pid, self.since


@dataclass(frozen=True, slots=True)
class Holder:
    """Someone else who holds the lock."""

    note: Note | None
    """None where the file cannot be read as a note."""
    alive: bool
    """Whether its process is seen to run on this host."""
    stale: bool
    """Whether the lock may be taken over."""
    here: bool = False
    """Whether it is of a process of this machine."""

    def words(self) -> str:
        """Say who, where, since when, and whether still there."""
        if self.note is None:
            return "the lock file cannot be read; " + ("it was left behind" if self.stale else "it is just being made")
        note = self.note
        who = visible(f"{note.user} opened it on {note.host} at {note.since[:16]} (process {note.pid})")
        if self.alive:
            return f"{who} and has it open"
        if self.here:
            return f"{who}; that process has ended"
        return f"{who}; its last sign of life was at {note.heartbeat}"


class Lock:
    """The lock, held."""

    def __init__(self, path: Path, fd: int, note: Note, took: Holder | None = None) -> None:
        """Take the open lock file (-1 once it is given back) and what it says of us."""
        self.path, self._fd, self._note = path, fd, note
        self.took = took
        """Whose lock was taken over."""

    def held(self) -> bool:
        """Whether the lock is still ours; makes the file anew where it vanished with its folder. Raises OSError."""
        if self._fd < 0:
            return False
        found = _read(self.path, told=True)
        if found is None and not self.path.exists():
            if (made := _make(self.path, self._note)) is not None:
                os.close(self._fd)
                self._fd = made
            found = _read(self.path, told=True)
        return found is not None and found.holder == self._note.holder

    def beat(self, now: datetime) -> None:
        """Write a sign of life into the file. Raises OSError."""
        if now - datetime.fromisoformat(self._note.heartbeat) >= BEAT_EVERY and self.held():
            self._note = replace(self._note, heartbeat=_time(now))
            _write(self._fd, self._note)

    def release(self) -> None:
        """Release the lock; a file that is no longer ours stays. A second time does nothing."""
        fd, self._fd = self._fd, -1
        if fd < 0:
            return
        if HINDERED:  # a file that is open cannot be removed; one that somebody opened meanwhile stays, and is his
            os.close(fd)
        with contextlib.suppress(OSError):
            found = _read(self.path)
            if found is not None and found.holder == self._note.holder and (HINDERED or _same(fd, self.path)):
                DISK.remove(self.path)
        if not HINDERED:
            os.close(fd)


def login() -> dict[str, str]:
    """The account this process runs under, and the machine: what a name that was typed can be held against."""
    try:
        account = getpass.getuser()
    except (KeyError, OSError, ImportError):  # an account without a name
        account = _nameless()
    return {"account": account, "machine": socket.gethostname()}


def _nameless() -> str:
    if sys.platform != "win32":
        return str(os.getuid())
    with contextlib.suppress(OSError):
        return os.getlogin()
    return ""


def machine() -> str:
    """Characters that stand for this machine whatever its name is at the moment; empty where it has none.

    They are no copy of the system's own mark, which is not to leave the machine.
    """
    mark = _mark().strip()
    return hashlib.sha256(f"runsheet {mark}".encode()).hexdigest()[:16] if mark else ""


def _mark() -> str:
    if sys.platform == "win32":
        with (
            contextlib.suppress(OSError),
            winreg.OpenKey(winreg.HKEY_LOCAL_MACHINE, r"SOFTWARE\Microsoft\Cryptography") as key,
        ):
            return str(winreg.QueryValueEx(key, "MachineGuid")[0])
        return ""
    for name in ("/etc/machine-id", "/var/lib/dbus/machine-id"):
        with contextlib.suppress(OSError, UnicodeDecodeError), open(name, encoding="ascii") as file:  # noqa: PTH123
            return file.read(64)
    import uuid

    address = uuid.getnode()
    return "" if address >> 40 & 1 else f"{address:012x}"  # that bit: no card was found, and the number is a new one


def acquire(document: Path, user: str, now: datetime, *, take_over: bool = False) -> Lock | Holder:
    """Take the lock of a document, or give who holds it.

    What a process of this machine left is taken; `take_over` takes any stale lock. One that is not stale is never
    taken. Raises OSError where no lock can be made.
    """
    path = lock_of(document)
    note = Note(socket.gethostname(), os.getpid(), user, now.isoformat(), _time(now), machine())
    for _ in range(_TRIES):
        if (fd := _make(path, note)) is not None:
            return Lock(path, fd, note)
        if (holder := _holder(path, now)) is None:  # released meanwhile
            time.sleep(_PAUSE)
        elif not (holder.stale and (take_over or holder.here)):
            return holder
        elif (fd := _take(path, note, now)) is not None:
            return Lock(path, fd, note, holder)
    raise OSError(errno.EBUSY, "the lock file comes and goes", str(path))


def _make(path: Path, note: Note) -> int | None:
    """Make the lock file; None where there is one."""
    try:
        fd = patiently(lambda: os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o666))
    except FileExistsError:
        return None
    if (
        _flock_soon(fd) is False or not _same(fd, path) or os.fstat(fd).st_size
    ):  # we slept so long that it was taken over
        os.close(fd)
        return None
    try:
        _write(fd, note)
    except OSError:
        if HINDERED:
            os.close(fd)
        path.unlink()
        if not HINDERED:
            os.close(fd)
        raise
    return fd


def _take(path: Path, note: Note, now: datetime) -> int | None:
    """Take over a stale lock; None where someone was quicker."""
    try:
        fd = patiently(lambda: os.open(path, os.O_RDWR))
    except FileNotFoundError:
        return None
    if _flock_soon(fd) is not False and _same(fd, path) and _stale(_read(path), path, now):
        _write(fd, note)
        return fd
    os.close(fd)
    return None


def _holder(path: Path, now: datetime) -> Holder | None:
    """Look who holds the lock; None where it is gone."""
    try:
        fd = patiently(lambda: os.open(path, os.O_RDONLY | NO_WAIT))
    except FileNotFoundError:
        return None
    try:
        free = _flock(fd, alone=False)
        note = _read(path)
        if not _same(fd, path):
            return None
        alive = free is False or (free is None and note is not None and _runs(note))
        here = note is not None and not alive and _ended_here(note, now)
        return Holder(note, alive, not alive and _stale(note, path, now), here)
    finally:
        os.close(fd)


def _stale(note: Note | None, path: Path, now: datetime) -> bool:
    """Whether a lock that no process of this machine is seen to hold was left behind."""
    if note is None:
        return time.time() - path.stat().st_mtime > _BEING_MADE
    return _ended_here(note, now) or now - datetime.fromisoformat(note.heartbeat) > STALE_AFTER


def _ended_here(note: Note, now: datetime) -> bool:
    """Whether a holder that is not seen to run was a process of this machine.

    Machines that are copies of one another may have one mark: under another name it counts from a minute on, when one
    that lives would have given a sign.
    """
    if note.host == socket.gethostname():
        return not note.machine or note.machine == machine() or not machine()
    silent = now - datetime.fromisoformat(note.heartbeat) > 2 * BEAT_EVERY
    return silent and note.machine != "" and note.machine == machine()


def _runs(note: Note) -> bool:
    """Whether a process of this host runs, where `flock` cannot tell (another one may have got its number)."""
    if note.host != socket.gethostname() or os.name != "posix":
        return False
    try:
        os.kill(note.pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True


def _flock_soon(fd: int) -> bool | None:
    """Lock the open file for ourselves; someone looking who holds it keeps it for an instant."""
    for _ in range(_TRIES):
        if (done := _flock(fd, alone=True)) is not False:
            return done
        time.sleep(_PAUSE)
    return False


if sys.platform == "win32":

    def _flock(fd: int, *, alone: bool) -> bool | None:
        """Lock the byte of the open file, and give it back at once where it is only looked at; as below."""
        try:
            os.lseek(fd, _FAR, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
            if not alone:
                os.lseek(fd, _FAR, os.SEEK_SET)
                msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)
        except OSError as error:
            return None if error.errno in (errno.EINVAL, errno.ENOSYS, errno.EOPNOTSUPP) else False
        return True

else:

    def _flock(fd: int, *, alone: bool) -> bool | None:
        """Lock the open file: True when done, False when another has it, None where the system has no such locks."""
        try:
            fcntl.flock(fd, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        except OSError as error:
            return False if error.errno in (errno.EWOULDBLOCK, errno.EACCES) else None
        return True


def _same(fd: int, path: Path) -> bool:
    """Whether the open file is still the one of that name."""
    try:
        return Identity.of(os.fstat(fd))[:2] == Identity.of(path.lstat())[:2]
    except FileNotFoundError:
        return False


_NO_MORE = (errno.EMFILE, errno.ENFILE, errno.ENOMEM, errno.EIO)
"""What keeps a file from being read that is there: nobody has taken anything over."""


def _read(path: Path, *, told: bool = False) -> Note | None:
    """The note of a lock file; None where it cannot be read. `told`: an error that says nothing of the file raises."""
    try:
        data = DISK.read(path)
    except OSError as error:
        if told and error.errno in _NO_MORE:
            raise
        return None
    try:
        note = Note(**json.loads(data))
        aware = datetime.fromisoformat(note.heartbeat).utcoffset() is not None
    except (ValueError, TypeError, RecursionError):
        return None
    texts = (note.host, note.user, note.since, note.machine)
    return note if aware and type(note.pid) is int and all(isinstance(text, str) for text in texts) else None


def _write(fd: int, note: Note) -> None:
    data = (json.dumps(asdict(note), ensure_ascii=False) + "\n").encode()
    os.lseek(fd, 0, os.SEEK_SET)
    os.write(fd, data)
    os.ftruncate(fd, len(data))


def _time(now: datetime) -> str:
    return now.isoformat(timespec="seconds")
