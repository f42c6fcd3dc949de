"""Readings typed, scanned and sent by a device among keys, pastes and commands: each row gets those meant for it.

Owns: `work`, which knows where each number was meant, since each is used once. Nothing in it answers a question in
words, so that what overwrites a reading, or exchanges two, is never agreed to.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import defaultdict
from pathlib import Path
from typing import TYPE_CHECKING

from textual import events

from runsheet import demo
from runsheet.screen.page import Page
from tests.screen.driving import APART, Drive, character, keys

if TYPE_CHECKING:
    from runsheet.run.model import Row, Standard

FAST = 0.004
LETTERS = "nibrdgFLveaEKNPHCXMIfmwGst?:/=[]<>zuU"
"""Commands; none of them exchanges, strikes out or removes."""
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
SCANS = ("v8-2", "q-100", "b0017", "OS-09", "OS-02", "SB1", "12ab", "x77", "u123", "0.1.2")
BLOCKS = ("0.1\t1\n0.2\t2\n", "N-1,980\nN-2,\n", "x\ty", "abc")
EVERY = 400
"""Steps on one document."""


class Hand:
    """Whoever is at the bench, and the devices beside it."""

    def __init__(self, drive: Drive, random_: random.Random, first: int) -> None:
        """Begin with the first number that is not used yet."""
        self.drive, self.random, self.number = drive, random_, first
        self.meant: defaultdict[str, set[str]] = defaultdict(set)
        self.taken = 0

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

    def here(self) -> str:
        """The unread row of the present cell, where a reading goes to; empty where one goes to none."""
        bench = self.drive.bench
        rows = getattr(bench.session.run, bench.pane.array) if bench.pane.array in ("queue", "standard") else ()
        if not self.idle or bench.place >= len(rows) or bench.column.edits not in (None, "readings"):
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

    def step(self) -> None:
        """One thing that happens."""
        chance, bench = self.random.random(), self.drive.bench
        if not self.idle and chance < 0.5:
            self.press("escape")
        elif chance < 0.25 and self.here():
            self.reading(typed=True)
        elif chance < 0.45:
            self.reading(typed=False)
        elif chance < 0.55:
            self.line(self.random.choice(SCANS), ends=("enter",))
        elif chance < 0.6:
            bench.on_paste(events.Paste(self.random.choice(BLOCKS)))
            for _ in range(3):
                self.press("escape")
        elif chance < 0.7:
            self.press("n")
        elif chance < 0.85:
            self.press(self.random.choice(NAMES))
        elif self.idle:
            self.press(self.random.choice(keys(LETTERS)))

    def judge(self) -> None:
        """What was read since the day was made is what was meant, row by row."""
        run = self.drive.bench.session.run
        self.taken = 0
        rows: list[Standard | Row] = [*run.standard, *run.queue]
        for row in rows:
            new = {str(value) for value in row.readings if len(str(value)) == len("0.000000")}
            assert new <= self.meant[row.id], f"{row.id} has {new - self.meant[row.id]}, meant {self.meant[row.id]}"
            self.taken += len(new)


def work(folder: Path, count: int, seed: int) -> int:
    """Do so many things, some hundreds on a document; how many readings were taken."""
    random_, taken, first = random.Random(seed), 0, 0  # noqa: S311 - keys need no secrets
    for part in range(0, count, EVERY):
        path = folder / f"run{part}.toml"
        path.write_text(demo.text("water-day"), encoding="utf-8")
        drive = Drive(path)
        hand = Hand(drive, random_, first)

        def all_of_it(_: Drive, hand: Hand = hand, steps: int = min(EVERY, count - part)) -> None:
            for _step in range(steps):
                hand.step()
                hand.judge()

        drive.run(then=all_of_it)
        taken, first = taken + hand.taken, hand.number
    return taken


def main() -> None:
    """Do as many things as the first argument says, from the seed the second one gives."""
    count, seed = int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0
    with tempfile.TemporaryDirectory() as folder:
        print(f"{count} steps from seed {seed}: {work(Path(folder), count, seed)} readings, each where it was meant")


if __name__ == "__main__":
    main()
