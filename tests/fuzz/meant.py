"""Readings typed, scanned and sent by a photometer among keys, pastes and commands: each row gets those meant for it.

Owns: `work`, which knows where each number was meant, since each is used once. Nothing in it answers a question in
words, so that what overwrites a reading is never agreed to; but two rows are exchanged, one filling struck out, a row
removed, each of these on purpose. A line of the photometer is meant for the row the cursor is on when it comes, and for
none where something is asked, shown or typed, or the row is read: the hand accepts what it sees only where it is meant.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter, defaultdict
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from textual import events

from runsheet import demo, read
from runsheet.port.feed import Feed, Line
from runsheet.port.named import Port
from runsheet.run.text import write
from runsheet.screen.page import Page
from tests.screen.driving import APART, Drive, character, keys

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.run.model import Row, Standard

FAST = 0.004
LETTERS = "nibrdgFLveaEKNPHCXMIfmwGst?:/=[]<>zuUl"
"""Commands; none of them exchanges, strikes out, removes or takes a line without Enter."""
NOISE = ("", "ready", "ERR 5", "0.1 0.2", "98.2 %T", "\x00\\xff", "12ab", "S1")
NAMES = (
    "up",
    "down",
    "left",
    "right",
    "tab",
    "shift+tab",
    "home",
    "end",
    "f2",
    "f3",
    "f4",
    "f5",
    "pageup",
    "ctrl+home",
)
SCANS = ("v8-2", "q-100", "b0017", "OS-09", "OS-02", "SB1", "N-07", "N-21", "12ab", "x77", "u123", "0.1.2")
BLOCKS = ("0.1\t1\n0.2\t2\n", "N-1,980\nN-2,\n", "x\ty", "abc")
EVERY = 400
"""Steps on one document."""


def fillings(row: Standard | Row) -> set[str]:
    """What a row was read as, what was struck out with it."""
    return {str(value) for value in (*row.readings, *getattr(row, "struck", ()))}


class Hand:
    """Whoever is at the bench, and the devices beside it."""

    def __init__(self, drive: Drive, random_: random.Random, first: int) -> None:
        """Begin with the first number that is not used yet."""
        self.drive, self.random, self.number = drive, random_, first
        self.meant: defaultdict[str, set[str]] = defaultdict(set)
        self.taken = 0
        self.done: Counter[str] = Counter()
        """How often each thing was done that changes where a reading stands."""
        self.receiving = drive.bench.receiving
        self.receiving.ticks = lambda: drive.moment
        self.receiving.feed = Feed(Port("tcp:192.0.2.7:4001"), lambda: drive.now, lambda: None)

    def press(self, name: str, apart: float = APART) -> None:
        """One key."""
        self.drive.moment += apart
        key = events.Key(name, character(name))
        key.time = self.drive.moment
        self.drive.bench.on_key(key)
        if apart == APART:
            self.drive.bench.release()

    def line(self, text: str, *, ends: tuple[str, ...]) -> None:
        """A line that comes all at once."""
        self.drive.moment += APART
        for name in (*keys(text), *ends):
            self.press(name, FAST)
        self.drive.bench.release()

    @property
    def idle(self) -> bool:
        """Whether nothing is asked, shown or typed."""
        bench = self.drive.bench
        return bench.prompt is None and bench.query_one(Page).content is None and bench.grid.entry is None

    def here(self, *, exactly: bool = False) -> str:
        """The unread row of the present cell, where a reading goes to; empty where one goes to none.

        A number typed goes there from a calculated cell too, a line of the photometer from its own cell `exactly`.
        """
        bench = self.drive.bench
        rows = getattr(bench.session.run, bench.pane.array) if bench.pane.array in ("queue", "standard") else ()
        if not self.idle or bench.place >= len(rows) or bench.column.edits not in (None, "readings"):
            return ""
        if exactly and bench.column.edits is None:
            return ""
        row = rows[bench.place]
        return "" if row.readings else row.id

    def next_number(self) -> str:
        """A reading no other row has."""
        self.number += 1
        return f"0.{self.number:06}"

    def reading(self, *, typed: bool) -> None:
        """A number, meant for the present row where it is unread, else for none."""
        value, row = self.next_number(), self.here()
        if row:
            self.meant[row].add(value)
        ends = self.random.choice((("enter",), ("enter", "ctrl+j"), ("ctrl+j",)))
        if not typed:
            self.line(value, ends=ends)
            return
        for name in keys(value):
            self.press(name)
        self.press(ends[0])
        if len(ends) > 1 or self.random.random() < 0.2:
            self.press(self.random.choice(("ctrl+j", "enter")), FAST)

    # --- the photometer -----------------------------------------------------------------------------------------

    def send(self, noise: float = 0.3) -> None:
        """A line of the photometer, or noise; its number is meant for the row the cursor is on, if it is unread."""
        row, value = self.here(exactly=True), self.next_number()
        if self.random.random() < noise:
            value = self.random.choice(NOISE)
        elif row:
            self.meant[row].add(value)
        self.receiving.take(Line(value, self.drive.now))
        self.drive.now += timedelta(seconds=1)

    def pause(self) -> None:
        """Time passes, as it does between two things a person does."""
        self.drive.moment += 1
        self.receiving.look(fresh=True)

    def look_at_it(self) -> None:
        """See what is proposed: accept it where it is meant, throw it away, type in its place, or leave it."""
        shown, row = self.receiving.shown, self.here(exactly=True)
        if shown is None:
            return
        chance = self.random.random()
        if chance < 0.2:
            self.press("escape")
        elif chance < 0.3:
            self.reading(typed=True)
        elif chance < 0.4:
            self.press("e")
        elif row and shown.text in self.meant[row]:
            self.press("enter")
            if self.random.random() < 0.5:
                self.press(self.random.choice(("ctrl+j", "enter")), self.random.choice((FAST, APART)))
            self.done["received"] += any(shown.text in map(str, each.readings) for each in self.rows())

    def measure(self) -> None:
        """What an analyst does: go to a row to read, have the photometer send, see it, and mostly accept it."""
        bench = self.drive.bench
        unread = [at for at, row in enumerate(bench.session.run.queue) if not row.readings and row.void is None]
        if self.idle and unread:
            bench.activate("queue")
            bench.go(self.random.choice(unread[:3]))
        self.send()
        self.pause()
        self.look_at_it()

    def without_enter(self) -> None:
        """The next line is for this row, read or not, unless a key comes first; then another comes."""
        row = self.current()
        if row is not None and self.drive.bench.column.edits == "readings" and row.void is None:
            self.press("T")
            if self.random.random() < 0.3:
                self.press(self.random.choice(NAMES))
            elif row.readings:
                self.meant[row.id].add(f"0.{self.number + 1:06}")
            before = self.drive.bench.session.run
            self.send(noise=0)
            self.done["without Enter"] += self.drive.bench.session.run is not before
            self.send()

    # --- on purpose -----------------------------------------------------------------------------------------------

    def rows(self) -> list[Standard | Row]:
        """All that may be read."""
        run = self.drive.bench.session.run
        return [*run.standard, *run.queue]

    def type(self, text: str) -> None:
        """Characters at a person's pace, and Enter."""
        for name in (*keys(text), "enter"):
            self.press(name)

    def current(self) -> Row | None:
        """The row of the queue the cursor is on, with nothing asked, shown or typed."""
        bench = self.drive.bench
        found = bench.active == "queue" and self.idle and bench.place < len(bench.session.run.queue)
        return bench.session.run.queue[bench.place] if found else None

    def exchange(self) -> None:
        """What was read as this row and another is exchanged; what is meant for each goes with it."""
        row = self.current()
        if row is None or not row.readings:
            return
        other = self.random.choice(self.drive.bench.session.run.queue)
        mine, theirs = fillings(row), fillings(other)
        self.press("y")
        if self.drive.bench.prompt is None:
            return
        self.type(other.id)
        if self.drive.bench.prompt is not None:
            self.type("mixed up")
            now = {each.id: fillings(each) for each in self.rows()}
            if row.id != other.id and (now[row.id], now[other.id]) == (theirs, mine):
                self.done["exchanged"] += 1
                self.meant[row.id] |= theirs
                self.meant[other.id] |= mine

    def again(self) -> None:
        """One more filling of this row, and now and then one struck out."""
        row = self.current()
        if row is None or not row.readings:
            return
        if len(row.readings) > 1:
            self.press("k")
            self.press("enter")
            if self.drive.bench.prompt is not None:
                self.type("bubble")
            now = next((each for each in self.drive.bench.session.run.queue if each.id == row.id), row)
            self.done["struck out"] += len(now.struck) > len(row.struck)
        else:
            value = self.next_number()
            self.meant[row.id].add(value)
            self.press("a")
            self.type(value)

    def remove(self) -> None:
        """This row is taken out."""
        row = self.current()
        if row is not None and len(self.drive.bench.session.run.queue) > 12:
            self.press("x")
            if self.drive.bench.prompt is not None:
                self.type("y")
            self.done["removed"] += row.id not in {each.id for each in self.drive.bench.session.run.queue}

    # --- anything -------------------------------------------------------------------------------------------------

    def step(self) -> None:
        """One thing that happens."""
        if self.random.random() < 0.2:
            self.send()
        if self.random.random() < 0.5:
            self.pause()
        if self.random.random() < 0.4:
            self.look_at_it()
        chance = self.random.random()
        if not self.idle and chance < 0.5:
            self.press("escape")
        else:
            next(do for below, do in self.does if chance < below)()

    @property
    def does(self) -> tuple[tuple[float, Callable[[], None]], ...]:
        """What is done, each with the chance below which it is."""
        pick = self.random.choice
        return (
            (0.15, lambda: self.reading(typed=bool(self.here()))),
            (0.25, lambda: self.reading(typed=False)),
            (0.3, lambda: self.line(pick(SCANS), ends=("enter",))),
            (0.35, self.paste),
            (0.5, self.measure),
            (0.6, pick((self.exchange, self.again, self.remove, self.without_enter))),
            (0.7, lambda: self.press("n")),
            (0.85, lambda: self.press(pick(NAMES))),
            (1.0, lambda: self.press(pick(keys(LETTERS)) if self.idle else "escape")),
        )

    def paste(self) -> None:
        """A block from the clipboard, and second thoughts."""
        self.drive.bench.on_paste(events.Paste(self.random.choice(BLOCKS)))
        for _ in range(3):
            self.press("escape")

    def judge(self) -> None:
        """What was read since the day was made is what was meant, row by row, and no number stands twice."""
        self.taken, seen = 0, set[str]()
        for row in self.rows():
            new = {value for value in fillings(row) if len(value) == len("0.000000")}
            assert new <= self.meant[row.id], f"{row.id} has {new - self.meant[row.id]}, meant {self.meant[row.id]}"
            assert not new & seen, f"{new & seen} stands twice"
            seen |= new
            self.taken += len(new)


