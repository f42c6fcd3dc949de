"""The few file calls a run is kept with, and the names of the files beside it.

Owns: `Disk`, each method one call at which a disk can fail, so that a test can fail or kill there; and
`replace_file`. Invariant: after a crash at any call the old file stands or the new one, whole.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import stat
import sys
import time
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, NamedTuple, TypeVar

if sys.platform == "darwin":
    from fcntl import F_FULLFSYNC, fcntl

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

T = TypeVar("T")
_BINARY = getattr(os, "O_BINARY", 0)
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
NO_WAIT = getattr(os, "O_NONBLOCK", 0)
"""A pipe that stands in a file's place is opened without waiting for its other end."""
NOT_THERE = (errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG)
"""What the system says where no file is, or where none could be."""
NO_SUCH_CALL = (errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS)
"""What a file system says that does not know what it was asked for."""
_NO_FILE = "a pipe or a device stands in the file's place"
LARGEST = 256 * 1024 * 1024
"""Bytes of the largest file that is read: a log of half a million entries, and no memory is used up by a larger one."""
LARGEST_DOCUMENT = 16 * 1024 * 1024
"""Bytes of the largest document: three times a run of 20,000 rows."""
_data_sync = getattr(os, "fdatasync", os.fsync)
HINDERED = sys.platform == "win32"
"""Whether a file cannot be replaced or removed while another program reads it."""
PAUSES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.3)
"""Seconds between the tries, where it is so: a scanner or a synchroniser reads for an instant."""

PRIVATE = 0o600
"""The mode of recovery data: for the user alone."""


class Identity(NamedTuple):
    """What tells a file from another one, or from itself after a change, without reading it."""

    device: int
    inode: int
    size: int
    changed_ns: int

    @classmethod
    def of(cls, found: os.stat_result) -> Identity:
        """Take it from what the system says of the file."""
        return cls(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns)


class Disk:
    """The file calls. Each raises OSError where the disk does."""

    def read(self, path: Path, largest: int = LARGEST) -> bytes:
        """The whole of a file. Refused: a pipe or device, which may have no end, and a file larger than `largest`."""
        with self._regular(path) as file:
            data = file.read(largest + 1) if os.fstat(file.fileno()).st_size <= largest else None
        if data is None or len(data) > largest:
            raise OSError(errno.EFBIG, f"the file is larger than {largest >> 20} MB, which is not read", str(path))
        return data

    def read_end(self, path: Path, size: int) -> bytes:
        """The last `size` bytes of a file, refused as by `read`."""
        with self._regular(path) as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - size))
            return file.read(size)

    def _regular(self, path: Path) -> BinaryIO:
        """Open a file, no pipe or device, to read it."""
        fd = patiently(lambda: os.open(path, os.O_RDONLY | _BINARY | NO_WAIT))
        found = os.fstat(fd)
        if stat.S_ISREG(found.st_mode):
            return os.fdopen(fd, "rb")
        os.close(fd)
        if stat.S_ISDIR(found.st_mode):
            raise OSError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        raise OSError(errno.EINVAL, _NO_FILE, str(path))

    def look(self, path: Path) -> os.stat_result | None:
        """Say what stands at a path, a link not followed; None for nothing."""
        try:
            return path.lstat()
        except OSError as error:
            if error.errno in NOT_THERE:
                return None
            raise

    def open(self, path: Path, flags: int, mode: int = PRIVATE) -> int:
        """Open a file; a link at its last step is not followed."""
        return os.open(path, flags | _BINARY | _NO_LINK, mode)

    def close(self, fd: int) -> None:
        """Close it."""
        os.close(fd)

    def write(self, fd: int, data: bytes, at: int = 0) -> None:
        """Write all of `data` from byte `at` on."""
        os.lseek(fd, at, os.SEEK_SET)
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(fd, rest) :]

    def truncate(self, fd: int, size: int) -> None:
        """Cut the file to `size` bytes."""
        os.ftruncate(fd, size)

    def sync(self, fd: int) -> None:
        """Wait until data and size are on the disk."""
        if not full_sync(fd):
            os.fsync(fd)

    def sync_data(self, fd: int) -> None:
        """Wait until the data can be read back after a power cut."""
        if not full_sync(fd):
            _data_sync(fd)

    def replace(self, source: Path, target: Path) -> None:
        """Put `source` in the place of `target`, at once."""
        patiently(lambda: source.replace(target))

    def place(self, source: Path, target: Path) -> None:
        """Give `source` a name, or a second one; raises FileExistsError where something has it.

        On Windows a file that is read-only, as a copy of what was issued is, loses no name: there it is renamed, which
        puts it in the place of nothing.
        """
        if sys.platform == "win32":
            patiently(lambda: source.rename(target))
            return
        try:
            os.link(source, target)
        except FileExistsError:
            raise
        except (OSError, AttributeError):  # a disk without links
            if os.path.lexists(target):
                raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target)) from None
            source.replace(target)

    def make_folder(self, path: Path) -> None:
        """Make a folder for the user alone, its name on the disk; fine if it is there."""
        path.mkdir(mode=0o700, exist_ok=True)
        self.sync_folder(path.parent)

    def remove(self, path: Path) -> None:
        """Remove a file; fine if it is not there."""
        if sys.platform == "win32":  # where nobody removes one that is read-only
            with contextlib.suppress(OSError):
                path.chmod(0o600)
        patiently(lambda: path.unlink(missing_ok=True))

    def sync_folder(self, folder: Path) -> bool:
        """Wait until the folder's names are on the disk; whether there is such a call: `lacking` tells where not."""
        if os.name != "posix":  # a folder opens on no other
            return False
        fd = os.open(folder, os.O_RDONLY)
        try:
            self.sync(fd)
        except OSError as error:
            if error.errno not in NO_SUCH_CALL:
                raise
            return False
        finally:
            os.close(fd)
        return True


