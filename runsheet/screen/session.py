"""A run being worked on, whoever shows it.

Owns: the run as accepted, its sheet, and every change: what must be answered first, committed, undone, made again.
Invariant: nothing here knows of a screen, and when a change is taken it is in the log on the disk.

From 300 rows on, a key computes the 60 rows about the cursor at once, and the verdicts on the whole 0.2 s after the
last key.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from runsheet.compute.sheet import evaluate
from runsheet.exits import Refusal
from runsheet.figures import counted
from runsheet.review import trail, trail_rule
from runsheet.review.trail import NO_TRAIL
from runsheet.run import edit, entry, valid
from runsheet.run.disk.store import CannotOpenError
from runsheet.run.edit import EditError
from runsheet.screen.read_only import READ_ONLY, ReadOnlyStore
from runsheet.show import places
from runsheet.work import fillings, limit_source, moves, new_row, renaming

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path
    from typing import Literal

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.history.cache import Progress
    from runsheet.history.open_run import EarlierRuns
    from runsheet.methods.laboratory import Laboratory
    from runsheet.problem import Problem
    from runsheet.report.issuing import Asked, Made
    from runsheet.review.trail import Trail
    from runsheet.run.disk.log import Step
    from runsheet.run.disk.store import Store
    from runsheet.run.edit import Edit, Received
    from runsheet.run.model import Run
    from runsheet.tables import Number

AT_ONCE = 100
"""Documents of earlier runs read without being asked: more are read when a person says so."""
ABOUT = 60
"""Rows before and after the cursor that are: more than a screen, and than an interval."""


class Session:
    """One run, its sheet, and what may be done with them."""

    def __init__(self, store: Store | ReadOnlyStore, path: Path, clock: Callable[[], datetime], who: str = "") -> None:
        """Work on the store's run, kept at `path`; `clock` gives the time with its offset."""
        self.store, self.path, self.clock, self.who = store, path, clock, who
        self.history: EarlierRuns | None = None
        """What the runs before this one say of it; None until they are read."""
        self._arrived: EarlierRuns | None = None
        self.taken_back: frozenset[int] = frozenset()
        """The numbers of the steps that were undone here and not made again."""
        self.trail = NO_TRAIL
        """What the edit log says of the document; "no log" until it is read."""
        self._read_trail: Trail | None = None
        self.signed = ""
        """Who signed the run and as what it was issued, in words."""
        self.next_to_sign = ""
        """What is next once everything is read, where somebody signed."""
        self.sheet: Sheet = self.evaluated(store.run)
        """Of the run as accepted, or of a draft of it while an entry is being typed."""
        self._say_signed()

    @property
    def run(self) -> Run:
        """The run as accepted."""
        return self.store.run

    @property
    def read_only(self) -> bool:
        """Whether the run is only looked at."""
        return isinstance(self.store, ReadOnlyStore)

    @property
    def laboratory(self) -> Laboratory:
        """What the house has: people, instruments, lots, dilutions; as the file was when it was first asked for."""
        return self._laboratory[0]

    @property
    def laboratory_faults(self) -> str:
        """What is wrong with the laboratory file, in words; empty where nothing is, or there is none."""
        return "; ".join(problem.words for problem in self._laboratory[1])

    @property
    def doubts(self) -> str:
        """What is unwise in the document as it stands, the first of it in words; empty where nothing is."""
        found = [problem for problem in valid.problems(self.run) if problem.level == "warning"]
        more = f"; and {counted(len(found) - 1, 'more warning')}: runsheet check lists them" if found[1:] else ""
        return places.problem(self.run, found[0]) + more if found else ""

    @functools.cached_property
    def _laboratory(self) -> tuple[Laboratory, list[Problem]]:
        from runsheet.methods import laboratory
        from runsheet.run.disk import files

        return laboratory.find(files.real(self.path).parent)

    def dilution_offered(self, row: RowResult) -> Number | None:
        """The dilution that is offered for a row, one of the house's."""
        return new_row.dilution_offered(row, self.laboratory.dilutions)

    def now(self) -> datetime:
        """The time as it is written into the run."""
        return self.clock().replace(microsecond=0)

    # --- the sheet --------------------------------------------------------------------------------------------------

    def evaluated(self, run: Run) -> Sheet:
        """The sheet of a run, judged by the runs before it too."""
        sheet = trail_rule.judged(evaluate(run, self.clock()), self.trail)
        return self.history.judged(sheet) if self.history else sheet

    def recompute(self) -> None:
        """Compute the accepted run."""
        self.sheet = self.evaluated(self.run)
        self._say_signed()

    def _say_signed(self) -> None:
        self.signed = self.next_to_sign = ""
        if self.run.signature or self.run.issued:
            from runsheet.review import signed  # writes the whole document: only for a run that has signatures

            self.signed = signed.words(self.run, self.trail)
            self.next_to_sign = signed.next_words(self.run, self.trail)

    def draft(self, run: Run, near: int | None = None) -> None:
        """Compute a run with an entry being typed.

        With `near`, only the rows of the queue about that place: the others and the verdicts stay the last ones.
        """
        if near is None or len(self.sheet.rows) != len(run.queue):
            self.sheet = self.evaluated(run)
            return
        first = max(0, near - ABOUT)
        rows = self.evaluated(replace(run, queue=run.queue[first : near + ABOUT])).rows
        last = self.sheet.rows
        self.sheet = replace(self.sheet, run=run, rows=(*last[:first], *rows, *last[first + len(rows) :]))

    def writing(
        self, array: str, place: int, field: str, value: Any, sent: Received | None = None, at: datetime | None = None
    ) -> list[Edit]:
        """The edits that write a value, with the time where it is a first reading; none where it is there already.

        Readings taken out take their time along, and what a blank was left at: what is read next has its own.
        `sent` is what the photometer had sent, `at` when that came: the time of a reading that is what was sent.
        """
        row, path = getattr(self.run, array)[place], f"{array}[{place + 1}]"
        if entry.shown(getattr(row, field)) == entry.shown(value):
            return []
        if array in renaming.NAMED and field == "id" and value:
            return renaming.edits(self.run, array, place, value)
        edits = [replace(edit.set_value(self.run, f"{path}.{field}", value), received=sent)]
        if field == "readings" and value and not row.readings and row.at is None:
            moment = self.now() if at is None or sent is None or sent.typed else at.replace(microsecond=0)
            edits.append(edit.set_value(self.run, f"{path}.at", moment))
        elif field == "readings" and not value:
            of_them = (name for name in ("at", *fillings.OF_BLANKS) if getattr(row, name, None) is not None)
            edits += [edit.set_value(self.run, f"{path}.{name}", None) for name in of_them]
        return edits

    # --- changing the run -------------------------------------------------------------------------------------------

    def question(self, edits: Sequence[Edit]) -> str:
        """What must be answered with a reason before these edits are taken; empty where nothing must."""
        moved = self.moved(edits)
        if self._signed(edits):
            from runsheet.review import signed

            stands = "is signed" if signed.standing(self.run, self.trail) else "was signed, and no signature stands"
            return f"This run {stands}{'; ' if moved else ''}{moved}. Why is it changed?"
        return f"{moved}. Why?" if moved else ""

    def own_reason(self, edits: Sequence[Edit], reason: str) -> str:
        """The reason a command has for its step; none for a signed run, where a person has to give it."""
        return "" if self._signed(edits) else reason

    def moved(self, edits: Sequence[Edit]) -> str:
        """What edits move of what was read before, in words; empty where nothing does."""
        return "" if self.read_only else moves.asked(self.run, edits, self.clock())

    def commit(self, edits: Sequence[Edit], reason: str = "") -> str:
        """Make the edits as one step; the answer says why they were not taken, and is empty where they were.

        A reason that changes a signed run is kept in it as an amendment.
        """
        if self.read_only:
            return READ_ONLY
        spoken = any(character.isalpha() for character in reason)
        if not spoken and self.question(edits):
            return "nothing changed: this needs a reason, in words"
        if self._signed(edits):
            edits = [*edits, *self._amendment(reason)]
        try:
            self.store.accept(limit_source.with_sources(self.run, edits), self.clock(), reason=reason)
        except EditError as error:
            return "; ".join(places.problem(self.run, problem) for problem in error.problems)
        if self.trail.outside:
            self._read_log()
            self.trail = self._read_trail or self.trail  # what was changed before this entry is between two of them now
        self.recompute()
        return ""

    def undo(self) -> Step | None:
        """Take the last step back; the answer is that step, None where there is none."""
        step = self.store.undo(self.clock())
        self.taken_back |= {step.number} if step is not None else set()
        return self._again(step)

    def redo(self) -> Step | None:
        """Make the step last taken back again; the answer is that step, None where there is none."""
        step = self.store.redo(self.clock())
        self.taken_back -= {step.number} if step is not None else set()
        return self._again(step)

    def _again(self, step: Step | None) -> Step | None:
        if step is not None:
            self.recompute()
        return step

    def _signed(self, edits: Sequence[Edit]) -> bool:
        if self.read_only or not self.run.signature:
            return False
        from runsheet.review import signing  # writes the whole document: only for a run that has signatures

        return signing.touched(self.run, edits)

    def _amendment(self, reason: str) -> list[Edit]:
        from runsheet.review import signing

        return [signing.amend(self.run, self.who, reason.strip(), self.now())] if signing.standing(self.run) else []

    def begin_log(self) -> None:
        """Begin the log, which the document names: what is drawn or signed from the document must hold after it."""
        if not self.read_only:
            self.store.begin(self.clock())
            self.recompute()

    def issue(self, asked: Asked) -> Made:
        """Issue the report. Raises Refusal: nothing is changed then."""
        from runsheet.report import issuing
        from runsheet.run.disk import files

        if isinstance(self.store, ReadOnlyStore):
            raise Refusal(READ_ONLY)
        self.look_at_log()
        return issuing.issue(self.store, files.real(self.path), self.trail, asked, self.now())

    # --- what others do to it ---------------------------------------------------------------------------------------

    def follow(self) -> bool:
        """Take what another program wrote into a run that is only looked at; whether anything was."""
        return isinstance(self.store, ReadOnlyStore) and self.store.refresh()

    def settle(self, which: Literal["ours", "theirs"]) -> str:
        """Go on with one of two documents where ours was changed outside; why that failed, or empty."""
        if isinstance(self.store, ReadOnlyStore):
            return READ_ONLY
        try:
            self.store.keep(which, self.clock())
        except (CannotOpenError, OSError) as error:
            return str(error)
        self.look_at_log()  # it tells of what was changed outside, whichever is gone on with
        return ""

    # --- the runs before it -----------------------------------------------------------------------------------------

    def load_history(self, progress: Callable[[Progress], bool] = lambda _: True, *, every: bool = False) -> None:
        """Read the runs of the folder, `every` one or as many as need no asking; for a thread, see `take_history`."""
        from runsheet.history import open_run
        from runsheet.run.disk import files

        self._read_log()
        at_most = None if every else AT_ONCE
        try:
            self._arrived = open_run.load(files.real(self.path), self.run, progress, at_most=at_most)
        except OSError:  # the folder is gone or closed: there is no history, and the store says what is wrong
            self._arrived = None

    def take_history(self) -> bool:
        """Judge by what a thread has read of the runs before this one; whether there was anything new."""
        if self._arrived is None and self._read_trail is None:
            return False
        self.history, self._arrived = self._arrived or self.history, None
        self.trail, self._read_trail = self._read_trail or self.trail, None
        self.recompute()
        return True

    def look_at_log(self) -> None:
        """Judge by what the log on the disk says now, before something is signed or issued on it."""
        if not self.read_only:
            self.store.flush()
        self._read_log()
        self.trail = self._read_trail or self.trail
        self.recompute()

    def _read_log(self) -> None:
        """Read what the log on the disk says of the document; for a thread too, see `take_history`."""
        from runsheet.run.disk import files, opening

        try:
            found = opening.look(files.real(self.path))
        except OSError:  # the folder is gone or closed, and the store says so
            return
        self._read_trail = trail.trail(found.told, found.data)
