"""The bench: the one working screen.

Owns: the run on the screen, the sheet computed from it, the four grids, where a key goes. Invariant: every change goes
through `commit`, which has the store write it before anything is painted; panes only show.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from textual.containers import Container, Vertical
from textual.screen import Screen

from runsheet.run.disk.store import CannotOpenError
from runsheet.run.edit import EditError
from runsheet.screen import block, commands, keys, panes
from runsheet.screen.editing import Editing
from runsheet.screen.foot import Foot, Head
from runsheet.screen.grid import Grid
from runsheet.screen.page import Content, Page
from runsheet.screen.preview import first_sheet, window
from runsheet.screen.typing_line import TypingLine
from runsheet.screen.watching import Watching
from runsheet.work import next_step

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path

    from textual import events
    from textual.app import ComposeResult
    from textual.timer import Timer

    from runsheet.compute.results import Sheet
    from runsheet.history.open_run import Known
    from runsheet.run.disk.saver import Conflict
    from runsheet.run.disk.store import Store
    from runsheet.run.edit import Edit
    from runsheet.run.model import Run
    from runsheet.screen.panes import Pane
    from runsheet.screen.style import Look
    from runsheet.work.next_step import PaneName

LONG = 300
"""Rows from which on a draft is computed about the cursor first."""
LATER = 0.2
"""Seconds after the last key until all of it is."""
WIDE = (120, 36)


@dataclass
class Prompt:
    """A question on the message line."""

    label: str
    answer: Callable[[str], None]
    line: TypingLine = field(default_factory=TypingLine)
    takes_block: Callable[[str], None] | None = None
    """What a pasted text of several lines is given to."""
    leave: Callable[[], None] | None = None
    """What Escape does in a walk over the panes; beside its questions nothing of the sheet is shown."""

    @property
    def covers(self) -> bool:
        """Whether it is a question of a walk over the panes."""
        return self.leave is not None


class Bench(Screen[None], inherit_bindings=False):
    """The working screen over one run."""

    def __init__(
        self, store: Store | Watching, path: Path, look: Look, clock: Callable[[], datetime], who: str = ""
    ) -> None:
        """Work on the store's run, kept at `path`; `clock` gives the time with its offset."""
        super().__init__()
        self.store, self.path, self.look, self.clock = store, path, look, clock
        self.read_only = isinstance(store, Watching)
        self.who = who
        self.grids = {pane.name: Grid(pane, look) for pane in panes.PANES}
        self.sheet: Sheet = first_sheet(store.run, clock())
        self.editing = Editing(self)
        self.prompt: Prompt | None = None
        self.message = ""
        self.sought = ""
        """What was last searched for."""
        self.wide = False
        self.use_keys(keys.COMMANDS)
        step = next_step.next_step(self.sheet)
        self.active = step.pane
        self.grids[step.pane].row = step.row
        self.ready = False
        self._later: Timer | None = None
        self.known: Known | None = None
        """What the runs before this one say of it; None until they are read."""
        self._chart: Sequence[str] = ()
        self.arrived: Known | None = None
        """The same, from a thread, until the next tick takes it."""

    def use_keys(self, commands: Sequence[keys.Command]) -> None:
        """Take the keys of the commands, as a user's key file has them."""
        self.commands = tuple(commands)
        self._keys = {pane.name: keys.bindings(pane.name, commands) for pane in panes.PANES}

    # --- layout -------------------------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Lay the parts out; which are seen depends on the size."""
        yield Head(self, self.look)
        with Container(id="body"):
            with Container(id="left"):
                yield self.grids["queue"]
            with Vertical(id="right"):
                yield self.grids["setup"]
                yield self.grids["standards"]
                yield self.grids["quality"]
        yield Page(self.look)
        yield Foot(self, self.look)

    def on_mount(self) -> None:
        """Show the document at once, then compute: numpy is loaded after the first frame."""
        self._arrange()
        self._show()
        threading.Thread(target=self._load, daemon=True).start()
        self.set_interval(1.0, self._tick)

    def _load(self) -> None:
        import numpy  # noqa: F401, ICN001

        import runsheet.compute.sheet  # noqa: F401 - loaded here, numpy too, so that the first frame need not wait

        self.app.call_from_thread(self._computed)

        from runsheet.screen import past

        past.begin(self)

    def _computed(self) -> None:
        self.ready = True
        self.recompute()
        if self.store.drafted is not None:
            self.editing.take_up(self.store.drafted)
        else:
            self.go_to_next()

    def on_resize(self) -> None:
        """Arrange the panes for the new size."""
        self._arrange()
        self.paint()

    def _arrange(self) -> None:
        self.wide = self.size.width >= WIDE[0] and self.size.height >= WIDE[1]
        self.set_class(self.wide, "wide")
        for name, grid in self.grids.items():
            grid.active = name == self.active
            grid.display = self.wide or grid.active
        self.query_one("#left").display = self.wide or self.active == "queue"
        self.query_one("#right").display = self.wide or self.active != "queue"

    @property
    def grid(self) -> Grid:
        """The grid the cursor is in."""
        return self.grids[self.active]

    @property
    def pane(self) -> Pane[Any]:
        """The pane the cursor is in."""
        return self.grid.pane

    def activate(self, name: str) -> None:
        """Put the cursor into another pane."""
        if name != self.active:
            self.active = name  # type: ignore[assignment]
            self._arrange()
        self.paint()

    # --- the sheet ----------------------------------------------------------------------------------------------

    @property
    def run_document(self) -> Run:
        """The run as accepted."""
        return self.store.run

    def evaluated(self, run: Run) -> Sheet:
        """Compute a run now; before numpy is there, only what was typed is shown."""
        if not self.ready:
            return first_sheet(run, self.clock())
        from runsheet.compute.sheet import evaluate

        sheet = evaluate(run, self.clock())
        return self.known.judged(sheet) if self.known else sheet

    def recompute(self) -> None:
        """Compute the accepted run and show it."""
        self.sheet = self.evaluated(self.store.run)
        self._show()

    def show_draft(self, run: Run) -> None:
        """Show what a run with an entry being typed would give.

        In a long queue the rows about the cursor are computed at once and the verdicts on the whole a moment later, so
        that a key is never kept waiting.
        """
        if self._later is not None:
            self._later.stop()
            self._later = None
        if len(run.queue) > LONG and self.active == "queue":
            self.sheet = window(self.sheet, run, self.grid.place, self.evaluated)
            self._later = self.set_timer(LATER, lambda: self._whole(run))
        else:
            self.sheet = self.evaluated(run)
        self._show()

    def _whole(self, run: Run) -> None:
        """Compute all of a draft, if it is still being typed."""
        self._later = None
        if self.grid.entry is not None:
            self.sheet = self.evaluated(run)
            self._show()

    def _show(self) -> None:
        for grid in self.grids.values():
            pane = grid.pane
            notes = [*pane.notes(self.sheet), *self._history_notes(pane.name)] if self.ready else ()
            grid.show(pane.items(self.sheet), pane.summary(self.sheet), notes)
        self._paint_lines()

    def take_history(self) -> None:
        """Take what a thread has read of the runs before this one."""
        if self.arrived is not None:
            self.known, self.arrived = self.arrived, None
            self.recompute()

    def _history_notes(self, name: PaneName) -> Sequence[str]:
        """Give the control chart, where there is a history: below the queue when all is in sight, else the verdicts."""
        if self.known is None or name != ("queue" if self.wide else "quality"):
            return ()
        if self.grid.entry is None:  # not at each key of an entry: it tells of what was accepted
            from runsheet.screen import past

            self._chart = past.below(self, self.grids[name].size.width if self.wide else self.size.width)
        return self._chart

    def paint(self) -> None:
        """Repaint what changed everywhere."""
        for grid in self.grids.values():
            if grid.display:
                grid.paint()
        self._paint_lines()

    def _paint_lines(self) -> None:
        self.query_one(Head).paint()
        self.query_one(Foot).paint()

    def _tick(self) -> None:
        """Each second: what depends on the clock, and what became of saving; painted only where it changed."""
        idle = self.prompt is None and self.grid.entry is None and self.query_one(Page).content is None
        if idle and self.store.conflict is not None:
            self._ask_whose(self.store.conflict)
        followed = isinstance(self.store, Watching) and self.store.refresh()
        if self.grid.entry is None:
            self.take_history()
        now, shown = self.clock(), self.sheet.now
        minute = (now.hour, now.minute) != (shown.hour, shown.minute)
        if followed or (minute and self.grid.entry is None):
            self.recompute()
        else:
            self.query_one(Foot).paint()

    def _ask_whose(self, conflict: Conflict) -> None:
        """The document was changed outside: both are kept, and a person says which one goes on."""

        def answer(text: str) -> None:
            which = {"o": "ours", "t": "theirs"}.get(text.strip().lower()[:1])
            if which is None:
                self.say("asked again: the document was changed outside")
                return
            try:
                self.store.keep(which, self.clock())  # type: ignore[union-attr, arg-type]
            except (CannotOpenError, OSError) as error:
                self.say(f"not settled: {error}")
                return
            self.recompute()
            self.say(f"going on with {which}; the other is kept beside it")

        self.ask(f"{conflict.words} Ours is in {conflict.ours.name}. Go on with ours or theirs? o/t:", answer)

    # --- changing the run ---------------------------------------------------------------------------------------

    def commit(self, edits: Sequence[Edit], reason: str = "") -> bool:
        """Have a step written and show what comes of it; say whether it was taken.

        A run that is signed is only changed with a reason, which is kept in it as an amendment.
        """
        if self.read_only:
            self.say("read-only: nothing can be changed here")
            return False
        if self.run_document.signature and self._signed(edits):
            if not reason.strip():
                self.ask("This run is signed. Why is it changed?", lambda why: self._amended(edits, why))
                return False
            edits = [*edits, *self._amendment(reason)]
        try:
            self.store.accept(edits, self.clock(), reason=reason)
        except EditError as error:
            self.say(str(error))
            return False
        self.message = ""
        self.recompute()
        return True

    def _signed(self, edits: Sequence[Edit]) -> bool:
        from runsheet.review import signing  # writes the whole document: only for a run that has signatures

        return signing.touched(self.run_document, edits)

    def _amendment(self, reason: str) -> list[Edit]:
        from runsheet.review import signing

        run, now = self.run_document, self.clock().replace(microsecond=0)
        return [signing.amend(run, self.who, reason.strip(), now)] if signing.standing(run) else []

    def _amended(self, edits: Sequence[Edit], why: str) -> None:
        if not why.strip():
            self.say("nothing changed: a signed run needs a reason")
        else:
            self.commit(edits, why)

    def say(self, message: str) -> None:
        """Tell something on the message line, until the next key."""
        self.message = message
        self._paint_lines()

    def ask(
        self,
        label: str,
        answer: Callable[[str], None],
        text: str = "",
        takes_block: Callable[[str], None] | None = None,
        leave: Callable[[], None] | None = None,
    ) -> None:
        """Ask on the message line; Escape answers nothing, or does what `leave` says."""
        self.prompt = Prompt(label, answer, TypingLine.holding(text), takes_block, leave)
        self._paint_lines()

    def open_page(self, content: Content, at: int = 0) -> None:
        """Show a page over the panes."""
        page = self.query_one(Page)
        self.query_one("#body").display, page.display = False, True
        page.open(content, at)

    def close_page(self) -> None:
        """Put the page away."""
        page = self.query_one(Page)
        page.content = None
        page.display, self.query_one("#body").display = False, True
        self.paint()

    def go_to_next(self) -> None:
        """Put the cursor on the next thing to do."""
        step = next_step.next_step(self.sheet)
        self.activate(step.pane)
        self.go(step.row)

    def go(self, place: int) -> None:
        """Put the cursor on the row at a place of the present pane's array, showing it where a filter hid it."""
        self.grid.go(place, self.pane.home)
        self._show()

    # --- keys ---------------------------------------------------------------------------------------------------

    def on_key(self, event: events.Key) -> None:
        """Send a key where it belongs: prompt, page, entry, command."""
        event.stop()
        event.prevent_default()
        name, character = event.key, event.character
        page = self.query_one(Page)
        if self.prompt is not None:
            self._answer(name, character)
        elif page.content is not None:
            if page.key(name, character) and page.content is not None:
                self.close_page()
        elif self.grid.entry is not None:
            self.editing.key(name, character)
        else:
            self.message = ""
            self._command(name, character)

    def _answer(self, name: str, character: str | None) -> None:
        prompt = self.prompt
        if prompt is None:
            return
        if name in ("enter", "ctrl+j"):
            self.prompt = None
            prompt.answer(prompt.line.text)
        elif name == "escape":
            self.prompt = None
            self.say("nothing changed") if prompt.leave is None else prompt.leave()
        elif not prompt.line.key(name, character):
            self.query_one(Page).key(name, character)  # scrolls the page of a walk
        self._paint_lines()

    def _command(self, name: str, character: str | None) -> None:
        if character and character.isalpha() and self.editing.takes_text():
            self.editing.begin(character)
        elif move := _MOVES.get(name):
            move(self.grid)
        elif name in ("enter", "ctrl+j"):
            commands.enter(self)
        elif command := self._keys[self.active].get(name) or self._keys[self.active].get(character or ""):
            self.run_command(command.name)
        elif character and (character.isdigit() or character in "+-.,"):
            self.editing.begin_with(character)
        self._paint_lines()

    def run_command(self, name: str) -> None:
        """Run a command by its name."""
        commands.COMMANDS[name](self)

    def on_paste(self, event: events.Paste) -> None:
        """Type pasted text into what is being typed; a block is not for one cell."""
        event.stop()
        text = event.text.replace("\r", "\n").strip("\n")
        if self.prompt is not None and self.prompt.takes_block is not None and "\n" in text:
            take, self.prompt = self.prompt.takes_block, None
            take(text)
        elif self.prompt is not None:
            self.prompt.line.put(text)
            self._paint_lines()
        elif self.query_one(Page).content is not None:
            self.say("close this page before pasting")
        elif "\n" in text or "\t" in text:
            block.paste(self, text)
        else:
            self.editing.paste(text)


_MOVES: dict[str, Callable[[Grid], None]] = {
    "up": lambda grid: grid.move(rows=-1),
    "down": lambda grid: grid.move(rows=1),
    "left": lambda grid: grid.move(columns=-1),
    "right": lambda grid: grid.move(columns=1),
    "tab": lambda grid: grid.move(columns=1),
    "shift+tab": lambda grid: grid.move(columns=-1),
    "pageup": lambda grid: grid.move(rows=-grid.page),
    "pagedown": lambda grid: grid.move(rows=grid.page),
    "home": lambda grid: grid.move(columns=-len(grid.pane.columns)),
    "end": lambda grid: grid.move(columns=len(grid.pane.columns)),
    "ctrl+home": lambda grid: grid.move(rows=-len(grid.items)),
    "ctrl+end": lambda grid: grid.move(rows=len(grid.items)),
}
