"""What the entries of an edit log tell a reader of the results: what was corrected, what was entered late or at once.

Owns: `Audit` and `audit`, `words`. Invariant: pure, from the steps of a log; every value that replaced another is
listed with who, when, why, old and new (US good laboratory practice, 40 CFR 160.130(e) and 21 CFR 58.130(e), from
memory).

Late is more than 15 minutes between a reading's own time and its first entry (common practice, no source). A
correction is a value that replaced another or was taken away after anything was read; a replicate added, a note, the
time stamped with a reading, and a step that was taken back with the step that took it back are none. A first reading
that was taken back stays told: another may have been typed in its place. A limit of the method set, changed or taken
away after the first standard was read is told by itself: what is to pass was then chosen beside readings.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from runsheet.figures import minute, visible
from runsheet.run.edit import EditError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runsheet.run.disk.log import Entry, Step
    from runsheet.run.edit import Edit
    from runsheet.run.model import Row, Run, Standard

LATE = timedelta(minutes=15)
"""From how long after a reading its entry is late (common practice, no source)."""
EARLY = timedelta(minutes=2)
"""From how long before its own time a reading is entered too early, and entries run back: clocks differ by less."""
BULK, BULK_WITHIN = 10, timedelta(seconds=10)
"""So many readings typed within so long were not read one after the other; a pasted block is one step."""
NAMES = {"queue": "id", "standard": "id", "setup": "check", "sample": "id", "batch": "id", "calibration": "id"}
"""What a row of each array is called by."""
READ = ("setup", "standard", "queue")
"""The arrays whose rows have readings."""


@dataclass(frozen=True, slots=True)
class Correction:
    """A value that replaced another."""

    time: str
    """When it was entered, ISO with its offset."""
    who: str
    what: str
    """The row and the field, as `OF-3 readings`."""
    old: str
    new: str
    """Both as one line of TOML; empty where nothing stood or stands."""
    reason: str
    step: int = 0
    """The step it was entered in."""
    limit: bool = False
    """Whether it is a limit of the method, changed after the first standard was read."""

    @property
    def takes_away(self) -> bool:
        """Whether a reading went, and nothing stands in its place."""
        return self.what.endswith(" readings") and self.new in ("", "[]")


@dataclass(frozen=True, slots=True)
class Late:
    """A reading entered long after it was made."""

    row: str
    read: datetime
    entered: datetime

    @property
    def minutes(self) -> float:
        """How long after."""
        return (self.entered - self.read).total_seconds() / 60


@dataclass(frozen=True, slots=True)
class Bulk:
    """Readings entered one by one, faster than they can be read."""

    rows: tuple[str, ...]
    first: datetime
    last: datetime
    received: int = 0
    """How many of them a photometer had sent."""

    @property
    def how(self) -> str:
        """How many of them a photometer had sent, in words, or nothing."""
        return f" ({self.received} received from a photometer)" if self.received else ""


@dataclass(frozen=True, slots=True)
class Audit:
    """What a log says of its run; empty where there is none."""

    entries: int = 0
    """How many edits it holds."""
    corrections: tuple[Correction, ...] = ()
    late: tuple[Late, ...] = ()
    early: tuple[Late, ...] = ()
    """Readings entered before their own time."""
    in_bulk: tuple[Bulk, ...] = ()
    """Many readings entered one by one faster than they can be read."""
    backwards: tuple[tuple[str, str], ...] = ()
    """The times of two entries, the later one with the earlier time."""
    entered_by: tuple[str, ...] = ()
    """Who entered a reading."""
    logins: tuple[tuple[str, int], ...] = ()
    """The accounts with their machines, and how many edits were accepted under each; empty for a name not kept."""
    received: tuple[tuple[str, int], ...] = ()
    """The ports that readings were received from, and how many entries of readings are what each sent."""
    typed_over: tuple[tuple[str, str, str], ...] = ()
    """Readings typed in the place of what a photometer had sent: the row, the reading, the line as it came."""
    untimed: tuple[str, ...] = ()
    """Rows read without their own time: whether they were entered late cannot be said."""
    unknown: tuple[str, ...] = ()
    """Rows whose readings stood in the document before the log began."""
    faults: int = 0
    """Steps that could not be followed; `runsheet log --verify` says which."""

    @property
    def unreasoned(self) -> int:
        """How many of the corrections have no reason."""
        return sum(not each.reason for each in self.corrections)

    @property
    def limits(self) -> tuple[Correction, ...]:
        """The limits that were changed after the first standard was read."""
        return tuple(each for each in self.corrections if each.limit)


def audit(steps: Sequence[Step], run: Run) -> Audit:
    """Say what a log's steps tell of the run they lead to."""
    reader = _Reader()
    faults = 0
    for step in steps:
        try:
            reader.take(step)
        except (EditError, ValueError, IndexError):  # a log that was tampered with is no reason for no report
            faults += 1
    entered = reader.entered
    rows: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    timed = [(row.id, row.at) for row in rows if row.readings and row.at is not None]
    told = [Late(name, at, entered[name]) for name, at in timed if name in entered]
    unknown = tuple(name for name, _ in timed if steps and name not in entered)
    return Audit(
        entries=sum(step.count for step in steps),
        corrections=tuple(reader.corrections),
        late=tuple(each for each in told if each.entered - each.read > LATE),
        early=tuple(each for each in told if each.read - each.entered > EARLY),
        in_bulk=tuple(_in_bulk(reader.readings)),
        backwards=tuple(_backwards(steps)),
        entered_by=tuple(dict.fromkeys(reader.readers)),
        logins=tuple(_logins(steps)),
        received=tuple(reader.received.items()),
        typed_over=tuple(reader.typed_over),
        untimed=tuple(row.id for row in rows if row.readings and row.at is None),
        unknown=unknown,
        faults=faults,
    )


