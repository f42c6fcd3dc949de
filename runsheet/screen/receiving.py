"""Readings from the photometer itself, at the bench.

Owns: `Receiving`: which line is proposed, which wait, what became of each. Invariant: a line is a reading only after
Enter on the cell it is shown in, or in the one row a person said the next line is for; it goes into no question, page
or entry, and none is gone unsaid.

The proposal is the newest line. A photometer that sends all the time shows what its display shows; and after a line
that nobody asked for, from a zero or a second press of a button, the readings of the day do not all go one row too far,
as they would in the order they came. An older one that it takes the place of is passed over, told, and can be chosen
from the list. What came while something else was asked or typed waits. A line older than the reading accepted last may
be that row's, and one that was shown at another row before the cursor left it, of that one: it is asked about once.

A proposal does not change between two keys faster than `PACE`, and comes `QUIET` after the last key at the earliest, so
that an Enter struck twice finds none; Enter takes what is in sight. A reading typed in its place is typed: the log
keeps both. A setup check that needs several readings gets one more with each line; so does a read row, but only when a
person says that the next line is for it.
"""

from __future__ import annotations

import time
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet.figures import counted, visible
from runsheet.port.feed import Feed
from runsheet.port.number import UNITS, Number, number_in
from runsheet.run import edit
from runsheet.run.edit import EditError, Received
from runsheet.screen.content import Content
from runsheet.screen.context import name_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from runsheet.port.feed import Line
    from runsheet.port.named import Port
    from runsheet.run.model import Reads
    from runsheet.screen.bench import Bench

PACE = 0.5
"""Seconds between two repaintings for lines, however many come."""
QUIET = 0.4
"""Seconds without a key before a proposal comes into sight: a key struck twice is over by then."""
KEPT = 200
"""Lines listed."""
WAITS, PASSED = "waits", "passed over for a newer one"
NO_PORT = "no photometer is read: runsheet FILE --from PORT"
NOT_HERE = "nothing is read from the photometer into a run that is only looked at"


@dataclass
class Arrived:
    """A line, and what became of it."""

    line: Line
    number: Number
    fate: str = WAITS
    step: int = 0
    """The number of the step that made it a reading, or another typed over it; 0 without one."""
    became: str = ""
    """What that step made of it."""
    came_at: str = ""
    """The row whose cell waited for it when it came, else the one it was first proposed at."""

    @property
    def text(self) -> str:
        """Its number as it came."""
        return self.number.text

    def is_made(self, taken_back: frozenset[int]) -> bool:
        """Whether the step that made it a reading stands: not undone, or made again although it was chosen since."""
        return bool(self.step) and self.step not in taken_back

    def listed(self, taken_back: frozenset[int]) -> str:
        """It, in a list; `taken_back` are the steps that were undone."""
        fate = self.became if self.is_made(taken_back) else self.fate
        fate = f"{fate}, undone" if self.step in taken_back and fate == self.became else fate
        return f"{self.line.at:%H:%M:%S}  {self.text or '-':>9}  {fate}: {visible(self.line.raw)}"


