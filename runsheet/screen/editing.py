"""Typing into a cell.

Owns: the entry from its first key to its acceptance. Invariant: every key is shown with what it would do to the sheet;
only Enter, Tab or an arrow makes it part of the run, and only when it is a value.

In a cell that holds text, but a name, a letter types; elsewhere letters are commands, and a digit in a calculated
cell goes to the row's reading. Enter goes to the next thing to read below; what was skipped stays in NEXT. A reading
overwritten, or one no photometer gives (from 3 A on), asks why.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from runsheet import tables
from runsheet.run import edit, entry
from runsheet.run.edit import EditError
from runsheet.screen import questions
from runsheet.screen.context import because
from runsheet.screen.forms import Field, ask_field, offered
from runsheet.screen.read_only import READ_ONLY
from runsheet.screen.typing_line import TypingLine
from runsheet.show import places
from runsheet.work import next_step, to_come, usual

if TYPE_CHECKING:
    from runsheet.run.disk.store import Draft
    from runsheet.run.edit import Edit
    from runsheet.screen.bench import Bench
    from runsheet.screen.receiving import Arrived

OFFERED = ("lot",)
"""Columns the laboratory file may have something for."""
TAB = 1000
"""Stands for the columns that Tab moves by."""
LEAVE = {"tab": (0, TAB), "shift+tab": (0, -TAB), "up": (-1, 0), "down": (1, 0)}
"""Keys that accept and move, by rows and columns; Tab to the next column to type in."""


class Editing:
    """The entry of one bench."""

    def __init__(self, bench: Bench) -> None:
        """Belong to a bench."""
        self.bench = bench
        self._in_place = False
        self._asked: str | None = None
        """The unusual text that Enter takes; while it stands nothing can be typed into it."""
        self._meant = True
        """Whether the next Enter is an answer: not the one that ends a number typed in vain."""
        self._unusual = ""
        self._sent: Arrived | None = None
        """What the photometer had sent to the cell."""
        self._typed = True
        """Whether the entry is typed, and not as it was sent."""

    @property
    def asks(self) -> bool:
        """Whether an unusual entry is asked about."""
        return self._asked is not None

    @property
    def received(self) -> bool:
        """Whether the entry is what the photometer sent."""
        return self._sent is not None and not self._typed

    # --- beginning ----------------------------------------------------------------------------------------------

    def begin(self, text: str, *, in_place: bool = False, proposed: bool = False) -> None:
        """Start an entry in the present cell; the first character typed takes the place of a proposed one."""
        bench = self.bench
        if bench.session.read_only:
            bench.say(READ_ONLY)
        elif self.field is None or bench.item is None:
            bench.say("this cell is calculated: = says how")
        elif not self._offered(text):
            self._in_place = in_place
            self._sent = bench.receiving.shown
            self._typed = self._sent is None or not in_place or self._with(self._sent) != text
            bench.grid.entry = TypingLine.holding(text, proposed=proposed)
            self._draft()

    def _offered(self, text: str) -> bool:
        """Ask for the cell with what the laboratory file has for it; whether it has anything."""
        bench, name = self.bench, self.field or ""
        field = Field(f"{bench.pane.array}[{bench.place + 1}].{name}", bench.pane.model, name)
        if name not in OFFERED or not offered(bench, field):
            return False
        old = entry.shown(self._old())
        ask_field(bench, field, bench.column.title, old, bench.paint)
        if text != old and bench.prompt is not None:
            bench.prompt.line.put(text)
        return True

    def begin_with(self, character: str) -> None:
        """Start a number: in this cell where it takes one, else in the row's reading; a name is no place for it."""
        if self.field == "id":
            self.bench.say("a name is changed with e")
            return
        if self.field is None and self.bench.pane.array:
            self.bench.grid.go(self.bench.place, "readings")
        self.begin(character)

    def takes_text(self) -> bool:
        """Whether the present cell holds text, so that a letter is typed and is no command."""
        field = self.field
        return (
            field not in (None, "id")
            and self.bench.item is not None
            and tables.kinds_of(self.bench.pane.model, field or "") == ("text",)
        )

    def edit_cell(self, *, add: bool = False) -> None:
        """Edit the present cell in place; with `add` go on after its readings."""
        field = self.field
        if field is None or self.bench.item is None:
            self.bench.say("this cell is calculated: = says how")
            return
        sent = None if add else self.bench.receiving.shown
        text = self._with(sent) if sent is not None else entry.shown(self._old())
        self.begin(f"{text} " if add and text else text, in_place=True)

    def paste(self, text: str) -> None:
        """Take pasted characters as typed."""
        if self._asked is not None:
            self.bench.say(f"{self._unusual} Enter takes it, Escape goes back")
        elif self.bench.grid.entry is None:
            self.begin(text)
        else:
            self.bench.grid.entry.put(text)
            self._typed = True
            self._draft()

    # --- from the photometer ------------------------------------------------------------------------------------

    def receive(self, arrived: Arrived) -> None:
        """Accept what the photometer sent, after the same questions as a reading that is typed."""
        self._sent, self._typed, self._in_place = arrived, False, False
        self.bench.grid.entry = TypingLine.holding(self._with(arrived), proposed=True)
        self.accept(advance=True)

    def _with(self, arrived: Arrived) -> str:
        """The readings of the present cell with what the photometer sent, as they are typed."""
        return f"{entry.shown(self._old())} {arrived.text}".strip()

    def edits_of(self, arrived: Arrived) -> list[Edit]:
        """The edits that make what the photometer sent the present cell's reading."""
        value = entry.parse(self.bench.pane.model, "readings", self._with(arrived), self.bench.session.clock()).value
        return self._writing(value, arrived, typed=False)

    def doubt(self, arrived: Arrived) -> str:
        """Why what the photometer sent would be asked about, in words, or nothing."""
        bench = self.bench
        parsed = entry.parse(bench.pane.model, "readings", self._with(arrived), bench.session.clock())
        if parsed.complaint:
            return parsed.complaint
        asked = self._question(parsed.value) or bench.session.question(self.edits_of(arrived))
        return asked or self._why_unusual(parsed.value)

    # --- what it edits ------------------------------------------------------------------------------------------

    @property
    def field(self) -> str | None:
        """The field of the document that the present cell edits; None where it is calculated."""
        grid = self.bench.grid
        if not grid.pane.array:
            return None
        field = grid.pane.columns[grid.column].edits
        if field == "readings" and grid.pane.name == "setup" and grid.item and grid.item.setup.check == "warm-up":
            return "started"
        return field

    def _row(self) -> Any:
        grid = self.bench.grid
        return getattr(self.bench.session.run, grid.pane.array)[grid.place]

    def _old(self) -> Any:
        return getattr(self._row(), self.field or "")

    # --- keys ---------------------------------------------------------------------------------------------------

    def key(self, name: str, character: str | None, *, fast: bool = False) -> None:
        """Take a key of the entry; `fast` of a line that came at once."""
        grid = self.bench.grid
        if self._asked is not None:
            self._answer(name, fast=fast)
        elif name == "escape":
            self.drop()
        elif name in ("enter", "ctrl+j"):
            self.accept(advance=True)
        elif name in LEAVE or (name in ("left", "right") and not self._in_place):
            move = LEAVE.get(name, (0, 1 if name == "right" else -1))
            if self.received:  # only Enter takes what the photometer sent
                self.drop()
                self._onward(advance=False, move=move)
            else:
                self.accept(move=move)
        elif grid.entry is not None:
            before = grid.entry.text
            if grid.entry.key(name, character):
                self._typed |= grid.entry.text != before  # a caret that moves types nothing
                self._draft()

    def _answer(self, name: str, *, fast: bool) -> None:
        """Take a key while an unusual entry is asked about: Enter takes it, Escape goes back to it.

        A reading that comes in meanwhile, from a device or unseen fingers, goes nowhere, and its Enter is no answer.
        """
        if name == "escape" and self.received:
            self.drop()
        elif name == "escape":
            self._asked = None
            self._draft()
        elif name in ("enter", "ctrl+j") and self._meant and not fast:
            self.accept(advance=True)
        else:
            self._meant = name in ("enter", "ctrl+j") and not fast
            self.bench.say(f"{self._unusual} Enter takes it, Escape goes back")

    def _draft(self) -> None:
        """Show what the entry would do; a half-typed or wrong one leaves the sheet as it was."""
        bench, line = self.bench, self.bench.grid.entry
        if line is None:
            return
        bench.session.store.draft(line.text, f"{bench.pane.array}[{bench.place + 1}].{self.field}")
        parsed = entry.parse(bench.pane.model, self.field or "", line.text, bench.session.clock())
        self._unusual = "" if parsed.complaint else self._why_unusual(parsed.value)
        bench.message = parsed.complaint or self._unusual or self._cold()
        if parsed.complaint:
            bench.show_draft(bench.session.run)
            return
        try:
            made = edit.apply_each if bench.is_long else edit.apply_all  # the parts of a long run are compared at Enter
            bench.show_draft(made(bench.session.run, self._edits(parsed.value)))
        except EditError as error:
            bench.message = self._said(error)
            bench.show_draft(bench.session.run)

    def _edits(self, value: Any) -> list[Edit]:
        """The edits that write a value, and the time with the first reading."""
        return self._writing(value, self._sent, typed=self._typed)

    def _writing(self, value: Any, sent: Arrived | None, *, typed: bool) -> list[Edit]:
        bench, field = self.bench, self.field or ""
        received = bench.receiving.sent(sent, typed=typed) if sent is not None else None
        at = sent.line.at if sent is not None else None
        return bench.session.writing(bench.pane.array, bench.place, field, value, received, at)

    def _said(self, error: EditError) -> str:
        return "; ".join(places.problem(self.bench.session.run, problem) for problem in error.problems)

    def go_back(self) -> None:
        """Go on with the entry after a question about it that was not answered."""
        self._draft()

    def drop(self) -> None:
        """Put the old value back."""
        self._end()
        self.bench.recompute()

    def is_number(self, text: str) -> bool:
        """Whether a text is one number, as the present cell takes it."""
        parsed = entry.parse(self.bench.pane.model, self.field or "", text, self.bench.session.clock())
        return not parsed.complaint and " " not in text and text.strip("+-0123456789.,") == ""

    # --- accepting ----------------------------------------------------------------------------------------------

    def accept(self, *, advance: bool = False, move: tuple[int, int] = (0, 0)) -> None:
        """Make the entry part of the run; a reading that was there already asks why it changes."""
        bench, line = self.bench, self.bench.grid.entry
        if line is None:
            return
        text = line.text.rstrip(" ") if self.field == "readings" and self._in_place else line.text
        parsed = entry.parse(bench.pane.model, self.field or "", text, bench.session.clock())
        complaint = parsed.complaint or (questions.no_name(text) if self.field == "id" else "")
        if complaint:
            bench.say(f"not accepted: {complaint}")
            return
        old = self._old()
        if entry.shown(old) == entry.shown(parsed.value):
            self._end()
            bench.recompute()
            self._onward(advance=advance, move=move)
        elif question := self._question(parsed.value):
            self._asked = None
            because(bench, question, lambda why: self._finish(parsed.value, why, advance=advance, move=move))
        elif self._asked != text and self._must_ask(parsed.value):
            self._asked, self._meant = text, True
            bench.say(f"{self._unusual} Enter takes it, Escape goes back")
        else:
            self._asked = None
            self._finish(parsed.value, "", advance=advance, move=move)

    def _why_unusual(self, value: Any) -> str:
        """Why a value is unusual here, as a sentence, or nothing."""
        bench, session = self.bench, self.bench.session
        field, steps = self.field or "", session.laboratory.dilutions
        if self.received and self._sent is not None and (before := bench.receiving.before(self._sent)):
            return f"{self._sent.text} came {self._sent.line.at:%H:%M:%S}. {before}"
        why = usual.why_not(session.run, bench.pane.array, bench.place, field, value, steps)
        return f"Unusual: {why.rstrip('?.')}{'?' if why.endswith('?') else '.'}" if why else ""

    def _cold(self) -> str:
        """That the lamp is still warming up, where a reading ends that: said, not asked about."""
        bench = self.bench
        reads = self.field == "readings" and bench.active in ("standards", "queue")
        cold = usual.while_warming(bench.session.run, bench.session.clock()) if reads else ""
        return cold and f"{cold[0].upper()}{cold[1:]}: read now, that is a finding."

    def _must_ask(self, value: Any) -> bool:
        """Whether to ask about an unusual value: not where a reason is asked for anyway."""
        self._unusual = self._why_unusual(value)
        return bool(self._unusual) and not self.bench.session.question(self._edits(value))

    def _question(self, new: Any) -> str:
        """Ask before a reading is overwritten, a read row renamed, or a reading taken that no photometer gives."""
        field, bench = self.field, self.bench
        name = bench.pane.columns[0].text(bench.item)
        if field == "readings":
            return questions.about_readings(bench.session, bench.pane.array, bench.place, name, new)
        return questions.about_name(bench.session, bench.pane.array, bench.place, new) if field == "id" else ""

    def _finish(self, value: Any, reason: str, *, advance: bool, move: tuple[int, int]) -> None:
        bench, field, sent, typed = self.bench, self.field, self._sent, self._typed
        try:
            edits = self._edits(value)
        except EditError as error:
            bench.say(f"not accepted: {self._said(error)}")
            return

        name = bench.pane.columns[0].text(bench.item)

        def taken() -> None:
            if field == "readings":
                bench.receiving.accepted(name, sent, typed=typed)
            self._end()
            bench.paint()
            self._onward(advance=advance, move=move)

        bench.commit(edits, reason, taken)

    def _onward(self, *, advance: bool, move: tuple[int, int]) -> None:
        bench = self.bench
        if advance and self.field in ("readings", "started"):
            self._to_next()
        elif advance:
            bench.grid.move(rows=1)
        elif abs(move[1]) == TAB:
            bench.grid.tab(1 if move[1] > 0 else -1)
        else:
            bench.grid.move(*move)

    def _to_next(self) -> None:
        """Go to the next thing to read below, else to the first one; what was skipped above stays in NEXT."""
        bench = self.bench
        step = next_step.next_step(bench.session.sheet)
        seen_to = next_step.to_be_seen_to(bench.session.sheet, bench.active, bench.place)
        if seen_to is not None:  # whatever falls due: that waits in NEXT
            bench.go(seen_to)
            if bench.active == "standards":
                bench.say(bench.grids["standards"].summary)
            return
        if (step.pane, step.row) == (bench.active, bench.place):
            return
        below = to_come.unread_after(bench.session.sheet, bench.active, bench.place)
        if below is not None:
            bench.go(below)
            return
        pane = bench.active
        if next_step.next_step(bench.session.sheet).offer is None:
            bench.go_to_next()
        if pane == "standards" and bench.active != pane:
            bench.say(bench.grids["standards"].summary)

    def take_up(self, draft: Draft) -> None:
        """Go on with an entry that was half typed when the program ended."""
        bench = self.bench
        found = re.fullmatch(r"(\w+)\[(\d+)\]\.(\w+)", draft.place)
        panes = [name for name, grid in bench.grids.items() if found and grid.pane.array == found[1]]
        if found is None or not panes or int(found[2]) > len(getattr(bench.session.run, found[1])):
            bench.session.store.draft("", "")
            return
        bench.activate(panes[0])
        columns = [column.key for column in bench.pane.columns if column.edits == found[3]]
        bench.grid.go(int(found[2]) - 1, columns[0] if columns else None)
        self.begin(draft.text, in_place=True, proposed=True)
        bench.say(f"half typed when the program ended: {draft.text}. Enter accepts it, Escape drops it")

    def _end(self) -> None:
        self.bench.session.store.draft("", "")
        self.bench.grid.entry = None
        self.bench.message = ""
        self._asked, self._unusual = None, ""
        self._sent, self._typed = None, True


# --- commands -------------------------------------------------------------------------------------------------------


def edit_cell(bench: Bench) -> None:
    """Edit the present cell in place."""
    bench.editing.edit_cell()


def add_reading(bench: Bench) -> None:
    """Add a replicate reading."""
    bench.grid.go(bench.place, "readings")
    bench.editing.edit_cell(add=True)
