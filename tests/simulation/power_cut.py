"""What a power cut can leave on a disk, for every moment of a recorded day.

Owns: `Recording`, which writes down each file call; `Machine`, which follows what of them is on the disk for certain;
`states`, which makes what a cut may leave. Invariant of the model: data counts after a sync of its file, a name after
a sync of its folder, and until then each piece of 512 bytes and each name is there or not, in any order. Data that was
dropped within a file's length reads as zeros. A rename happens whole or not at all.
"""

from __future__ import annotations

import os
import shutil
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from runsheet.run.disk import files
from runsheet.run.disk.files import Disk

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Iterator

SECTOR = 512


class Call(NamedTuple):
    """One file call, or `accepted`: how many entries were accepted by then."""

    name: str
    file: int = 0
    """The file's number, which it keeps through renames."""
    at: int = 0
    data: bytes = b""
    path: Path = Path()
    target: Path = Path()


class Recording(Disk):
    """A disk that does what another does, and writes each call down."""

    def __init__(self, inner: Disk, document: Path) -> None:
        """Start with one file, the document, for certain on the disk."""
        self._inner = inner
        self.calls: list[Call] = []
        self._numbers = {document: 0}
        self._count = 0
        self._open: dict[int, int] = {}

    def accepted(self, count: int) -> None:
        """Write down that a person was told of `count` entries as kept."""
        self.calls.append(Call("accepted", count))

    def _note(self, *call: object) -> None:
        self.calls.append(Call(*call))  # type: ignore[arg-type]

    def look(self, path: Path) -> os.stat_result | None:
        """Look; nothing to write down."""
        return self._inner.look(path)

    def open(self, path: Path, flags: int, mode: int = files.PRIVATE) -> int:
        """Open a file; a new one gets its number."""
        fd = self._inner.open(path, flags, mode)
        if flags & os.O_CREAT:
            self._count += 1
            self._numbers[path] = self._count
            self._note("create", self._count, 0, b"", path)
        self._open[fd] = self._numbers[path]
        return fd

    def close(self, fd: int) -> None:
        """Close it."""
        self._inner.close(fd)

    def write(self, fd: int, data: bytes, at: int = 0) -> None:
        """Write; of one that fails, what got there is written down."""
        try:
            self._inner.write(fd, data, at)
        except OSError:
            self._note("write", self._open[fd], at, os.pread(fd, len(data), at))
            raise
        self._note("write", self._open[fd], at, data)

    def truncate(self, fd: int, size: int) -> None:
        """Cut the file."""
        self._inner.truncate(fd, size)
        self._note("truncate", self._open[fd], size)

    def sync(self, fd: int) -> None:
        """Have data and size on the disk; a folder's file is told apart by `sync_folder`."""
        self._inner.sync(fd)
        if fd in self._open:
            self._note("sync", self._open[fd])

    def sync_data(self, fd: int) -> None:
        """Have the data on the disk, and the size it needs."""
        self._inner.sync_data(fd)
        self._note("sync", self._open[fd])

    def replace(self, source: Path, target: Path) -> None:
        """Rename."""
        self._inner.replace(source, target)
        self._numbers[target] = self._numbers.pop(source)
        self._note("replace", 0, 0, b"", source, target)

    def place(self, source: Path, target: Path) -> None:
        """Make a second name."""
        self._inner.place(source, target)
        self._numbers[target] = self._numbers[source]
        self._note("place", 0, 0, b"", source, target)

    def make_folder(self, path: Path) -> None:
        """Make a folder; its name is for certain there after a sync of the one above."""
        self._note("make_folder", 0, 0, b"", path)
        super().make_folder(path)

    def remove(self, path: Path) -> None:
        """Remove a file."""
        self._inner.remove(path)
        if self._numbers.pop(path, None) is not None:
            self._note("remove", 0, 0, b"", path)

    def sync_folder(self, folder: Path) -> bool:
        """Have the folder's names on the disk."""
        done = self._inner.sync_folder(folder)
        self._note("sync_folder", 0, 0, b"", folder)
        return done