DISK = Disk()


def patiently(call: Callable[[], T]) -> T:
    """What a call returns, tried again for a second where a reader of the file may hinder it."""
    for pause in PAUSES if HINDERED else ():
        try:
            return call()
        except PermissionError:
            time.sleep(pause)
    return call()


def full_sync(fd: int) -> bool:
    """Have the drive write its own cache, on the one system whose fsync leaves that out; whether it did."""
    if sys.platform == "darwin":
        with contextlib.suppress(OSError):  # a disk of the network knows no such thing
            fcntl(fd, F_FULLFSYNC)
            return True
    return False


def replace_file(
    disk: Disk,
    path: Path,
    data: bytes,
    like: os.stat_result | None = None,
    put: Callable[[Path, Path], None] | None = None,
) -> Identity:
    """Write `data` as the whole of a file: beside it first, then in its place. Raises OSError; then the old one stands.

    `like` is the file whose mode is kept, and its owner where the system allows; without it the new one is private.
    `put` may refuse to put it there. Returns the new file's identity.
    """
    new = new_of(path)
    try:
        identity = _whole(disk, new, data, like)
        (put or disk.replace)(new, path)
    except OSError:
        with contextlib.suppress(OSError):
            disk.remove(new)  # a full disk needs the room
        raise
    disk.sync_folder(path.parent)
    return identity


def write_new(disk: Disk, path: Path, data: bytes, like: os.stat_result | None = None, mode: int = PRIVATE) -> None:
    """As `replace_file`, but raises FileExistsError where something stands. `mode` is less the user's mask."""
    new = new_of(path)
    try:
        _whole(disk, new, data, like, mode)
        disk.place(new, path)
    finally:
        with contextlib.suppress(OSError):
            disk.remove(new)
    disk.sync_folder(path.parent)


def write_over(disk: Disk, path: Path, data: bytes) -> None:
    """As `write_new`, or in the place of what stands there, in its mode: a file for others to read. Raises OSError."""
    found = disk.look(path)
    if found is None:
        write_new(disk, path, data, mode=0o666)
    else:
        replace_file(disk, path, data, found)


def clear(disk: Disk, path: Path) -> None:
    """Remove what a crash in the middle of writing this file left beside it."""
    disk.remove(new_of(path))


def new_of(path: Path) -> Path:
    """The name a file is written under before it is put in its place."""
    return path.with_name(f".{path.name}.new")


def _whole(disk: Disk, new: Path, data: bytes, like: os.stat_result | None, mode: int = PRIVATE) -> Identity:
    disk.remove(new)  # left by a crash
    fd = disk.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    try:
        if like is not None:
            make_like(new, like)
        disk.write(fd, data)
        disk.sync(fd)
        return Identity.of(os.fstat(fd))
    finally:
        disk.close(fd)


def make_like(path: Path, like: os.stat_result) -> None:
    """Set the mode of a file to that of another, and its owner where the system allows.

    Windows and some disks have neither in this sense: there a file is what its folder makes it, as `lacking` tells.
    """
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):
        os.chown(path, like.st_uid, like.st_gid)
    with contextlib.suppress(OSError):
        path.chmod(stat.S_IMODE(like.st_mode))


def digest(data: bytes) -> str:
    """SHA-256, in hexadecimal: what `sha256sum` prints for the file."""
    return hashlib.sha256(data).hexdigest()


