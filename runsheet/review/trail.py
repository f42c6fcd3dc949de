"""What an edit log says of the document beside it: whole, changed outside it, or broken.

Owns: `Trail` and `trail`. Invariant: pure, from the bytes of both; each value that was changed outside is listed with
its place, old, new and the two times between which it happened. What the entries tell of the work is in `entries`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.figures import minute
from runsheet.problem import has_errors
from runsheet.review.outside import changes
from runsheet.run.disk import log, opening, replay
from runsheet.run.disk.files import digest

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runsheet.run.disk.log import ReadLog
    from runsheet.run.disk.replay import Followed
    from runsheet.run.model import Run


State = Literal["none", "whole", "changed", "broken"]


@dataclass(frozen=True, slots=True)
class Outside:
    """A value that was changed outside the log."""

    path: str
    old: str
    new: str
    """Both as one line of TOML; empty where nothing stood or stands."""
    after: str
    """The time of the last entry before it, ISO."""
    before: str
    """That of the first entry after it; empty where there is none yet."""

    @property
    def when(self) -> str:
        """Between which entries it was changed; after the last one alone where none followed."""
        return f"after {minute(self.after)}" + (f" and before {minute(self.before)}" if self.before else "")


@dataclass(frozen=True, slots=True)
class Trail:
    """What a log says of its document."""

    state: State
    why: str = ""
    outside: tuple[Outside, ...] = ()
    pairs: tuple[tuple[Run, Run], ...] = field(default=(), compare=False, repr=False)
    """The run before and after each change from outside."""

    @property
    def words(self) -> str:
        """The state as it is shown."""
        return WORDS[self.state]


WORDS: dict[State, str] = {
    "none": "no log",
    "whole": "log whole",
    "changed": "log whole, document changed outside it",
    "broken": "log broken",
}
NO_TRAIL = Trail("none")


def trail(log_bytes: bytes | None, document: bytes | None) -> Trail:
    """What a log (with what a rescue has of it) says of the document beside it; None for a file that is not there.

    It proves order and integrity to an honest holder: who can write both files could have written the log anew.
    """
    run = _run(document)
    begun = run.run.log if run else None
    read_log = log.parse(log_bytes or b"")
    if not log_bytes:
        words = "the log that [run] log names is not there" if log_bytes is None else "the log is empty"
        return Trail("broken", words) if begun else Trail("none")
    if fault := _broken(read_log, begun):
        return Trail("broken", fault)
    followed = list(replay.follow(read_log.steps))
    if fault := next((f"line {each.step.line} {each.fault}" for each in followed if each.fault), ""):
        return Trail("broken", fault)
    last = followed[-1].after
    if run is not None and last is not None and begun is None and run.run.id != last.run.id:
        return Trail("broken", f"it is the log of another run, {last.run.id}")
    made = (*_between(followed), *_since(read_log, last, document, run))
    outside = tuple(each for changed in made for each in changed.outside)
    pairs = tuple((changed.old, changed.new) for changed in made)
    torn = "; ".join(problem.message for problem in replay.unfinished(read_log, log_bytes))
    if document is not None and run is None:
        return Trail("changed", "the document was changed outside the log and cannot be read", outside, pairs)
    if not outside:
        return Trail("whole", torn)
    count = f"{len(outside)} {'value was' if len(outside) == 1 else 'values were'} changed outside the log"
    return Trail("changed", "; ".join(filter(None, (count, torn))), outside, pairs)


def _run(document: bytes | None) -> Run | None:
    if document is None:
        return None
    made, problems = opening.parsed(document)
    return None if has_errors(problems) else made


def _broken(read_log: ReadLog, begun: str | None) -> str:
    """Why a log's lines prove nothing; empty where they follow from one another."""
    if read_log.faults:
        return f"line {read_log.faults[0].line} {read_log.faults[0].message}"
    if not read_log.steps:
        return "no entry of the log can be read"
    if not read_log.steps[0].starts:
        return "the log does not begin with the document it starts from"
    if begun is not None and read_log.steps[0].entries[0].chain != begun:
        return "it is not the log that [run] log names"
    return ""


class _Changed(NamedTuple):
    """The run before and after one change from outside, and its values."""

    old: Run
    new: Run
    outside: tuple[Outside, ...]


def _between(followed: Sequence[Followed]) -> Iterator[_Changed]:
    """What was changed between two openings: the document was then taken as it stood."""
    for last, each in pairwise(followed):
        if each.step.starts and each.before is not None and each.after is not None:
            times = last.step.entries[-1].time, each.step.entries[0].time
            outside = tuple(Outside(*change, *times) for change in changes(each.before, each.after))
            if outside:
                yield _Changed(each.before, each.after, outside)


def _since(read_log: ReadLog, last: Run | None, document: bytes | None, run: Run | None) -> Iterator[_Changed]:
    """What was changed since the last entry; a document that the log is ahead of is as the log left it."""
    if document is None or run is None or last is None or read_log.after(digest(document)) is not None:
        return
    time = read_log.steps[-1].entries[-1].time
    outside = tuple(Outside(*change, time, "") for change in changes(last, run))
    if outside:
        yield _Changed(last, run, outside)
