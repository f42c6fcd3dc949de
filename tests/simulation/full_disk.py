"""A disk of a given size, for a day on which it fills up.

Owns: `Small`, a fault layer that counts what the files of a folder take, in blocks; and `tmpfs`, the same for real. A
write within what a file already has takes no room, and a full disk refuses every other.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import subprocess
from typing import TYPE_CHECKING

from runsheet.run.disk import files
from runsheet.run.disk.files import Disk

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

BLOCK = 4096


class Small(Disk):
    """A disk of `size` bytes under one folder; what lies elsewhere is on a disk with room."""

    def __init__(self, folder: Path, size: int) -> None:
        """Take the folder that is on it."""
        self._folder, self.size = folder, size
        self._small: set[int] = set()

    @property
    def free(self) -> int:
        """Bytes nobody has."""
        found = (path for path in self._folder.rglob("*") if path.is_file() and not path.is_symlink())
        return self.size - sum(_blocks(path.stat().st_size) for path in found)

    def open(self, path: Path, flags: int, mode: int = files.PRIVATE) -> int:
        """Open a file, and remember on which disk it is."""
        fd = super().open(path, flags, mode)
        if path.is_relative_to(self._folder):
            self._small.add(fd)
        else:
            self._small.discard(fd)
        return fd

    def write(self, fd: int, data: bytes, at: int = 0) -> None:
        """Write what there is room for; raise OSError where that is not all."""
        if fd not in self._small:
            super().write(fd, data, at)
            return
        has = _blocks(os.fstat(fd).st_size)
        fits = max(0, min(len(data), has + max(0, self.free) // BLOCK * BLOCK - at))
        super().write(fd, data[:fits], at)
        if fits < len(data):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def fill(self, left: int) -> None:
        """Have someone else take all but `left` bytes."""
        self.size -= max(0, self.free - left)


def _blocks(size: int) -> int:
    return -(-size // BLOCK) * BLOCK


@contextlib.contextmanager
def tmpfs(folder: Path, size: str) -> Iterator[bool]:
    """A real file system of that size at a folder; gives whether it could be made, which needs root."""
    mount = shutil.which("mount")
    command = [mount or "", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    done = mount is not None and not subprocess.run(command, capture_output=True, check=False).returncode
    try:
        yield done
    finally:
        if done:
            subprocess.run(["umount", "--lazy", str(folder)], check=True)


def fill(path: Path, left: int) -> None:
    """Write a file until a real disk is full, then leave `left` bytes free."""
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(b"x" * BLOCK):
            pass
    os.truncate(path, max(0, path.stat().st_size - left))
