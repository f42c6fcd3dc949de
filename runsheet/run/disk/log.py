"""The edit log: every accepted edit of a run, one JSON object a line, each line chained to the one before.

Owns: `Entry`, its text and the chain; bytes in and out, no files. What follows from a log is in `replay`. Invariant: a
log alone is enough to rebuild the document at every step, since a `start` line holds the text its edits begin from.

A step is what one Enter (or one paste) did: one line or several, the last of them with the SHA-256 of the document
after it. A step without that line was never accepted. The chain finds lines changed, missing or moved; it is no
signature: who can write the file can write a new log from a given line on.

Old and new values are one line of TOML as JSON text, so digits and dates survive. The chain is SHA-256 over the chain
before and the line without its chain (sorted, compact JSON). Each step's last line carries the document's SHA-256 and
a start line the whole document, so the log alone can rebuild the run. The chain proves order and integrity to an
honest holder; it is no signature.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from runsheet.figures import visible
from runsheet.problem import Problem
from runsheet.run import edit
from runsheet.run.disk.files import digest

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from runsheet.run.edit import Edit, Received


RECEIVED, TYPED = "received", "typed"
"""How a reading came into a cell the photometer had sent a line to."""
NAME = "run.log"
"""Where the document names its log, by the chain value of the log's first entry. No person edits or undoes it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One line of a log."""

    time: str
    """When it was accepted, ISO with its offset; the reading's own time is in the reading's row."""
    who: str
    account: str | None = None
    """The login it was accepted under, and the machine's name; none where the log is older than these."""
    machine: str | None = None
    action: str
    """`start`, one of `edit.ACTIONS`, or a remark as `note`."""
    path: str = ""
    old: str | None = None
    """As one line of TOML, digits as typed; None: nothing there."""
    new: str | None = None
    reason: str = ""
    step: int = 0
    """Counts up by one from 1; the lines of a step share it."""
    undoes: int | None = None
    """The step this one takes back."""
    redoes: int | None = None
    """The step this one does again."""
    text: str | None = None
    """For `start`: the whole document."""
    document: str | None = None
    """On a step's last line: the SHA-256 of the document after it."""
    port: str | None = None
    """Of a reading before which the photometer had sent a line to its cell: the port, and that line as it came."""
    raw: str | None = None
    entered: str | None = None
    """`received` where the reading is what was sent, `typed` where a person typed it in the place of that."""
    chain: str = ""
    """SHA-256 over the chain of the line before and this line without its chain, as JSON with sorted keys."""

    @property
    def edit(self) -> Edit:
        """The edit it records. Raises edit.EditError where its values cannot be read."""
        old, new = (None if value is None else edit.untyped(value) for value in (self.old, self.new))
        return edit.Edit(self.action, self.path, old, new, self.received)

    @property
    def received(self) -> Received | None:
        """What the photometer had sent; None where it had sent nothing."""
        return None if self.port is None else edit.Received(self.port, self.raw or "", self.entered == TYPED)


@dataclass(frozen=True, slots=True)
class Step:
    """The entries that were accepted together."""

    entries: tuple[Entry, ...]
    line: int
    """The number of its first line in the log."""
    sound: bool
    """Whether each of its lines is as it was written and follows from the line before."""

    @property
    def number(self) -> int:
        """The step's number."""
        return self.entries[-1].step

    @property
    def document(self) -> str:
        """The SHA-256 of the document after it."""
        return self.entries[-1].document or ""

    @property
    def starts(self) -> bool:
        """Whether it records a document taken as it stood, instead of edits."""
        return self.entries[0].action == "start"

    @property
    def names(self) -> bool:
        """Whether it is the program's own entry that writes the log's name into the document."""
        return all(entry.path == NAME for entry in self.entries)

    @property
    def issues(self) -> bool:
        """Whether it notes that a report was issued."""
        return any(entry.path.startswith("issued[") for entry in self.entries)

    @property
    def count(self) -> int:
        """How many edits of a person it holds."""
        return 0 if self.starts or self.names else len(self.entries)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """Its edits, in order. Raises edit.EditError."""
        return tuple(entry.edit for entry in self.entries)


