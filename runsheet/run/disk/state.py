"""The folders for what cannot be kept beside a document: the state folder, and what stands in for it.

Owns: where they are, and who may write there. Invariant: nothing is written to, or believed from, a folder that is not
the user's own or that others may write into.

What is in the state folder is 0600, in folders of 0700; the log and copies beside a run take the run's own mode, so
that who may read the run may open it with its log.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.run.disk.files import DISK, Disk, spelling

if TYPE_CHECKING:
    from collections.abc import Iterator

SHARED_MEMORY = Path("/dev/shm")  # noqa: S108 - a folder of the user's own in it, looked at before it is used


def folder() -> Path:
    """The state folder: `RUNSHEET_STATE`, else the platform's."""
    if named := os.environ.get("RUNSHEET_STATE"):
        return Path(named)
    import platformdirs

    return platformdirs.user_state_path("runsheet")


def places() -> Iterator[Path]:
    """The state folder, then those in memory, which a full disk leaves free and a restart empties.

    `RUNSHEET_MEMORY` names another folder than that of the shared memory.
    """
    yield folder()
    if named := os.environ.get("XDG_RUNTIME_DIR"):
        yield Path(named) / "runsheet"
    memory = Path(os.environ.get("RUNSHEET_MEMORY") or SHARED_MEMORY)
    if sys.platform != "win32" and memory.is_dir():
        yield memory / f"runsheet-{os.getuid()}"


def private(place: Path, disk: Disk = DISK) -> None:
    """Make a folder, and those above it that are missing, for the user alone. Raises OSError."""
    if not place.is_dir():
        _made(place, disk)
    if reason := shared(place):
        raise OSError(errno.EPERM, reason, str(place))


def _made(place: Path, disk: Disk) -> None:
    if not place.is_dir():
        _made(place.parent, disk)
        disk.make_folder(place)


def shared(place: Path) -> str:
    """Why a folder is not the user's own; empty where it is, or is not there."""
    try:
        found = place.lstat()
    except OSError:
        return ""
    if sys.platform == "win32":  # which has no owner and mode in this sense
        return ""
    owners = {found.st_uid}
    if stat.S_ISLNK(found.st_mode):  # whose link it is counts as well: another could lead it elsewhere
        found = place.stat()
        owners.add(found.st_uid)
    if owners != {os.geteuid()}:
        return f"{place} belongs to someone else"
    return f"others may write into {place}" if found.st_mode & 0o022 else ""


def of_path(document: Path) -> str:
    """Twelve characters that stand for a document's place, however its name was spelled."""
    document = spelling(document)
    return hashlib.sha256(os.fsencode(document)).hexdigest()[:12]


def plain(document: Path) -> str:
    """A document's name for the name of another file: short, and safe to type."""
    return "".join(sign if sign.isalnum() or sign in " -_." else "_" for sign in document.stem[:40])


def kept_for(document: Path, ending: str) -> Path:
    """The file of the state folder that belongs to the document at this place."""
    return folder() / f"{plain(spelling(document))}-{of_path(document)}{ending}"