def day() -> str:
    """The invented day with many rows still to read."""
    run, _ = read(demo.text("water-day"))
    assert run is not None
    more = tuple(replace(run.queue[-1], id=f"N-{number:02}") for number in range(1, 31))
    return write(replace(run, queue=(*run.queue, *more)))


def work(folder: Path, count: int, seed: int) -> Counter[str]:
    """Do so many things, some hundreds on a document; how many readings stand, and how often each thing was done."""
    random_, first = random.Random(seed), 0  # noqa: S311 - keys need no secrets
    done: Counter[str] = Counter()
    for part in range(0, count, EVERY):
        path = folder / f"run{part}.toml"
        path.write_text(day(), encoding="utf-8")
        drive = Drive(path)
        hand = Hand(drive, random_, first)

        def all_of_it(_: Drive, hand: Hand = hand, steps: int = min(EVERY, count - part)) -> None:
            for _step in range(steps):
                hand.step()
                hand.judge()

        drive.run(then=all_of_it)
        done += hand.done
        done["readings"] += hand.taken
        first = hand.number
    return done


def main() -> None:
    """Do as many things as the first argument says, from the seed the second one gives."""
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    with tempfile.TemporaryDirectory() as folder:
        done = work(Path(folder), count, seed)
    told = ", ".join(f"{number} {what}" for what, number in sorted(done.items()))
    print(f"{count} steps from seed {seed}: {told}; each reading where it was meant")


if __name__ == "__main__":
    main()