@dataclass(frozen=True, slots=True)
class ReadLog:
    """A log as read."""

    steps: tuple[Step, ...]
    faults: tuple[Problem, ...]
    whole: int
    """Bytes up to the end of the last whole step; what follows was never accepted, or cannot be read."""
    unreadable: bool
    """Whether what follows holds bytes that cannot be read, as a power cut leaves them; else it is cut short."""
    chain: str
    """The chain of the last whole line."""

    @property
    def last(self) -> int:
        """The number of its last step, 0 without any."""
        return self.steps[-1].number if self.steps else 0

    def after(self, document: str) -> tuple[Step, ...] | None:
        """The steps that follow the document of this digest; None where it or the way from it is unknown."""
        for at in range(len(self.steps) - 1, -1, -1):
            if self.steps[at].document == document:
                later = self.steps[at + 1 :]
                return later if all(step.sound for step in later) else None
        return None

    def since_start(self) -> tuple[Step, ...]:
        """The sound steps from the last start on; none where the last step is not sound."""
        for at in range(len(self.steps) - 1, -1, -1):
            if not self.steps[at].sound:
                return self.steps[at + 1 :]
            if self.steps[at].starts:
                return self.steps[at:]
        return self.steps


# --- making lines -----------------------------------------------------------------------------------------------


def start(document: bytes, now: datetime, who: str, **more: Any) -> list[Entry]:
    """Make the entry that takes a document as it stands; bytes that are no UTF-8 raise ValueError.

    `more` is `reason`, `account` or `machine`.
    """
    text_ = document.decode()
    return [Entry(time=_time(now), who=who, action="start", text=text_, document=digest(document), **more)]


def entries(edits: Sequence[Edit], document: bytes, now: datetime, who: str, **more: Any) -> list[Entry]:
    """Make the entries of one step that leads to `document`.

    `more` is `reason`, `undoes`, `redoes`, `account` or `machine`.
    """
    made = [
        Entry(
            time=_time(now),
            who=who,
            action=e.action,
            path=e.path,
            old=_typed(e.old),
            new=_typed(e.new),
            **_sent(e.received),
            **more,
        )
        for e in edits
    ]
    return [*made[:-1], replace(made[-1], document=digest(document))]


def _sent(received: Received | None) -> dict[str, Any]:
    if received is None:
        return {}
    return {"port": received.port, "raw": received.raw, "entered": TYPED if received.typed else RECEIVED}


def chained(made: Iterable[Entry], chain: str, number: int) -> list[Entry]:
    """The entries with their step's number, each chained to the one before."""
    done = []
    for entry in made:
        numbered = replace(entry, step=number)
        chain = chained_to(chain, _body(numbered))
        done.append(replace(numbered, chain=chain))
    return done


def line(entry: Entry) -> bytes:
    """Write an entry as its line, the end of line included."""
    return (json.dumps({**_body(entry), "chain": entry.chain}, ensure_ascii=False) + "\n").encode()


def _time(now: datetime) -> str:
    if now.utcoffset() is None:
        raise ValueError("a log's times need an offset")
    return now.isoformat(timespec="seconds")


def _typed(value: Any) -> str | None:
    return None if value is None else edit.typed(value)


def _body(entry: Entry) -> dict[str, Any]:
    """Everything but the chain; what does not apply is left out, `old` and `new` never."""
    found = {name: getattr(entry, name) for name in _FIELDS}
    return {name: value for name, value in found.items() if value is not None or name in _ALWAYS}


