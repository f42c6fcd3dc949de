"""What a disk cannot do for a run.

Owns: the sentences about it. Invariant: each is found out by trying, on the disk at hand, with the calls a run is kept
with; none is told of a system by its name.
"""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING

from runsheet.run.disk import files

if TYPE_CHECKING:
    from pathlib import Path

NO_MODES = "this disk keeps no file modes: who may read the run and its log is up to the folder"
NO_SYNC = (
    "this system syncs no folder: after a power cut a file just made may be missing, one just replaced the old one"
)


def lacking(disk: files.Disk, document: Path) -> list[str]:
    """What keeping this document goes without; a disk that takes nothing is told of when it is written."""
    told = []
    with contextlib.suppress(OSError):
        if not _keeps_modes(disk, files.new_of(document)):
            told.append(NO_MODES)
        if not disk.sync_folder(document.parent):
            told.append(NO_SYNC)
    return told


def _keeps_modes(disk: files.Disk, probe: Path) -> bool:
    """Whether a file made for the user alone is shut to others."""
    fd = disk.open(probe, os.O_WRONLY | os.O_CREAT | os.O_EXCL, files.PRIVATE)
    try:
        return not os.fstat(fd).st_mode & 0o077
    finally:
        disk.close(fd)
        disk.remove(probe)