def _logins(steps: Sequence[Step]) -> Iterator[tuple[str, int]]:
    counts: dict[str, int] = {}
    for step in steps:
        entry = step.entries[0]
        login = "@".join(filter(None, (entry.account, entry.machine)))
        counts[login] = counts.get(login, 0) + step.count
    yield from ((login, count) for login, count in counts.items() if count)


def _backwards(steps: Sequence[Step]) -> Iterator[tuple[str, str]]:
    """The pairs of entries whose times run back by more than clocks differ."""
    times = [entry.time for step in steps for entry in step.entries[:1]]
    for one, other in pairwise(times):
        if datetime.fromisoformat(one) - datetime.fromisoformat(other) > EARLY:
            yield one, other


def _in_bulk(readings: Sequence[tuple[datetime, str, bool]]) -> Iterator[Bulk]:
    """The longest stretches of readings within ten seconds from first to last reading of any ten of them."""
    first = 0
    while first + BULK <= len(readings):
        last = first + BULK
        if readings[last - 1][0] - readings[first][0] > BULK_WITHIN:
            first += 1
            continue
        while last < len(readings) and readings[last][0] - readings[last - BULK + 1][0] <= BULK_WITHIN:
            last += 1
        found = readings[first:last]
        sent = sum(each for _, _, each in found)
        yield Bulk(tuple(name for _, name, _ in found), found[0][0], found[-1][0], sent)
        first = last


