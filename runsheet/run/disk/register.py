"""The register of issued reports: one JSON object a line, each line chained to the one before.

Owns: where it is (`place`), `Line`, `read`, `add`. Invariant: a report is issued when its line stands here whole, and
not before; lines are added at the end and never changed. It lies beside the runs, or where `RUNSHEET_ISSUED` says, best
on other storage: a log can be written anew with its document, but not without this register telling so.

`RUNSHEET_ISSUED` names the file, or a folder with `issued.log` in it. A last line without its end was cut by a crash
before it counted, and the next one takes its place.
"""

from __future__ import annotations

import errno
import json
import os
from dataclasses import asdict, dataclass, fields, replace
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from runsheet.run.disk import files, lock, log
from runsheet.run.disk.files import DISK, Disk

NAME = "issued.log"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One report as it was issued."""

    time: str
    """ISO, with its offset."""
    who: str
    account: str
    machine: str
    number: str
    """Of the report."""
    run: str
    """The run's id."""
    file: str
    """The document, from the register's folder where it lies in it or below, else from the root."""
    form: str
    """The ending of the report's file: `html`, `md` or `txt`."""
    document: str
    log: str
    report: str
    """SHA-256 of the three files as they were issued."""
    chain: str = ""
    """SHA-256 over the chain of the line before and this line without its chain."""


class Register(NamedTuple):
    """A register as read."""

    path: Path
    lines: tuple[Line, ...]
    faults: tuple[str, ...]
    """What is wrong with it, by line."""
    whole: int
    """Bytes up to the end of the last whole line."""

    def of(self, number: str) -> Line | None:
        """The line of a report; the first of two."""
        return next((line for line in self.lines if line.number == number), None)


def place(folder: Path) -> Path:
    """The register of the runs of a folder."""
    named = os.environ.get("RUNSHEET_ISSUED")
    if not named:
        return folder / NAME
    path = Path(named)
    return path / NAME if path.is_dir() else path


def relative(register: Path, document: Path) -> str:
    """A document's path as a line names it."""
    folder = files.real(register).parent
    document = files.real(document)
    return document.relative_to(folder).as_posix() if document.is_relative_to(folder) else str(document)


def read(path: Path, disk: Disk = DISK) -> Register:
    """The register as it stands; without any line where there is no file. Raises OSError where it cannot be read."""
    if disk.look(path) is None:
        return Register(path, (), (), 0)
    data = disk.read(path)
    whole = data.rfind(b"\n") + 1
    lines, faults, chain = [], [], ""
    for at, raw in enumerate(data[:whole].splitlines(), 1):
        made = _line(raw)
        if made is None:
            faults.append(f"line {at} cannot be read")
            continue
        if made.chain != log.chained_to(chain, _body(made)) or _written(made) != raw + b"\n":
            faults.append(f"line {at} was changed, or a line before it is missing, changed or moved")
        chain = made.chain
        lines.append(made)
    return Register(path, tuple(lines), tuple(faults), whole)


def add(made: Line, path: Path, disk: Disk = DISK) -> None:
    """Add a line at the end; from then on the report is issued. Raises OSError, also where the register has a fault."""
    found = read(path, disk)
    if found.faults:
        raise OSError(errno.EINVAL, f"the register does not chain: {found.faults[0]}", str(path))
    before = found.lines[-1].chain if found.lines else ""
    data = _written(replace(made, chain=log.chained_to(before, _body(made))))
    if disk.look(path) is None:
        files.write_new(disk, path, data, mode=0o666)
        return
    fd = disk.open(path, os.O_RDWR)
    try:
        disk.truncate(fd, found.whole)  # what stands after the last whole line was cut by a crash before it counted
        disk.write(fd, data, found.whole)
        disk.sync_data(fd)
    except OSError:
        disk.truncate(fd, found.whole)
        raise
    finally:
        disk.close(fd)


def held(path: Path, who: str, now: datetime) -> lock.Lock:
    """The register's lock: one report is issued after the other. Raises OSError where another program has it."""
    found = lock.acquire(path, who, now, take_over=True)
    if isinstance(found, lock.Holder):
        raise OSError(errno.EBUSY, f"the register is being written: {found.words()}", str(path))
    return found


def _line(raw: bytes) -> Line | None:
    try:
        data = json.loads(raw)
        good = (
            isinstance(data, dict) and set(data) == _FIELDS and all(isinstance(value, str) for value in data.values())
        )
        made = Line(**data) if good else None
        return made if made and datetime.fromisoformat(made.time).utcoffset() is not None else None
    except (ValueError, RecursionError):
        return None


def _body(made: Line) -> dict[str, str]:
    return {name: value for name, value in asdict(made).items() if name != "chain"}


def _written(made: Line) -> bytes:
    return (json.dumps(asdict(made), ensure_ascii=False) + "\n").encode()


_FIELDS = {field.name for field in fields(Line)}
