"""The commands that issue a report and hold runs against the register of those issued.

Owns: their arguments and what they print. Invariant: as in `main`; a report that is refused leaves every file
as it was.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runsheet import streams
from runsheet.command import output
from runsheet.exits import Exit, Refusal
from runsheet.figures import counted

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterable, Iterator

    from runsheet.review.register_check import Kept, Told
    from runsheet.run.disk.register import Line, Register
    from runsheet.run.disk.store import Store


def add(commands: Any) -> None:
    """Add the commands to the others."""
    issue_ = commands.add_parser("issue", help="issue the report of a signed run, under its number")
    issue_.add_argument("file", help="a run document, NAME.toml")
    issue_.add_argument(
        "-o", dest="output", metavar="OUT", help="the report's file, .html, .md or .txt; else NUMBER.html"
    )
    issue_.add_argument("--by", metavar="NAME", help="who issues it; else the account's name")
    issue_.add_argument(
        "--reason", default="", metavar="WORDS", help="why a report is replaced; needed from the second on"
    )
    issue_.add_argument(
        "--not-reviewed", action="store_true", help="a lone worker's: every page says: not independently reviewed"
    )
    issue_.set_defaults(command=issue)
    issued_ = commands.add_parser(
        "issued", help="hold the runs of a folder against the register; exit code 1 for a fault"
    )
    issued_.add_argument("folder", help="the folder of the runs")
    issued_.set_defaults(command=issued)


def issue(asked: argparse.Namespace) -> int:
    """Issue the report of a run."""
    from runsheet.report import issuing
    from runsheet.run.disk import files, lock, store

    path = Path(asked.file)
    who = (asked.by or lock.login()["account"]).strip()
    now = datetime.now().astimezone().replace(microsecond=0)
    form = issuing.ENDINGS.get(Path(asked.output).suffix.lower()) if asked.output else "html"
    if form is None:
        raise Refusal(f"{asked.output}: a report's file ends in {', '.join(issuing.ENDINGS)}")
    if asked.output:
        output.writable(asked.output)
    said = issuing.Asked(who, asked.reason, asked.not_reviewed, form)
    try:
        opened = store.open_for_writing(path, who, now)
    except store.CannotOpenError as error:
        raise Refusal(f"not issued: {error}") from None
    try:
        made = _made(opened, files.real(path), said, now)
    finally:
        opened.close()
    to = asked.output or str(path.with_name(made.copy.name))
    streams.tell(f"{made.number} is issued; a read-only copy is {made.copy}")
    output.write(to, made.report.decode())
    streams.tell(f"{to}: the report is written")
    return Exit.FINE


def _made(opened: Store, path: Path, said: Any, now: datetime) -> Any:
    from runsheet.report import issuing
    from runsheet.review import trail
    from runsheet.run.disk import opening

    found = opening.look(path)
    return issuing.issue(opened, path, trail.trail(found.told, found.data), said, now)


def issued(asked: argparse.Namespace) -> int:
    """Hold the runs of a folder against the register."""
    from runsheet.history import documents
    from runsheet.review import register_check
    from runsheet.review.register_check import Told
    from runsheet.run.disk import copies, files, register

    folder = files.real(Path(asked.folder))
    if not folder.is_dir():
        raise Refusal(f"{asked.folder} is no folder")
    place = files.real(register.place(folder))
    try:
        found = register.read(place)
        names = documents.find(folder)
        closed = [name for name in names if name.endswith("/")]
        for name in closed:
            if _issued_from(folder / name, found, place):  # what was issued from there cannot be held against anything
                raise Refusal(f"{folder / name}: the folder cannot be read, and reports were issued from it")
        runs = list(_runs(folder, place, [name for name in names if name not in closed]))
        stray = copies.stray(place, found.lines)
    except OSError as error:
        raise Refusal(f"{error.filename or place}: {files.unread(error)}") from None
    kept = {line.number: copies.look(line, place) for line in found.lines}
    here = [line.number for line in _issued_from(folder, found, place)]
    told = list(register_check.check(found, runs, kept, stray, here))
    told += [Told("open", name, "the folder cannot be read: what runs it has is not known") for name in closed]
    streams.lines(_line(each) for each in told)
    counts = f"{counted(len(found.lines), 'report')}, {counted(len(runs), 'document')} here"
    faults = sum(each.state == "at fault" for each in told)
    streams.lines([f"{place}: {counts}, {faults or 'nothing'} at fault. {LIMIT}"])
    return Exit.FAILS if faults else Exit.FINE


LIMIT = (
    "Who can write to the register and the copies too could have changed all of them together: keep it where the "
    "people it is about cannot write it."
)


def _line(told: Told) -> str:
    return f"{told.state:<9} {told.name}: {told.words}"


def _issued_from(folder: Path, found: Register, place: Path) -> list[Line]:
    """The lines of a register whose document lies in a folder or below."""
    return [line for line in found.lines if (place.parent / line.file).is_relative_to(folder)]


def _runs(folder: Path, place: Path, names: Iterable[str]) -> Iterator[Kept]:
    """Each document with its log; what cannot be read is named and keeps no other from being looked at."""
    from runsheet.history import documents
    from runsheet.problem import has_errors
    from runsheet.review.register_check import Kept
    from runsheet.run.disk import files, opening, register

    for name in names:
        path = files.real(folder / name)
        shown = register.relative(place, path)
        found, why = _bytes(path)
        if found is None:
            yield Kept(shown, b"", None, None, f"the document cannot be read: {why}")
            continue
        run, problems = opening.parsed(found)
        if run is None and documents.is_none(found):
            continue
        if has_errors(problems) or run is None:
            why = documents.why(found, problems)
            yield Kept(shown, found, None, None, f"the document cannot be read: {why}")
            continue
        log = files.log_of(path)
        kept, why = _bytes(log, files.LARGEST) if log.exists() else (None, "")
        yield Kept(shown, found, kept, None if why else run, why and f"its log cannot be read: {why}")


def _bytes(path: Path, largest: int = 0) -> tuple[bytes | None, str]:
    """What a file holds, at most as much as a document or the `largest` given; else why it cannot be read."""
    from runsheet.run.disk import files

    try:
        return files.DISK.read(path, largest or files.LARGEST_DOCUMENT), ""
    except FileNotFoundError as error:  # a link to nothing, or gone while we looked
        return None, error.strerror or str(error)
    except OSError as error:
        return None, files.unread(error)