@dataclass
class _Reader:
    """Follows the rows through a log by their names, as they are inserted, moved and renamed."""

    names: dict[str, list[str]] = field(default_factory=dict)
    entered: dict[str, datetime] = field(default_factory=dict)
    """When each row's readings were first entered."""
    by_step: dict[int, list[Correction]] = field(default_factory=dict)
    """The corrections of each step that was not taken back; under minus its number, readings that went with one."""
    undone: dict[int, list[Correction]] = field(default_factory=dict)
    """Those of each step that was."""
    any_read: bool = False
    """Whether anything was read yet: what is changed before that is planning."""
    standard_read: bool = False
    """Whether a standard was."""
    readings: list[tuple[datetime, str, bool]] = field(default_factory=list)
    """When a row's first reading was entered by itself, its name, and whether a photometer had sent it."""
    received: dict[str, int] = field(default_factory=dict)
    typed_over: list[tuple[str, str, str]] = field(default_factory=list)
    readers: list[str] = field(default_factory=list)
    """Who entered each reading, as the log names them."""

    def take(self, step: Step) -> None:
        if step.starts:
            document = tomllib.loads(step.entries[0].text or "")
            for array, key in NAMES.items():
                self.names[array] = [str(row.get(key, "")) for row in document.get(array, [])]
            self.any_read = self.any_read or any(row.get("readings") for name in READ for row in document.get(name, []))
            self.standard_read = self.standard_read or any(row.get("readings") for row in document.get("standard", []))
            return
        edits = [(entry, entry.edit) for entry in step.entries]
        read = {made.path.removesuffix(".readings") for _, made in edits if made.path.endswith(".readings")}
        begun = step.entries[0]
        first = [made for _, made in edits if made.path.endswith(".readings") and made.new and not made.old]
        if len(first) == 1 and begun.redoes is None:  # a pasted block is one step of many; made again is not typed
            sent = first[0].received is not None and not first[0].received.typed
            self.readings.append((datetime.fromisoformat(begun.time), self._what(first[0].path), sent))
        inserted = {made.path for _, made in edits if _inserts_read(made)}
        if read or inserted:
            self.readers.append(begun.who)
        found, exchanged = [], self._exchanged([made for _, made in edits])
        for entry, made in edits:
            self._received(entry, made)
            stamp = made.path.endswith(".at") and made.path.removesuffix(".at") in read
            limit = self.standard_read and _sets_limit(made)
            if limit or (_corrects(made) and not stamp):  # the time goes with the reading: no correction of its own
                found.append(self._correction(entry, made, limit=limit))
            self._follow(made, datetime.fromisoformat(entry.time))
        for name, when in exchanged.items():
            self.entered.pop(name, None)
            if when is not None:
                self.entered[name] = when
        self.standard_read = self.standard_read or any(name.startswith("standard[") for name in read | inserted)
        self._keep(step, found)
        self.any_read = self.any_read or bool(self.readers)

    def _exchanged(self, edits: Sequence[Edit]) -> dict[str, datetime | None]:
        """When the readings that a step exchanges between two rows were entered: each was, in the other's place."""
        for key in ("readings", "at"):  # of two that read the same, the times alone
            given = [made for made in edits if made.action == "set" and made.path.endswith(f".{key}")]
            if len(given) == 2 and [made.old or [] for made in given] == [made.new or [] for made in reversed(given)]:
                one, other = (self._what(made.path).removesuffix(f" {key}") for made in given)
                return {one: self.entered.get(other), other: self.entered.get(one)}
        return {}

    def _received(self, entry: Entry, made: Edit) -> None:
        """Count what a photometer had sent; what is made again after an undo was counted."""
        if made.received is None or entry.redoes is not None:
            return
        if made.received.typed:
            self.typed_over.append((self._what(made.path), entry.new or "", made.received.raw))
        else:
            self.received[made.received.port] = self.received.get(made.received.port, 0) + 1

    def _keep(self, step: Step, found: list[Correction]) -> None:
        first = step.entries[0]
        if first.undoes is not None:
            self.undone[first.undoes] = self.by_step.pop(first.undoes, [])
            self.by_step[-first.undoes] = [each for each in found if each.takes_away]
        elif first.redoes is not None:
            self.by_step.pop(-first.redoes, None)
            self.by_step[first.redoes] = self.undone.pop(first.redoes, [])
        elif self.any_read:
            self.by_step[step.number] = found

    @property
    def corrections(self) -> list[Correction]:
        """In the order they were made in."""
        return sorted((each for found in self.by_step.values() for each in found), key=lambda each: each.step)

    def _correction(self, entry: Entry, made: Edit, *, limit: bool) -> Correction:
        reason = entry.reason or (f"undo of step {entry.undoes}" if entry.undoes else "")
        what, old, new = self._what(made.path), entry.old or "", entry.new or ""
        return Correction(entry.time, entry.who, what, old, new, reason, entry.step, limit)

    def _what(self, path: str) -> str:
        """Say a place by its row's name: `OF-3 readings` for `queue[3].readings`."""
        array, at, key = _place(path)
        rows = self.names.get(array, [])
        if at is None or not 0 < at <= len(rows) or array not in NAMES:
            return path
        return f"{rows[at - 1]} {key}".strip() if array in ("queue", "standard") else f"{array} {rows[at - 1]} {key}"

    def _follow(self, made: Edit, when: datetime) -> None:
        array, at, key = _place(made.path)
        rows = self.names.setdefault(array, [])
        if at is None or array not in NAMES:
            return
        if made.action == "insert":
            rows.insert(at - 1, str(made.new.get(NAMES[array], "")))
            self._note(rows[at - 1], made.new.get("readings"), when)
        elif made.action == "remove":
            self.entered.pop(rows.pop(at - 1), None)
        elif made.action == "move":
            rows.insert(int(made.new) - 1, rows.pop(at - 1))
        elif key == NAMES[array]:
            old, rows[at - 1] = rows[at - 1], str(made.new)
            if old in self.entered:
                self.entered[str(made.new)] = self.entered.pop(old)
        elif key == "readings" and (rows[at - 1] in self.entered or not made.old):
            self._note(rows[at - 1], made.new, when)  # else it stood before the log, entered nobody knows when

    def _note(self, name: str, readings: Any, when: datetime) -> None:
        if readings:
            self.entered.setdefault(name, when)
        else:
            self.entered.pop(name, None)


