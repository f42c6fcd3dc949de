"""Entries that the log's own disk does not take, kept elsewhere until it does.

Owns: the rescue file, its name, the reserve, and finding a rescue again. Invariant: a rescue is a piece of the log,
from its first line or from its last line on the disk on; it is counted with the log whose lines it goes on from,
wherever that log lies, and with no other.

The reserve is a file of zeros in the state folder: its room is taken while there is some, so that the first hundreds of
entries fit where that folder is on the same full disk.
"""

from __future__ import annotations

import contextlib
import errno
import os
from typing import TYPE_CHECKING, NamedTuple

from runsheet.figures import counted
from runsheet.run.disk import files, log, state
from runsheet.run.disk.files import Disk, digest

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

ENDING = ".rescue"
RESERVE = "reserve"
ROOM = 256 * 1024
"""Bytes of the reserve: some five hundred readings."""


class Joined(NamedTuple):
    """A log with what rescues have of it."""

    data: bytes
    """The log's whole steps, and the rescued ones after them."""
    used: tuple[Path, ...]
    """Rescues that hold some of those after."""
    own: tuple[Path, ...]
    """Rescues of the document at this place whose entries are all in `data`."""
    foreign: tuple[Path, ...]
    """Those of this place that do not go on from any line of the log."""
    notes: tuple[str, ...]


class Rescue:
    """The rescue of one run open for writing: added to at its end."""

    def __init__(self, disk: Disk, document: Path, found: tuple[Path, ...], begun: str) -> None:
        """Take the rescues there are already; `begun` is the digest of the document the log begins with."""
        self._disk, self._document, self._begun = disk, document, begun
        self._found = set(found)
        self.path: Path | None = None
        """Where it is; None where there is none."""
        self.end = 0
        """Bytes of the log up to the end of what it holds."""
        self._from = 0

    def keep(self, data: bytes, safe: int) -> None:
        """Keep what of the log `data` is not on its disk, which has `safe` bytes of it. Raises OSError."""
        if self.path is not None:
            with contextlib.suppress(OSError):
                self._add(data)
                return
        self._begin(data, safe)

    def drop(self) -> None:
        """Remove the rescues: all they hold is in the log on its disk."""
        for path in [*self._found, *filter(None, [self.path])]:
            with contextlib.suppress(OSError):
                self._disk.remove(path)
                self._found.discard(path)
        self.path, self.end = None, 0

    def _add(self, data: bytes) -> None:
        if self.path is None or self.end >= len(data):
            return
        fd = self._disk.open(self.path, os.O_RDWR)
        try:
            if os.fstat(fd).st_size < self.end - self._from:
                raise OSError(errno.ESTALE, "another program changed the rescue")
            self._disk.write(fd, data[self.end :], self.end - self._from)
            self._disk.sync(fd)
        finally:
            self._disk.close(fd)
        self.end = len(data)

    def _begin(self, data: bytes, safe: int) -> None:
        """Begin it in the first place that takes it: all of the log, else what follows the last line on the disk."""
        last_line = data.rfind(b"\n", 0, max(0, safe - 1)) + 1 if safe else 0
        error = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        for number, place in enumerate(state.places()):
            path = place / self._name(data)
            for begin in dict.fromkeys((0, last_line)):
                try:
                    state.private(place, self._disk)
                    self._whole(path, data[begin:], reserved=begin > 0 or safe == 0) if number == 0 else (
                        files.replace_file(self._disk, path, data[begin:])
                    )
                except OSError as found:
                    error = found
                else:
                    self._found |= {self.path} if self.path not in (None, path) else set()
                    self.path, self._from, self.end = path, begin, len(data)
                    return
        raise error

    def _whole(self, path: Path, data: bytes, *, reserved: bool) -> None:
        """Write the rescue as a new file, or, `reserved`, into the reserve where no room is left for one."""
        try:
            files.replace_file(self._disk, path, data)
        except OSError:
            if not reserved:
                raise
            _from_reserve(self._disk, path, data)

    def _name(self, data: bytes) -> str:
        begun = self._begun or _begun(data)
        return f"{state.plain(self._document)}-{begun[:12]}-{state.of_path(self._document)}{ENDING}"


def _from_reserve(disk: Disk, path: Path, data: bytes) -> None:
    """Write a rescue over the reserve's zeros. The zeros after it are no lines. Raises OSError where there is none."""
    taken, reserve = files.new_of(path), path.with_name(RESERVE)
    disk.replace(reserve, taken)  # at once: another run may want it too
    try:
        fd = disk.open(taken, os.O_RDWR)
        try:
            disk.write(fd, data, 0)
            disk.sync(fd)
        finally:
            disk.close(fd)
        disk.replace(taken, path)
    except OSError:
        with contextlib.suppress(OSError):
            disk.remove(taken)  # it may be half written over, and a full disk needs the room
        raise
    disk.sync_folder(path.parent)