@dataclass
class Machine:
    """What is on the disk for certain, and what only may be."""

    folder: Path
    data: dict[int, bytes]
    names: dict[Path, int]
    folders: set[Path] = field(default_factory=set)
    loose_data: dict[int, list[Call]] = field(default_factory=dict)
    loose_names: list[Call] = field(default_factory=list)
    accepted: int = 0

    def take(self, call: Call) -> None:
        """Follow one call."""
        if call.name == "accepted":
            self.accepted = call.file
        elif call.name in ("write", "truncate"):
            self.loose_data.setdefault(call.file, []).append(call)
        elif call.name == "sync":
            for loose in self.loose_data.pop(call.file, []):
                self.data[call.file] = _done(self.data.get(call.file, b""), loose)
        elif call.name == "sync_folder":
            for loose in [loose for loose in self.loose_names if loose.path.parent == call.path]:
                _name(self.names, self.folders, loose)
                self.loose_names.remove(loose)
        else:
            self.loose_names.append(call)

    def cut(self, chance: Callable[[], bool]) -> tuple[dict[Path, bytes], set[Path]]:
        """What a power cut now leaves: `chance` says of each loose piece and name whether it is there."""
        names, folders = dict(self.names), set(self.folders)
        for loose in self.loose_names:
            if chance():
                _name(names, folders, loose)
        data = dict(self.data)
        for number, calls in self.loose_data.items():
            for call in calls:
                for piece in _pieces(call):
                    if chance():
                        data[number] = _done(data.get(number, b""), piece)
        made = {path: data.get(number, b"") for path, number in names.items()}
        known = {self.folder, *folders}
        return {path: content for path, content in made.items() if _there(path.parent, known, self.folder)}, folders


def _there(folder: Path, known: set[Path], root: Path) -> bool:
    """Whether a folder and all above it, up to the day's own, are there; a file in one that is not is lost."""
    return folder == root or (folder in known and _there(folder.parent, known, root))


def _done(data: bytes, call: Call) -> bytes:
    """A file's bytes after a write or a cut; what lies between its old end and the write reads as zeros."""
    if call.name == "truncate":
        return data[: call.at].ljust(call.at, b"\0")
    return data[: call.at].ljust(call.at, b"\0") + call.data + data[call.at + len(call.data) :]


def _pieces(call: Call) -> Iterator[Call]:
    """A write as the disk takes it: cut at every 512 bytes of the file."""
    if call.name == "truncate":
        yield call
        return
    at, end = call.at, call.at + len(call.data)
    while at < end:
        stop = min(end, (at // SECTOR + 1) * SECTOR)
        yield call._replace(at=at, data=call.data[at - call.at : stop - call.at])
        at = stop


def _name(names: dict[Path, int], folders: set[Path], call: Call) -> None:
    if call.name == "make_folder":
        folders.add(call.path)
    elif call.name == "create":
        names[call.path] = call.file
    elif call.name == "remove":
        names.pop(call.path, None)
    elif call.path in names:  # a rename or second name of what never got there is none either
        names[call.target] = names[call.path] if call.name == "place" else names.pop(call.path)


def states(
    folder: Path, first: dict[Path, bytes], calls: list[Call], each: int, random_: random.Random
) -> Iterator[tuple[int, str, int]]:
    """Leave in `folder`, one after the other, what power cuts leave; gives the call, how it was drawn, and how many
    entries were accepted by then.

    After each call: nothing loose is there; all is; and `each` times at random, half of it or nearly all.
    """
    names = {path: number for number, path in enumerate(first)}
    machine = Machine(folder, dict(enumerate(first.values())), names, {path.parent for path in first})
    for number, call in enumerate(calls):
        machine.take(call)
        if call.name == "accepted":
            continue
        drawn: list[tuple[str, Callable[[], bool]]] = [("none", lambda: False), ("all", lambda: True)]
        drawn += [(f"{part:.0%}", _chance(random_, part)) for part in (0.5, 0.9, 0.1) * each][:each]
        for how, chance in drawn if machine.loose_data or machine.loose_names else drawn[:1]:
            _leave(folder, *machine.cut(chance))
            yield number, how, machine.accepted


def _chance(random_: random.Random, part: float) -> Callable[[], bool]:
    return lambda: random_.random() < part


def _leave(folder: Path, found: dict[Path, bytes], folders: set[Path]) -> None:
    for entry in folder.iterdir():
        shutil.rmtree(entry) if entry.is_dir() else entry.unlink()
    for path in sorted(folders):
        if path.parent.is_dir():
            path.mkdir(mode=0o700, exist_ok=True)
    for path, data in found.items():
        path.write_bytes(data)
        path.chmod(0o600)