def _place(path: str) -> tuple[str, int | None, str]:
    """Take a path apart: array, row number or None, the rest."""
    head, _, key = path.partition(".")
    array, _, number = head.partition("[")
    return array, int(number[:-1]) if number else None, key


def _inserts_read(made: Edit) -> bool:
    """Whether an edit inserts a row that is read; what a reviewer typed again is kept in another array."""
    return made.action == "insert" and _place(made.path)[0] in READ and bool(made.new.get("readings"))


def _sets_limit(made: Edit) -> bool:
    """Whether an edit changes what the method asks; where a limit comes from is beside it."""
    return made.path.startswith("method.") and not made.path.startswith("method.sources")


def _corrects(made: Edit) -> bool:
    """Whether an edit replaces or takes away something that was entered; a replicate added is none."""
    if made.action == "remove":
        return bool(made.old.get("readings"))
    if made.action != "set" or made.old in (None, [], "") or made.path.endswith(".note"):
        return False
    grown = isinstance(made.old, list) and isinstance(made.new, list) and made.new[: len(made.old)] == made.old
    return made.old != made.new and not grown


def sent(found: Audit) -> Iterator[str]:
    """Say how many readings a photometer sent, and each that was typed in the place of one, in words."""
    for port, count in found.received:
        yield f"{count} {'entry of a reading' if count == 1 else 'entries of readings'} received from {port}"
    for what, new, raw in found.typed_over:
        yield f"{what} {new} typed in the place of what the photometer had sent: {visible(raw)}"


def words(found: Audit) -> Iterator[str]:
    """Say each late and each early entry, readings in bulk and times that run back in words."""
    for each in (*found.late, *found.early):
        minutes = abs(each.minutes)
        yield (
            f"{each.row}: read {each.read:%Y-%m-%d %H:%M}, entered {each.entered:%Y-%m-%d %H:%M}, "
            f"{minutes:.0f} min {'later' if each.minutes > 0 else 'before it was read'}"
        )
    for bulk in found.in_bulk:
        seconds = (bulk.last - bulk.first).total_seconds()
        yield (
            f"{len(bulk.rows)} readings{bulk.how} entered one by one within {seconds:.0f} s from "
            f"{bulk.first:%Y-%m-%d %H:%M}: {bulk.rows[0]} to {bulk.rows[-1]}"
        )
    for one, other in found.backwards:
        yield f"the clock ran back: an entry of {minute(one)} is followed by one of {minute(other)}"