def set_aside(disk: Disk) -> None:
    """Make the reserve where there is none. Raises OSError."""
    place = state.folder()
    if disk.look(place / RESERVE) is None:
        state.private(place, disk)
        files.replace_file(disk, place / RESERVE, bytes(ROOM))


# --- finding it again -------------------------------------------------------------------------------------------


def any_there() -> bool:
    """Whether there is a rescue of any run."""
    return any(True for _ in _all())


def by_name() -> dict[str, list[Path]]:
    """The rescues there are, by what `state.plain` makes of the name of the document each was begun for."""
    found: dict[str, list[Path]] = {}
    for path in _all():
        found.setdefault(path.name.rsplit("-", 2)[0], []).append(path)
    return found


def known(document: Path) -> list[Path]:
    """The rescues of the document at this place."""
    return list(_matching("", state.of_path(document)))


def join(disk: Disk, document: Path, whole: bytes, data: bytes | None) -> Joined:
    """The whole steps of a log, with those a rescue has after them; `data` is the document."""
    key = (_begun(whole) if whole else digest(data) if data is not None else "")[:12]
    pieces, spoilt = _pieces(disk, key, state.of_path(document))
    here = {path for path in pieces if _is_of(path, document)}
    joined = {path: _spliced(whole, piece) for path, piece in pieces.items() if whole or path in here}
    best = max([whole, *filter(None, joined.values())], key=len)
    fits = {path for path, log_bytes in joined.items() if log_bytes is not None and best.startswith(log_bytes)}
    notes = [_elsewhere(path, pieces[path], document) for path in pieces if path not in joined]
    begun = f"entries of a document that began as {document.name} did are kept in"
    notes += [f"{begun} {path}; they do not fit its log" for path in joined.keys() - fits - here]
    return Joined(
        best,
        tuple(path for path in fits if len(joined[path] or b"") > len(whole)),
        (*(fits & here), *(path for path in spoilt if _is_of(path, document))),
        tuple(here - fits),
        tuple(notes),
    )


def _pieces(disk: Disk, key: str, here: str) -> tuple[dict[Path, bytes], list[Path]]:
    """What each rescue holds that may be of a log, and the rescues that hold no whole step, left by a cut of power."""
    pieces, spoilt = {}, []
    for path in _matching(key, here):
        with contextlib.suppress(OSError):  # a state folder that cannot be read keeps nobody from the document
            data = disk.read(path)
            if piece := data[: log.parse(data).whole]:
                pieces[path] = piece
            else:
                spoilt.append(path)
    return pieces, spoilt


def _is_of(path: Path, document: Path) -> bool:
    """Whether a rescue is of the document at just this place."""
    return path.name.endswith(f"-{state.of_path(document)}{ENDING}")


def _spliced(whole: bytes, piece: bytes) -> bytes | None:
    """The log with a piece of it in its place; None where the piece does not go on from the log's lines."""
    if not whole:
        return piece
    first = piece[: piece.find(b"\n") + 1]
    at = 0 if whole.startswith(first) else whole.find(b"\n" + first) + 1
    if not first or (at == 0 and not whole.startswith(first)):
        return None
    joined = whole[:at] + piece
    if whole.startswith(joined):
        return whole
    return joined if joined.startswith(whole) else None


def _elsewhere(path: Path, piece: bytes, document: Path) -> str:
    """What is said of a rescue that begins from a document like this one, whose log was never written."""
    count = sum(step.count for step in log.parse(piece).steps)
    where = files.log_of(document).name
    are, they = ("is", "it counts") if count == 1 else ("are", "they count")
    entries = counted(count, "entry", "entries")
    return f"{entries} typed into a document like this {are} kept in {path}; copied here as {where} {they}"


def _begun(whole: bytes) -> str:
    """The digest of the document a log begins with."""
    first = log.parse(whole[: whole.find(b"\n") + 1]).steps
    return first[0].document if first else ""


def _matching(key: str, here: str) -> Iterator[Path]:
    for path in _all():
        if path.name.endswith(f"-{here}{ENDING}") or (key and f"-{key}-" in path.name):
            yield path


def _all() -> Iterator[Path]:
    """Every rescue of any run."""
    return (place / name for place in state.places() for name in _in(place))


def _in(place: Path) -> list[str]:
    """The names of the rescues of a folder, where it is the user's own."""
    try:
        names = sorted(path.name for path in place.iterdir() if path.name.endswith(ENDING))
    except OSError:
        return []
    return [] if names and state.shared(place) else names