def chained_to(before: str, body: dict[str, Any]) -> str:
    """The chain value of a line: SHA-256 over the chain before it and the line, as compact JSON with sorted keys."""
    canonical = json.dumps(body, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return digest((before + canonical).encode())


_FIELDS = tuple(field.name for field in fields(Entry) if field.name != "chain")
_ALWAYS = frozenset({"old", "new"})
_NUMBERS = frozenset({"step", "undoes", "redoes"})
_REQUIRED = frozenset({"time", "who", "action", "path", "old", "new", "reason", "step", "chain"})


# --- reading ----------------------------------------------------------------------------------------------------


@lru_cache(maxsize=2)  # an opening asks for the same log up to four times
def parse(data: bytes) -> ReadLog:
    """The log as read, up to the first line that cannot be read: a power cut in an append of several pages leaves such.

    Nothing raises: what is wrong with a readable line is among the faults. A line made unreadable on purpose is found
    by the document, which is never ahead of the log.
    """
    steps: list[Step] = []
    faults: list[Problem] = []
    open_: list[Entry] = []
    chain, at, whole, first, sound = "", 0, (0, ""), 1, True
    *lines, last = data.split(b"\n")
    unreadable = b"\0" in last
    for number, raw in enumerate(lines, 1):
        at += len(raw) + 1
        entry = _entry(raw)
        if entry is None:
            unreadable = True
            break
        fault = _fault(entry, raw, chain)
        chain = entry.chain
        if fault:
            faults.append(Problem("", fault, line=number))
            sound = False
        open_.append(entry)
        if entry.document is not None:
            steps.append(Step(tuple(open_), first, sound))
            open_, first, sound, whole = [], number + 1, True, (at, chain)
    return ReadLog(tuple(steps), tuple(faults), whole[0], unreadable, whole[1])


def _entry(raw: bytes) -> Entry | None:
    try:
        data = json.loads(raw)
        if not (isinstance(data, dict) and data.keys() >= _REQUIRED):
            return None
        kinds = ((name, int if name in _NUMBERS else str) for name in data)
        good = all(type(data[name]) is kind or (name in _ALWAYS and data[name] is None) for name, kind in kinds)
        return Entry(**data) if good else None
    except (ValueError, TypeError, RecursionError):
        return None


def _fault(entry: Entry, raw: bytes, before: str) -> str:
    try:
        if entry.chain != chained_to(before, _body(entry)):
            return "was changed, or a line before it is missing, changed or moved"
        return "" if line(entry) == raw + b"\n" else "is not written as it was"
    except UnicodeEncodeError:
        return "holds characters that cannot be written as UTF-8"


def entries_in(piece: bytes) -> int:
    """How many edits of a person the lines of a piece of a log hold."""
    # A quote inside a value is escaped, so that these words stand in the program's own lines alone.
    return piece.count(b"\n") - piece.count(b'"action": "start"') - piece.count(f'"path": "{NAME}"'.encode())


# --- for a person ---------------------------------------------------------------------------------------------


def lines(log: bytes) -> list[str]:
    """The log for a person to read, one edit a line; control characters are shown as escapes."""
    return [_shown(entry) for step in parse(log).steps for entry in step.entries]


def _shown(entry: Entry) -> str:
    turned = (
        f"undoes step {entry.undoes}: " if entry.undoes else f"redoes step {entry.redoes}: " if entry.redoes else ""
    )
    if entry.action == "start":
        what = f"start: the document as it stood, SHA-256 {entry.document}"
    elif entry.action == "move":
        what = f"move {entry.path} to {entry.new}"
    else:
        what = f"{entry.action} {entry.path}: {entry.old or 'nothing'} -> {entry.new or 'nothing'}"
    reason = f"  ({entry.reason})" if entry.reason else ""
    return visible(f"{entry.time}  step {entry.step}  {entry.who}  {turned}{what}{reason}{_from(entry.received)}")


def _from(received: Received | None) -> str:
    """Say that a reading was received, or typed although the photometer had sent something."""
    if received is None:
        return ""
    how = "typed, in the place of what was received" if received.typed else "received"
    return f"  {how} from {received.port}: {received.raw}"