class Receiving:
    """What a bench does with the lines of a port; without one it does nothing."""

    def __init__(self, bench: Bench) -> None:
        """Belong to a bench."""
        self.bench = bench
        self.feed: Feed | None = None
        self.shown: Arrived | None = None
        """What Enter takes."""
        self.head = ""
        """The port's state, for the head line."""
        self.words = ""
        """What is said about the proposal."""
        self.ticks: Callable[[], float] = time.monotonic
        """Seconds that pass."""
        self._last_key = 0.0
        self._pattern: str | None = None
        self._waiting: list[Arrived] = []
        self._kept: deque[Arrived] = deque(maxlen=KEPT)
        self._more = 0
        """Lines too many to be listed."""
        self._cell: tuple[str, int, str] | None = None
        self._armed: tuple[str, int, str] | None = None
        """The cell whose reading the next line is without Enter."""
        self._just_armed = False
        self._further: tuple[str, int, str] | None = None
        """The read row that a line was awaited for, and asks about something before it is taken."""
        self._accepted: tuple[datetime, str] | None = None
        """When the last reading was accepted, and its row."""
        self._painted = 0.0
        self._later = False
        self._unsaid = self._said = ""
        """What is to be said of lines that were not taken, and what was."""

    # --- the port ---------------------------------------------------------------------------------------------------

    def listen(self, port: Port, pattern: str | None = None) -> None:
        """Begin to read a port; `pattern` finds the number of a line."""
        bench = self.bench
        self._pattern = pattern

        def tell() -> None:
            bench.post_message(bench.Sent())

        self.feed = Feed(port, bench.session.clock, tell)
        self.feed.start()

    def close(self) -> None:
        """End the thread and close the port."""
        if self.feed is not None:
            self.feed.close()

    def fetch(self) -> None:
        """Take what the port has sent; repaint now or a moment later."""
        if self.feed is None:
            return
        lines, lost = self.feed.fetch()
        self._more += lost
        for line in lines:
            self.take(line)
        self._soon(max(0.0, self._painted + PACE - self.ticks()))

    def take(self, line: Line) -> None:
        """Take one line: for the row it is awaited for, else among those that wait, else as none."""
        found = Number(why=line.why) if line.why else number_in(line.raw, self._pattern)
        here = self._here(more=self._armed is not None)
        under = here or self._here(covered=True)
        arrived = Arrived(line, found, came_at=under[2] if under is not None else "")
        self._more += len(self._kept) == KEPT
        self._kept.append(arrived)
        if found.why:
            arrived.fate = f"not taken ({found.why})"
            self._unsaid = f"not taken, {found.why}: {visible(line.raw)}"
            return
        self._waiting.append(arrived)
        if self._armed is not None and self._armed == here:
            self._armed, self.shown = None, arrived
            if doubt := self._doubt(arrived):
                self._further = here
                self._unsaid = f"not taken without Enter. {doubt}"
            else:
                self.accept()

    # --- what is in sight -------------------------------------------------------------------------------------------

    def _soon(self, seconds: float) -> None:
        if seconds <= 0:
            self.look(fresh=True)
        elif not self._later:
            self._later = True
            self.bench.set_timer(seconds, self._now)

    def _now(self) -> None:
        self._later = False
        self.look(fresh=True)

    def key(self) -> None:
        """Note that a key was pressed, and take the proposal out of a cell the cursor has left.

        Any key but the one that asked for it takes back that the next line needs no Enter.
        """
        self._last_key = self.ticks()
        if not self._just_armed:
            self._armed = None
        self._just_armed = False
        if self.feed is not None:
            self.look()

    def look(self, *, fresh: bool = False) -> None:
        """Show what is proposed where the cursor is; with `fresh` a newer line and the port's state too."""
        if self.bench.idle and self._further != self._here(more=True):
            self._further = None
        here = self._here()
        self._drop_made()
        if self._armed != self._here(more=True):
            self._armed = None
        if here != self._cell or here is None:
            self._cell, self.shown = here, None
        waits = QUIET - (self.ticks() - self._last_key)
        if here is not None and self._waiting and (fresh or self.shown is None):
            if self.shown is not None or waits <= 0:
                self._propose()
            else:
                self._soon(waits)
        self._say(fresh=fresh)
        self._paint(fresh=fresh)

    def _drop_made(self) -> None:
        """Have no line wait that is a reading again: its step was undone, it was chosen, and the step made again."""
        taken_back = self.bench.session.taken_back
        for each in [each for each in self._waiting if each.is_made(taken_back)]:
            self._waiting.remove(each)
            each.fate = each.became
            self.shown = None if each is self.shown else self.shown

    def _here(self, *, more: bool = False, covered: bool = False) -> tuple[str, int, str] | None:
        """The reading cell the cursor is in, by place and row, where nothing is asked, shown over it or typed.

        With `covered` it may be.
        It is one that waits for a reading, or for an answer about a further one, or with `more` one that may have one.
        """
        bench = self.bench
        if (
            not (bench.idle or covered)
            or bench.session.read_only
            or bench.editing.field != "readings"
            or bench.item is None
        ):
            return None
        row = getattr(bench.session.run, bench.pane.array)[bench.place]
        counts = getattr(row, "void", None) is None and getattr(row, "use", None) is not False
        waits = not row.readings or (bench.active == "setup" and bench.item.state == "todo")
        here = (bench.pane.array, bench.place, name_of(bench))
        return here if counts and (waits or more or here == self._further) else None

    def _propose(self) -> None:
        """Show the newest line; those before it are passed over."""
        newest = self._waiting[-1]
        if newest is self.shown:
            return
        older = len(self._waiting) - 1 if self.shown is None else 0
        for each in self._waiting[:-1]:
            each.fate = PASSED
        self._waiting, self.shown = [newest], newest
        newest.came_at = newest.came_at or name_of(self.bench)
        told = f" ({older} older: l)" if older else ""
        doubt = self._doubt(newest)
        does = f". {doubt}" if doubt else f"{self._given(newest)}: Enter takes it, Escape throws it away"
        self.words = f"{newest.text} came {newest.line.at:%H:%M:%S}{told}{does}"

    def _doubt(self, arrived: Arrived) -> str:
        """Why a line is not taken without being asked about, in words, or nothing."""
        return self._other_unit(arrived) or self.before(arrived) or self.bench.editing.doubt(arrived)

    def _other_unit(self, arrived: Arrived) -> str:
        """That a line says another unit than the cell is in, or nothing."""
        reads, cell = arrived.number.reads, self._reads()
        return f"It is in {UNITS[reads]}, this cell in {UNITS[cell]}" if reads not in (None, cell) and reads else ""

    def _reads(self) -> Reads:
        """What the present cell is read in."""
        bench = self.bench
        row = getattr(bench.session.run, bench.pane.array)[bench.place]
        if bench.pane.array == "setup":
            return "transmittance" if row.check in ("full-scale", "dark") else row.reads or "absorbance"
        return bench.session.run.instrument.reads or "absorbance"

    def before(self, arrived: Arrived) -> str:
        """That a line came before the reading accepted last, or for another row, whose it may be; or nothing."""
        if self._accepted is not None and arrived.line.at < self._accepted[0]:
            return f"That was before {self._accepted[1]} was accepted: is it this row's?"
        if arrived.came_at not in ("", name_of(self.bench)):
            return f"It came at {arrived.came_at}: is it this row's?"
        return ""

    def _given(self, arrived: Arrived) -> str:
        """What the row's result would be with it, in words."""
        bench = self.bench
        if bench.active != "queue" or bench.is_long:
            return ""
        try:
            run = edit.apply_all(bench.session.run, bench.editing.edits_of(arrived))
        except EditError:
            return ""
        row = bench.session.evaluated(run).rows[bench.place]
        shown = (column.text(row) for column in bench.pane.columns if column.key in ("reported", "unit", "flags"))
        return f", {' '.join(filter(None, shown))}" if row.reported else ""

    def _say(self, *, fresh: bool) -> None:
        """Say once what was not taken, unless something is proposed: that is what the line is for."""
        bench = self.bench
        if self.shown is not None:
            bench.message = "" if bench.message == self._said else bench.message
        elif fresh and self._unsaid and bench.idle:
            still = "the next number still needs no Enter. " if self._armed is not None else ""
            bench.message = self._said = f"{still}{self._unsaid}"
        if fresh and bench.idle:
            self._unsaid = ""

    def _paint(self, *, fresh: bool) -> None:
        bench, text = self.bench, f"{self.shown.text}?" if self.shown else ""
        if fresh:
            self._painted = self.ticks()
            self.head = self._head()
        if fresh or bench.grid.proposal != text:
            for grid in bench.grids.values():
                grid.proposal = text if grid is bench.grid else ""
            bench.paint()

    def _head(self) -> str:
        if self.feed is None:
            return ""
        state = self.feed.state
        told = "photometer connected" if state.connected else f"photometer away since {state.since:%H:%M}"
        waiting = len(self._waiting) - (self.shown is not None)
        return f" {told}{f', {waiting} waiting' if waiting else ''}"

    @property
    def cell_words(self) -> str:
        """What is said at the cell: of the proposal, or that the next number is taken; or nothing."""
        if self._armed is not None:
            return "the next number is taken for this row without Enter; any key takes that back"
        return self.words if self.shown is not None else ""

    # --- taking and throwing away -----------------------------------------------------------------------------------

    def accept(self) -> bool:
        """Take the proposal as the present cell's reading, asked about where it must be; whether there was one."""
        arrived = self.shown
        if arrived is None:
            return False
        if other := self._other_unit(arrived):
            self.bench.say(f"not taken. {other}: type the reading, or Escape throws this away")
        else:
            self.bench.editing.receive(arrived)
        return True

    def accepted(self, name: str, arrived: Arrived | None, *, typed: bool) -> None:
        """Note that a reading was accepted, and the line that was in its cell."""
        self._accepted, self._further = (self.bench.session.clock(), name), None
        if arrived is not None:
            at = self._waiting.index(arrived)
            for each in self._waiting[:at]:
                each.fate = PASSED
            self._waiting = self._waiting[at + 1 :]
            arrived.fate = arrived.became = f"typed over as {name}" if typed else f"taken as {name}"
            arrived.step = self.bench.session.store.last_step
            self.shown = None

    def throw_away(self) -> bool:
        """Throw the proposal away; whether there was one."""
        if self.shown is None:
            return False
        self.shown.fate = "thrown away"
        self._waiting.remove(self.shown)
        self.bench.message = f"{self.shown.text} thrown away; l lists what came"
        self.shown = self._further = None
        return True

    def sent(self, arrived: Arrived, *, typed: bool) -> Received:
        """What the log keeps of a line."""
        port = self.feed.port.name if self.feed is not None else ""
        return Received(port, arrived.line.raw, typed)

    # --- commands ---------------------------------------------------------------------------------------------------

    @property
    def _no_port(self) -> str:
        return NOT_HERE if self.bench.session.read_only else NO_PORT

    def await_next(self) -> None:
        """Take the next line for the present row without Enter; a second time that is taken back, as by any key."""
        if self._armed is not None:
            self.bench.say("the next number waits for Enter again")
            return
        here = self._here(more=True)
        if self.feed is None or here is None:
            where = "the next number can be taken only in the reading cell of a row that counts"
            self.bench.say(self._no_port if self.feed is None else where)
            return
        self._armed, self._just_armed = here, True

    def list_lines(self) -> None:
        """List what came and what became of it; one that was not taken may be chosen, all that wait thrown away."""
        feed = self.feed
        if feed is None:
            self.bench.say(self._no_port)
            return
        lines = list(reversed(self._kept))
        first = f"throw away what waits ({len(self._waiting)})"
        state = "connected" if feed.state.connected else f"away since {feed.state.since:%H:%M:%S}, {feed.state.why}"
        more = f"; {self._more} earlier ones are not kept" if self._more else ""

        def choose(number: int) -> None:
            self.bench.close_page()
            self._throw_all() if number == 0 else self._choose(lines[number - 1])

        texts = [first, *(each.listed(self.bench.session.taken_back) for each in lines)]
        self.bench.open_page(Content(f"{feed.port.name}: {state}{more}", texts, choose))

    def _throw_all(self) -> None:
        count = len(self._waiting)
        for each in self._waiting:
            each.fate = "thrown away"
        self._waiting, self.shown = [], None
        self.bench.say(f"{counted(count, 'line', 'lines')} thrown away")

    def _choose(self, arrived: Arrived) -> None:
        """Propose a line again, unless it is a reading already."""
        undone = arrived.step in self.bench.session.taken_back
        if not arrived.text or (arrived.fate.startswith("taken") and not undone):
            self.bench.say(f"{visible(arrived.line.raw)}: {arrived.fate}")
            return
        self._waiting = [*(each for each in self._waiting if each is not arrived), arrived]
        arrived.fate, self.shown = WAITS, None
        if arrived.step not in self.bench.session.taken_back:  # a reading typed over it stands, and it is another row's
            arrived.step = 0


def await_next(bench: Bench) -> None:
    """Take the next line of the photometer for the present row without Enter."""
    bench.receiving.await_next()


def list_lines(bench: Bench) -> None:
    """List the lines of the photometer, and what became of each."""
    bench.receiving.list_lines()