# --- names ------------------------------------------------------------------------------------------------------


def real(path: Path) -> Path:
    """The file itself where `path` is a link: links stay links, and all names of a run share one log and lock."""
    return Path(os.path.realpath(path))


def spelling(path: Path) -> Path:
    """The path in one spelling for all that the file system takes for the same: another case, another composition."""
    text = str(path)
    for other in (unicodedata.normalize("NFC", text), text.lower(), unicodedata.normalize("NFC", text).lower()):
        if other != text and _is_same(other, text):
            text = other
    return Path(text)


def _is_same(other: str, text: str) -> bool:
    try:
        return Path(other).samefile(text)
    except (OSError, ValueError):
        return False


def log_of(document: Path) -> Path:
    """Name the edit log, `NAME.toml.log`."""
    return document.with_name(f"{document.name}.log")


def lock_of(document: Path) -> Path:
    """Name the lock, `.NAME.toml.lock`."""
    return document.with_name(f".{document.name}.lock")


def beside(document: Path, word: str) -> Path:
    """Name a file kept beside the document, `NAME.before-edit.toml`."""
    return document.with_name(f"{document.stem}.{word}{document.suffix}")


def torn_of(document: Path, at: datetime) -> Path:
    """The name for an end of the log that cannot be read, `NAME.toml.log.torn-20260311-090500`, not there yet."""
    first = f"{log_of(document).name}.torn-{at:%Y%m%d-%H%M%S}"
    tries = (document.with_name(f"{first}{more}") for more in ("", *(f"-{n}" for n in range(2, 1000))))
    return next(path for path in tries if not os.path.lexists(path))


def unused(document: Path, word: str, at: datetime) -> Path:
    """Name a file kept beside the document that is not there yet, `NAME.ours-20260311-090500.toml`."""
    tries = (beside(document, f"{word}-{at:%Y%m%d-%H%M%S}{more}") for more in ("", *(f"-{n}" for n in range(2, 1000))))
    return next(path for path in tries if not os.path.lexists(path))


_DEVICES = {"con", "prn", "aux", "nul", "conin$", "conout$"} | {
    f"{port}{n}" for port in ("com", "lpt") for n in "123456789"
}
_SIGNS = '<>:"|?*'


def not_a_name(name: str) -> str:
    """Why Windows takes a name for something else than a file; empty where it does not."""
    if name.partition(".")[0].rstrip(" ").lower() in _DEVICES:
        return f"{name.partition('.')[0]} is a device on this system, whatever ending it has; take another name"
    if signs := [sign for sign in name if sign in _SIGNS or ord(sign) < 32]:
        return f"a name with {signs[0]!r} in it is no file's on this system; take another name"
    return "a name that ends in a point or a space is no file's on this system" if name.endswith((".", " ")) else ""


def nameable(path: Path) -> None:
    """Raise OSError where the system would take the name, as it was given, for something else than a file."""
    if sys.platform == "win32" and (reason := not_a_name(path.name)):
        raise OSError(errno.EINVAL, reason, str(path))


def fitting(document: Path) -> None:
    """Raise OSError where the names of the files kept beside a document would be too long for its disk."""
    if sys.platform == "win32":  # which says so itself
        return
    longest = new_of(beside(document, "theirs-20260311-090500-999"))
    try:
        room = os.pathconf(document.parent, "PC_NAME_MAX")
    except (ValueError, OSError):  # no folder: what is wrong shows elsewhere
        return
    if (over := len(os.fsencode(longest.name)) - room) > 0:
        why = f"the name is too long by {over} bytes for the names of the log and the copies beside it"
        raise OSError(errno.ENAMETOOLONG, why, str(document))


_WORDS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EIO: "the disk reports an error",
    errno.EACCES: "writing is not permitted",
    errno.EPERM: "writing is not permitted",
    errno.EROFS: "the disk is read-only",
    errno.ENOENT: "the folder is gone",
    errno.ENOTDIR: "the folder is gone",
    errno.EISDIR: "a folder stands in the file's place",
    errno.ELOOP: "a link stands in the file's place",
    errno.EMFILE: "this program has no file left to open",
    errno.ENFILE: "the system has no file left to open",
}


def words(error: OSError) -> str:
    """Say what a disk's error means."""
    return _WORDS.get(error.errno or 0) or error.strerror or str(error)


def unread(error: OSError) -> str:
    """Say why something cannot be read, of which it is known that it is there."""
    return "reading is not permitted" if error.errno in (errno.EACCES, errno.EPERM) else words(error)
