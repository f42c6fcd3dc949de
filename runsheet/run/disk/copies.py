"""The read-only copies of what was issued: document, log and report, beside the register in `issued/`.

Owns: their names, `stage`, `settle`, `look`, `broken_off`. Invariant: they are staged under hidden names before the
register's line is written and get their names after it, so that a copy without a line is one whose line went.

An issue cut off after its line is finished by the next opening for work: what the copy of the log has more than the
log, if it is that one step, counts as a part of the log.
"""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING, NamedTuple

from runsheet.run.disk import files, log, register
from runsheet.run.disk.files import DISK, Disk

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from runsheet.run.disk.register import Line

FOLDER = "issued"
STAGED = ".staged"
FORMS = ("html", "md", "txt")
READ_ONLY = 0o444


class Copies(NamedTuple):
    """What is kept of one issue; None for what is not there."""

    document: bytes | None
    log: bytes | None
    report: bytes | None


def folder(of_register: Path) -> Path:
    """Where the copies are."""
    return of_register.parent / FOLDER


def name(number: str) -> str:
    """A report's number as a file's name."""
    return "".join(sign if sign.isalnum() or sign in "-_." else "_" for sign in number).lstrip(".") or "_"


def paths(of_register: Path, number: str, form: str) -> tuple[Path, Path, Path]:
    """The names of document, log and report of an issue."""
    begin = folder(of_register) / name(number)
    endings = (".toml", ".toml.log", f".{form}")
    document, log_, report = (begin.with_name(begin.name + ending) for ending in endings)
    return document, log_, report


def _staged(path: Path) -> Path:
    return path.with_name(f".{path.name}{STAGED}")


def stage(of_register: Path, number: str, form: str, kept: Copies, disk: Disk = DISK) -> None:
    """Write the copies under hidden names; those of an issue that was cut off are replaced. Raises OSError."""
    if not folder(of_register).is_dir():
        folder(of_register).mkdir()
        disk.sync_folder(of_register.parent)
    for path, data in zip(paths(of_register, number, form), kept, strict=True):
        disk.remove(_staged(path))
        files.write_new(disk, _staged(path), data or b"", mode=READ_ONLY)


def drop(of_register: Path, number: str, form: str, disk: Disk = DISK) -> None:
    """Remove what was staged for an issue that was not made."""
    for path in paths(of_register, number, form):
        with contextlib.suppress(OSError):
            disk.remove(_staged(path))


def settle(line: Line, of_register: Path, disk: Disk = DISK) -> None:
    """Give the copies of an issue their names, as far as they do not have them yet. Raises OSError."""
    waiting = [path for path in paths(of_register, line.number, line.form) if disk.look(_staged(path))]
    for path in waiting:
        disk.replace(_staged(path), path)
    if waiting:
        disk.sync_folder(folder(of_register))


def settle_all(document: Path, run: str, disk: Disk = DISK) -> None:
    """Give the copies of a run's issues that were cut off their names; what is out of reach waits."""
    with contextlib.suppress(OSError):
        of_register = register.place(document.parent)
        for line in register.read(of_register, disk).lines:
            if line.run == run:
                settle(line, of_register, disk)


def look(line: Line, of_register: Path, disk: Disk = DISK) -> Copies:
    """What is kept of an issue, under its name or still under the hidden one."""
    return Copies(*(_read(path, disk) for path in paths(of_register, line.number, line.form)))


def _read(path: Path, disk: Disk) -> bytes | None:
    for each in (path, _staged(path)):
        with contextlib.suppress(OSError):
            return disk.read(each)
    return None


def stray(of_register: Path, lines: Iterable[Line]) -> list[str]:
    """The names of copies that no line of the register has."""
    known = {path.name for line in lines for path in paths(of_register, line.number, line.form)}
    place = folder(of_register)
    names = sorted(path.name for path in place.iterdir()) if place.is_dir() else []
    return [name for name in names if name not in known and not name.startswith(".")]


def broken_off(document: Path, run: str, log_bytes: bytes, disk: Disk = DISK) -> tuple[Line, bytes] | None:
    """The last issue of a run that its log does not have yet, and the step that is missing; None where there is none.

    Nothing raises: a register that cannot be read keeps nobody from the run.
    """
    try:
        of_register = register.place(document.parent)
        lines, file = register.read(of_register, disk).lines, register.relative(of_register, document)
        line = next((line for line in reversed(lines) if (line.run, line.file) == (run, file)), None)
    except OSError:
        return None
    if line is None:
        return None
    kept = look(line, of_register, disk).log or b""
    if files.digest(kept) != line.log or not kept.startswith(log_bytes) or kept == log_bytes:
        return None
    ahead = len(log.parse(kept).steps) - len(log.parse(log_bytes).steps)
    return (line, kept[len(log_bytes) :]) if ahead == 1 else None
