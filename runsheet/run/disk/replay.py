"""What follows from an edit log: the document it leads to, what can be undone, what is wrong with it.

Owns: `replay`, `history`, `verify`. Invariant: nothing here guesses; where an edit does not fit the document before it,
it says so.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, NamedTuple

from runsheet.problem import Problem, has_errors
from runsheet.run import edit, text
from runsheet.run.disk.files import digest
from runsheet.run.disk.log import parse

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.run.disk.log import ReadLog, Step
    from runsheet.run.model import Run


class Followed(NamedTuple):
    """A step of a log made again."""

    step: Step
    before: Run | None
    """The run before it; None where that is not known."""
    after: Run | None
    fault: str
    """Why it cannot be made again, or leads elsewhere than its line says; empty where neither."""


def follow(steps: Iterable[Step]) -> Iterator[Followed]:
    """Every step made again, from the first start on."""
    run, pages = None, text.Writer()
    for step in steps:
        before, fault = run, ""
        try:
            run = _after(run, step)
        except edit.EditError as error:
            run, fault = None, f"the edit does not fit the document before it: {error}"
        if run is not None and digest(_document(step, run, pages)) != step.document:
            fault = "leads to another document than the line says"
        yield Followed(step, before, run, fault)


def replay(run: Run | None, steps: Iterable[Step]) -> Run:
    """The run that the steps lead to from `run`; a start needs none before it.

    Raises edit.EditError where a step does not fit what the steps before it led to.
    """
    for step in steps:
        run = _after(run, step)
    if run is None:
        raise edit.EditError(Problem("", "the log does not begin with a document"))
    return edit.apply_all(run, ())  # what it comes to must be readable; what came between was, when it was accepted


def _after(run: Run | None, step: Step) -> Run | None:
    if step.starts:
        return _read(step.entries[0].text or "")
    return None if run is None else edit.apply_each(run, step.edits)


def _read(document: str) -> Run:
    run, problems = text.read(document)
    if run is None or has_errors(problems):
        raise edit.EditError(*(problem for problem in problems if problem.level == "error"))
    return run


def history(steps: Iterable[Step]) -> tuple[list[Step], list[Step]]:
    """The steps that can be undone and those that can be done again, the next one last in each.

    A start ends what went before: edits of another document cannot be taken back. So does an issue: what was issued
    stays, and a later change is one with its reason.
    """
    done: list[Step] = []
    undone: list[Step] = []
    for step in steps:
        remember(done, undone, step)
    return done, undone


def remember(done: list[Step], undone: list[Step], step: Step) -> None:
    """Bring the two lists of `history` up to date with one more step."""
    if step.starts or step.issues:
        done.clear()
        undone.clear()
    elif step.entries[0].undoes is not None:
        undone += [done.pop()] if done else []
    elif step.entries[0].redoes is not None:
        done += [undone.pop()] if undone else []
    elif any(entry.action in edit.ACTIONS for entry in step.entries) and not step.names:
        done.append(step)
        undone.clear()


def verify(log: bytes, document: bytes | None) -> list[Problem]:
    """Find what is wrong with a log, and with a document that is not where the log leads.

    Every line's chain is recomputed, and every step made again from the start line on. What is odd but explained (a log
    ahead of the document after a crash, a document changed by hand and then taken as it stood) is a warning.
    """
    read_log = parse(log)
    problems = [*read_log.faults, *_replayed(read_log.steps)]
    problems += unfinished(read_log, log)
    return [*sorted(problems, key=lambda problem: problem.line or sys.maxsize), *_arrived(read_log, document)]


def unfinished(read_log: ReadLog, log: bytes) -> Iterator[Problem]:
    """What is said of an end of the log that does not count; nothing where there is none."""
    if read_log.unreadable:
        line = log.count(b"\n", 0, read_log.whole) + 1
        words = f"from line {line} on the log cannot be read, as after a power cut: that end is not counted"
        yield Problem("", words, "warning")
    elif read_log.whole < len(log):
        yield Problem("", "the last lines are of an edit that was never accepted", "warning")


def _replayed(steps: Sequence[Step]) -> Iterator[Problem]:
    before = ""
    if steps and not steps[0].starts:
        yield Problem("", "the log does not begin with the document it starts from", line=steps[0].line)
    for step, _, _, fault in follow(steps):
        if step.starts and before and step.document != before:
            yield Problem("", "here the document was taken as it stood, changed outside the log", "warning", step.line)
        before = step.document
        if fault:
            yield Problem("", fault, line=step.line)


def _document(step: Step, run: Run, pages: text.Writer) -> bytes:
    return (step.entries[0].text or "").encode() if step.starts else pages.write(run)


def _arrived(read_log: ReadLog, document: bytes | None) -> Iterator[Problem]:
    if document is None:
        yield Problem("", "the document is missing; the log holds it")
    elif not read_log.steps:
        yield Problem("", "no entry of the log can be read" if read_log.unreadable else "the log is empty")
    elif (later := read_log.after(digest(document))) is None:
        yield Problem("", "the document is not where the log leads: it was changed outside, or lines are missing")
    elif later:
        count = sum(step.count for step in later)
        if not count:
            yield Problem("", "the document does not name its log yet; opening it for writing does", "warning")
            return
        entries = f"{count} {'entry' if count == 1 else 'entries'}"
        yield Problem("", f"the log is {entries} ahead of the document; opening it for writing brings it up", "warning")
