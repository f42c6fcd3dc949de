"""The run documents of a folder: found, and read into rows.

Owns: which files count, when one has changed, and reading many at once. Invariant: nothing raises on what a file holds;
what cannot be computed from gives a row that says why. Nothing is written.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import tables
from runsheet.history import workers
from runsheet.history.rows import RunRow
from runsheet.problem import has_errors
from runsheet.run.disk import copies, register, state

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.history.extract import Facts
    from runsheet.problem import Problem
    from runsheet.run.model import Run

KEPT_COPIES = re.compile(r"\.before-edit\.toml|\.ours-|\.theirs-")
"""What the program keeps beside a run, which is no run of its own."""
OWN_FILES = ("baselines.toml", "rounds.toml", "laboratory.toml")
"""What lies beside runs and is none."""
TOGETHER = 40
"""Documents that are worth a process of their own."""
TAIL = 4096
"""Bytes of a log's end that hold its last line; a longer one is read whole."""


def find(folder: Path, *, deep: bool = True) -> dict[str, str]:
    """The documents of a folder, and `deep` of those below it, by path, with their stamps.

    Hidden files and folders are passed over. A folder below that cannot be read stands for itself, with a slash at its
    end: what it holds is not known to be nothing. The top one raises OSError.
    """
    os.scandir(folder).close()
    found: dict[str, str] = {}
    _walk(str(folder), "", found, deep=deep)
    if kept := _rescue_stamps():
        for path in found:
            if more := kept.get(state.plain(Path(path))):
                found[path] += f" {more}"
    return found


def _rescue_stamps() -> dict[str, str]:
    """What stands for the entries kept elsewhere, by document name: neither a document nor its log changes by them.

    By its name and not by its place, as they count for a copy too. Mostly there is none, and no name is looked at.
    """
    from runsheet.run.disk import rescue

    stamps = {}
    for name, paths in rescue.by_name().items():
        with contextlib.suppress(OSError):  # gone while we looked
            looks = [(path, path.stat()) for path in paths]
            stamps[name] = " ".join(f"{path.name} {look.st_size} {look.st_mtime_ns}" for path, look in looks)
    return stamps


def _walk(folder: str, below: str, found: dict[str, str], *, deep: bool) -> None:
    """Add the documents of a folder to those found, each file looked at once: there may be a hundred thousand."""
    try:
        with os.scandir(folder) as entries:
            seen = {entry.name: entry for entry in entries if not entry.name.startswith(".")}
    except FileNotFoundError:  # gone while we looked
        return
    except OSError:
        found[below] = NO_STAMP
        return
    for name in sorted(seen):
        entry = seen[name]
        try:
            if entry.is_dir(follow_symlinks=False):
                if deep and not (name == copies.FOLDER and register.NAME in seen):  # those are no runs of their own
                    _walk(entry.path, f"{below}{name}/", found, deep=deep)
            elif name.endswith(".toml") and name not in OWN_FILES and not KEPT_COPIES.search(name):
                log = seen.get(f"{name}.log")
                found[below + name] = f"{_stamp(entry)} {_stamp(log) if log else NO_STAMP}"
        except OSError:  # gone while we looked
            continue


def shown(path: str) -> str:
    """A path as the tables name it: a name that is no text has its strange bytes as escapes."""
    return path if path.isascii() else path.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


NO_STAMP = "-"


def _stamp(entry: os.DirEntry[str]) -> str:
    """Size, times and inode of what stands there; a link to nothing has none, and the reading says so.

    The second time is that of the last change of any kind, which no program sets: the first can be put back.
    """
    try:
        stat = entry.stat()
        if not stat.st_ino:  # Windows leaves it out of what it lists
            stat = Path(entry.path).stat()
    except OSError:
        return NO_STAMP
    return f"{stat.st_size} {stat.st_mtime_ns} {stat.st_ctime_ns} {stat.st_ino}"


# --- reading ----------------------------------------------------------------------------------------------------


def rescues() -> bool:
    """Whether entries of any run are kept elsewhere: asked once before many documents are read."""
    from runsheet.run.disk import rescue

    return rescue.any_there()


def read(folder: str, path: str, stamp: str, *, rescued: bool = True) -> Facts:
    """Read one document into its rows, with what its log has ahead of it, and `rescued` what is kept elsewhere.

    Whatever goes wrong with it is a finding about it: one file must not keep the others of a folder from being read.
    """
    from runsheet.history import extract

    name = shown(path)
    try:
        data, run, problems = _look(Path(folder, path), rescued=rescued)
        if run is None or has_errors(problems):
            return extract.Facts(_unread(name, stamp, why(data, problems)))
        return extract.facts(name, stamp, run)
    except OSError as error:
        what = "the folder cannot be read: " if path.endswith("/") else ""
        return extract.Facts(_unread(name, stamp, what + (error.strerror or str(error))))
    except MemoryError:
        return extract.Facts(_unread(name, stamp, "it needs more memory than there is"))
    except Exception as error:  # noqa: BLE001 - a fault of this program, told with the document it shows in
        return extract.Facts(_unread(name, stamp, f"a fault of this program: {type(error).__name__}: {error}"))


def _look(document: Path, *, rescued: bool) -> tuple[bytes, Run | None, Sequence[Problem]]:
    """Read a document; its log too, where the log's last line says that it is ahead of the document."""
    from runsheet.run.disk import files, opening

    document = files.real(document)
    data = files.DISK.read(document, files.LARGEST_DOCUMENT)
    if not rescued and _level(files.log_of(document), data):
        return data, *opening.parsed(data)
    found = opening.look(document)
    return found.data or b"", found.run, found.problems


def _level(log: Path, data: bytes) -> bool:
    """Whether a log's end leads to just this document; one that is not there does."""
    from runsheet.run.disk import files

    try:
        last = files.DISK.read_end(log, TAIL).splitlines()[-1]
    except FileNotFoundError:
        return True
    except (OSError, IndexError):
        return False
    return f'"document": "{hashlib.sha256(data).hexdigest()}"'.encode() in last


def is_none(data: bytes) -> bool:
    """Whether a file holds no run at all."""
    found, _ = tables.parse(data.decode(errors="replace"))
    return found is not None and "run" not in found and "format" not in found


def why(data: bytes, problems: Sequence[Problem]) -> str:
    """Say why a document is none to compute from: first the plain cases, as a file not wholly copied."""
    if not data.strip():
        return "the file is empty"
    if is_none(data):
        return NO_RUN
    errors = [problem for problem in problems if problem.level == "error"]
    return str(errors[0]) if errors else "nothing could be read"


NO_RUN = "no run document"
"""What is said of a TOML file that is something else."""


def _unread(path: str, stamp: str, problem: str) -> RunRow:
    return RunRow(path, stamp, problem, "", "", "", "", "", "", "", "", "", 0, "", "")


def read_all(folder: Path, wanted: Iterable[tuple[str, str]]) -> Iterator[Facts]:
    """Read documents, given as path and stamp, in any order; many of them in several processes.

    Of two that the tables name alike, as a name that is no text may be another's, one is read.
    """
    unanswered = {shown(path): (path, stamp) for path, stamp in wanted}
    todo = list(unanswered.values())
    processes = min(os.cpu_count() or 1, len(todo) // TOGETHER)
    if processes > 1:
        with contextlib.suppress(OSError):  # no processes to be had: all is read here
            for facts in workers.read(str(folder), todo, processes):
                unanswered.pop(facts.run.path, None)
                yield facts
    rescued = rescues()
    for path, stamp in unanswered.values():
        yield read(str(folder), path, stamp, rescued=rescued)
