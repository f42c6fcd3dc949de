"""The runs of a folder held against the register of issued reports and its copies.

Owns: `check`, `Kept`, `Told`. Invariant: pure, from bytes that were read; each run, each line and each copy is told of
in one line, and nothing that could not be looked at is called in order.

What is at fault: a run changed after issue other than by an amendment through its own log; a log rebuilt, cut, swapped
or missing; a document or a copy that is missing or is not what the register has; a register that does not chain. A
run never issued, a review pending, an amendment in progress are open, and no fault.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.figures import some
from runsheet.review import issue, signed, signing, trail_rule
from runsheet.review import trail as trails
from runsheet.run import text
from runsheet.run.disk import log
from runsheet.run.disk.files import digest

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from runsheet.review.trail import Trail
    from runsheet.run.disk.copies import Copies
    from runsheet.run.disk.register import Line, Register
    from runsheet.run.model import Run


class Kept(NamedTuple):
    """A document of the folder, with its log."""

    file: str
    """As the register would name it."""
    data: bytes
    log: bytes | None
    run: Run | None
    """None where the document cannot be read."""
    why: str = ""
    """Why it, or its log, cannot be read."""


class Told(NamedTuple):
    """What is said of a run, a report or the register."""

    state: Literal["in order", "open", "at fault"]
    name: str
    words: str


def check(
    found: Register, runs: Sequence[Kept], copies: Mapping[str, Copies], stray: Iterable[str], here: Iterable[str]
) -> Iterator[Told]:
    """Say how each run and each line stands.

    `copies` are by number, `stray` the copies no line has, `here` the lines' numbers whose file lies in the folder.
    """
    yield from (Told("at fault", found.path.name, fault) for fault in found.faults)
    by_file = {kept.file: kept for kept in runs}
    for kept in runs:
        yield _run(kept, [line for line in found.lines if kept.run and line.run == kept.run.run.id], copies)
    for line in found.lines:
        yield from _copied(line, copies[line.number])
        if line.number in set(here) and line.file not in by_file:
            moved = [kept.file for kept in runs if kept.run and kept.run.run.id == line.run]
            words = f"a run of its id is {moved[0]}" if moved else "no run of its id is in this folder"
            yield Told("at fault", line.file, f"the document of {line.number} is missing; {words}")
    for name in stray:
        yield Told("at fault", name, "a copy of a report that the register has no line of")


def _copied(line: Line, kept: Copies) -> Iterator[Told]:
    for what in ("document", "log", "report"):
        data = getattr(kept, what)
        if data is None:
            yield Told("at fault", line.number, f"the copy of its {what} is missing")
        elif digest(data) != getattr(line, what):
            yield Told("at fault", line.number, f"the copy of its {what} is not what was issued")


def _run(kept: Kept, lines: list[Line], copies: Mapping[str, Copies]) -> Told:
    if kept.run is None:
        return Told("at fault", kept.file, kept.why or "the document cannot be read")
    said = trails.trail(kept.log, kept.data)
    named = [made.number for made in kept.run.issued]
    if unknown := [number for number in named if number not in {line.number for line in lines}]:
        return Told("at fault", kept.file, f"it names {unknown[0]} as issued, and the register has no line of it")
    if not lines:
        return _never(kept, kept.run, said)
    last = lines[-1]
    if fault := _log_fault(kept.log, copies[last.number].log, last):
        return Told("at fault", kept.file, fault)
    if last.number not in named:
        return Told("at fault", kept.file, f"{last.number} is issued, and the document does not name it")
    if said.state == "broken" and not trail_rule.answers(kept.run, said):
        return Told("at fault", kept.file, f"{said.words}: {said.why}")
    if digest(kept.data) == last.document:
        return Told("in order", kept.file, f"{last.number}, as issued {last.time}")
    return _since(kept, kept.run, said, last)


def _never(kept: Kept, run: Run, said: Trail) -> Told:
    standing = signed.standing(run, said)
    both = f"signed by {' and '.join(sorted(standing))}"
    words = both if "reviewer" in standing else "review pending" if standing else "not signed"
    acted = said.state in ("none", "whole") or bool(trail_rule.answers(run, said))
    trouble = "" if acted else f"; {said.words}: {said.why}"
    return Told("open", kept.file, f"never issued, {words}{trouble}")


def _log_fault(found: bytes | None, copied: bytes | None, line: Line) -> str:
    """Why a run's log is not the one it was issued with, grown; empty where it is, or the copy is missing."""
    if found is None:
        return f"its log is missing; {line.number} was issued with one"
    if copied is None or digest(copied) != line.log or found.startswith(copied):
        return ""
    if copied.startswith(found):
        return f"its log is cut: what it had when {line.number} was issued is missing at its end"
    known = "it was changed or rebuilt" if _begun_with(found) == line.run else "it is another run's"
    return f"its log is not the one {line.number} was issued with: {known}"


def _begun_with(log_bytes: bytes) -> str:
    """The id of the run a log begins with; empty where that cannot be read."""
    steps = log.parse(log_bytes).steps
    begun, _ = text.read((steps[0].entries[0].text or "") if steps else "")
    return begun.run.id if begun else ""


def _since(kept: Kept, run: Run, said: Trail, last: Line) -> Told:
    """A document that is not the one issued."""
    acted = said.state == "whole" or bool(trail_rule.answers(run, said))
    if not acted:
        places = some([change.path for change in said.outside], 4, ", ")
        outside = f"outside its log: {places}" if places else said.why
        return Told("at fault", kept.file, f"changed after {last.number} was issued, {outside}")
    if not issue.changed_since(run):
        return Told("in order", kept.file, f"{last.number}, as issued {last.time}; signed or written anew since")
    if _reviewed_since(run):
        return Told("open", kept.file, f"{last.number}, as issued {last.time}; reviewed since")
    when = datetime.fromisoformat(last.time)
    amended = [made for made in run.amendment if made.at is not None and made.at >= when]
    if not amended:
        return Told("at fault", kept.file, f"changed after {last.number} was issued, without an amendment")
    return Told("open", kept.file, f"an amendment of {last.number} is in progress: {amended[-1].reason}")


def _reviewed_since(run: Run) -> bool:
    """Whether nothing but reviews came after the last issue."""
    made = run.issued[-1]
    before = tuple(each for each in run.review if each.at is not None and each.at <= made.at)
    return signing.digest(replace(run, review=before), "reviewer") == made.digest
