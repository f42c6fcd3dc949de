"""The bench: the one working screen.

Owns: the four grids, where a key goes, what is asked and shown. Invariant: every change goes through `commit`, which
has the session take it before anything is painted; panes only show.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING, Any

from textual.containers import Container, Vertical
from textual.message import Message

from runsheet.screen import escape, keys, keystrokes, moving, panes, pasting, questions, scanning
from runsheet.screen.canvas import CanvasScreen
from runsheet.screen.content import Content
from runsheet.screen.context import Leave, Prompt, commit
from runsheet.screen.editing import Editing
from runsheet.screen.grid import Grid
from runsheet.screen.page import Page
from runsheet.screen.receiving import Receiving
from runsheet.screen.status_lines import StatusLines, TitleLine
from runsheet.screen.typing_line import TypingLine
from runsheet.work import next_step, to_come

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from textual import events
    from textual.app import ComposeResult
    from textual.timer import Timer

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run
    from runsheet.screen.canvas import Canvas
    from runsheet.screen.panes import Pane
    from runsheet.screen.session import Session
    from runsheet.screen.style import Look
    from runsheet.show.columns import Column
    from runsheet.work.offers import Offer
    from runsheet.work.step import PaneName

LONG = 300
"""Rows from which on a draft is computed about the cursor first."""
LATER = 0.2
"""Seconds after the last key until all of it is."""
WIDE = (120, 36)
LOW = 14
"""Rows below which the other panes' lines leave their room to the present one."""
WIDER = 180
"""Columns from which on the panes beside the queue have room for all of theirs."""
CHANGED = "another program changed the run; a page opened before shows it without that"
"""Said while a page is open that was made before the change."""


class Bench(CanvasScreen, inherit_bindings=False):
    """The working screen over one run."""

    def __init__(self, session: Session, look: Look) -> None:
        """Show a session."""
        super().__init__()
        self.session, self.look = session, look
        self.grids = {pane.name: Grid(pane, look) for pane in panes.PANES}
        self.editing = Editing(self)
        self.receiving = Receiving(self)
        self.port: str | None = None
        """Where readings come from, as a person named it; None where nobody did."""
        self.prompt: Prompt | None = None
        self._under: Prompt | None = None
        """The question whose offers are listed."""
        self.message = ""
        self.sought = ""
        """What was last searched for."""
        self.wide = False
        self.use_keys(keys.COMMANDS)
        step = next_step.next_step(session.sheet)
        self.active: PaneName = step.pane
        unread = to_come.first_unread(session.sheet)
        self.grids["queue"].row = len(session.sheet.rows) - 1 if unread is None else unread
        self.grids[step.pane].row = step.row
        self._later: Timer | None = None
        self._burst = keystrokes.Burst()
        self._held: list[events.Key] = []
        """Keys of what may be a scan, not done yet."""
        self._waiting: Timer | None = None
        self._scannable = False
        self._chart: Sequence[str] = ()

    def use_keys(self, commands: Sequence[keys.Command]) -> None:
        """Take the keys of the commands, as a user's key file has them."""
        self.commands: Sequence[keys.Command] = tuple(commands)
        self._keys = {pane.name: keys.bindings(pane.name, commands) for pane in panes.PANES}
        for grid in self.grids.values():
            grid.empty = keys.in_words(grid.pane.empty, commands)

    # --- layout -------------------------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        """Lay the parts out; which are seen depends on the size."""
        yield TitleLine(self, self.look)
        with Vertical(id="body"):
            with Container(id="upper"):
                with Container(id="left"):
                    yield self.grids["queue"]
                with Vertical(id="right"):
                    yield self.grids["setup"]
                    yield self.grids["standards"]
            yield self.grids["quality"]
        yield Page(self.look)
        yield StatusLines(self, self.look)

    def on_mount(self) -> None:
        """Show the run and go where the work is; the rest once it is seen."""
        self._arrange()
        self._show()
        self.set_interval(1.0, self._tick)
        if self.session.store.drafted is not None:
            opening = self.message
            self.editing.take_up(self.session.store.drafted)
            self.say("; ".join(filter(None, (opening, self.message))))
        else:
            self.go_to_next()
        self.call_after_refresh(self._begin_rest)

    def _begin_rest(self) -> None:
        """Have the history read beside the screen, and the photometer where there is a port; say what is wrong there.

        The modules of both would take their time from the first frame.
        """
        from runsheet.screen import source

        threading.Thread(target=self.session.load_history, daemon=True).start()
        source.listen(self)
        if faults := self.session.laboratory_faults:
            self.say("; ".join(filter(None, (self.message, faults))))

    def on_unmount(self) -> None:
        """Let the photometer go."""
        self.receiving.close()

    class Sent(Message):
        """The photometer has sent something, or its port has come or gone."""

    def on_bench_sent(self) -> None:
        """Take what came."""
        self.receiving.fetch()

    def on_resize(self) -> None:
        """Arrange the panes for the new size."""
        self._arrange()
        self.paint()

    def _arrange(self) -> None:
        width, height = self.app.size  # the screen has its own only after a first layout
        self.wide = width >= WIDE[0] and height >= WIDE[1]
        self.set_class(self.wide, "wide")
        self.set_class(height < LOW, "low")
        for name, grid in self.grids.items():
            grid.active = name == self.active
            grid.display = self.wide or grid.active
        self.set_class(self.wide and width >= WIDER, "wider")
        self.set_class(self.wide and self.active == "quality", "judging")
        self.query_one("#upper").display = self.wide or self.active != "quality"
        self.query_one("#left").display = self.wide or self.active == "queue"
        self.query_one("#right").display = self.wide or self.active != "queue"

    @property
    def grid(self) -> Grid:
        """The grid the cursor is in."""
        return self.grids[self.active]

    @property
    def taking(self) -> Canvas:
        """The widget the next key goes to: a question, a page over the panes, or the grid."""
        if self.prompt is not None:
            return self.query_one(StatusLines)
        page = self.query_one(Page)
        return self.grid if page.content is None else page

    @property
    def pane(self) -> Pane[Any]:
        """The pane the cursor is in."""
        return self.grid.pane

    @property
    def item(self) -> Any:
        """What the cursor is on; None in an empty table."""
        return self.grid.item

    @property
    def place(self) -> int:
        """The place in the document's array of the row the cursor is on."""
        return self.grid.place

    @property
    def column(self) -> Column[Any]:
        """The column the cursor is in."""
        return self.pane.columns[self.grid.column]

    @property
    def width(self) -> int:
        """The columns a line may take."""
        return self.size.width

    def activate(self, name: PaneName) -> None:
        """Put the cursor into another pane."""
        if name != self.active:
            self.active = name
            self._arrange()
        self.paint()

    # --- the sheet ----------------------------------------------------------------------------------------------

    def recompute(self) -> None:
        """Compute the accepted run and show it."""
        self.session.recompute()
        self._show()

    @property
    def is_long(self) -> bool:
        """Whether the cursor is in a queue so long that a key waits for none of it but the rows about the cursor."""
        return len(self.session.run.queue) > LONG and self.active == "queue"

    def show_draft(self, run: Run) -> None:
        """Show what a run with an entry being typed would give.

        In a long queue the rows about the cursor are computed at once and the verdicts on the whole a moment later, so
        that a key is never kept waiting.
        """
        if self._later is not None:
            self._later.stop()
            self._later = None
        if self.is_long:
            self.session.draft(run, near=self.place)
            self._later = self.set_timer(LATER, lambda: self._whole(run))
        else:
            self.session.draft(run)
        self._show()

    def _whole(self, run: Run) -> None:
        """Compute all of a draft, if it is still being typed."""
        self._later = None
        if self.grid.entry is not None:
            self.session.draft(run)
            self._show()

    def _show(self) -> None:
        sheet = self.session.sheet
        for grid in self.grids.values():
            pane = grid.pane
            notes = [keys.in_words(note, self.commands) for note in pane.notes(sheet)]
            notes += self._history_notes(pane.name)
            grid.show(pane.items(sheet), pane.summary(sheet), notes)
        self._paint_lines()

    def _history_notes(self, name: PaneName) -> Sequence[str]:
        """The control chart, where there is a history: below the queue when all is in sight, else the verdicts."""
        if self.session.history is None or name != ("queue" if self.wide else "quality"):
            return ()
        if self.grid.entry is None:  # not at each key of an entry: it tells of what was accepted
            from runsheet.screen import history_pages

            self._chart = history_pages.below(self, self.grids[name].size.width if self.wide else self.size.width)
        return self._chart

    def paint(self) -> None:
        """Repaint what changed everywhere."""
        for grid in self.grids.values():
            if grid.display:
                grid.paint()
        self._paint_lines()

    def _paint_lines(self) -> None:
        self.query_one(TitleLine).paint()
        self.query_one(StatusLines).paint()

    def _tick(self) -> None:
        """Each second: what depends on the clock, and what became of saving; painted only where it changed."""
        idle = self.prompt is None and self.grid.entry is None and self.query_one(Page).content is None
        if idle and self.session.store.conflict is not None:
            questions.whose(self, self.session.store.conflict)
        followed = self.session.follow()
        if followed and self.query_one(Page).content is not None:
            self.message = f"{self.session.clock():%H:%M}: {CHANGED}"
        if self.grid.entry is None and self.session.take_history():
            self._show()
        now, shown = self.session.clock(), self.session.sheet.now
        minute = (now.hour, now.minute) != (shown.hour, shown.minute)
        if followed or (minute and self.grid.entry is None):
            self.recompute()
        else:
            self.query_one(StatusLines).paint()

    # --- changing the run ---------------------------------------------------------------------------------------

    def commit(self, edits: Sequence[Edit], reason: str = "", then: Callable[[], None] | None = None) -> bool:
        """Have a step taken and show what comes of it; a reason that is needed is asked for first."""

        def taken() -> None:
            self.message = ""
            self._show()
            if then is not None:
                then()

        return commit(self, edits, reason, taken)

    def say(self, message: str) -> None:
        """Tell something on the message line, until the next key."""
        self.message = message
        self._paint_lines()

    def ask(
        self,
        label: str,
        answer: Callable[[str], str | None],
        text: str = "",
        takes_block: Callable[[str], None] | None = None,
        leave: Leave | None = None,
        *,
        words: bool = False,
        offers: Sequence[Offer] = (),
    ) -> None:
        """Ask on the message line; Escape answers nothing, or does what `leave` says."""
        if leave is None and self.grid.entry is not None:
            leave = Leave(self.editing.go_back, "goes back to the entry", covers=False)
        self.prompt = Prompt(label, answer, TypingLine.holding(text, proposed=True), takes_block, leave, words, offers)
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
        if self._under is not None:
            self.prompt, self._under = self._under, None
        page.display, self.query_one("#body").display = False, True
        self.paint()

    def go_to_next(self) -> None:
        """Put the cursor on the next thing to do."""
        step = next_step.next_step(self.session.sheet)
        self.activate(step.pane)
        self.go(step.row)

    def go(self, place: int, *, same_column: bool = False) -> None:
        """Put the cursor on the row at a place of the present pane's array, showing it where a filter hid it."""
        self.grid.go(place, None if same_column else self.pane.home)
        self._show()

    # --- keys ---------------------------------------------------------------------------------------------------

    @property
    def idle(self) -> bool:
        """Whether nothing is asked, shown over the panes or typed."""
        return self.prompt is None and self.query_one(Page).content is None and self.grid.entry is None

    def on_key(self, event: events.Key) -> None:
        """Take a key, unless it may be part of a scan: then it waits until that is known."""
        event.stop()
        event.prevent_default()
        for key in escape.apart(event, idle=self.idle):
            self._key(key)

    def _key(self, event: events.Key) -> None:
        if self._burst.second_end(event):
            return
        if self._burst.begins(event):
            self.release()
            self._scannable = self.idle and event.character not in ("/", ":")
        scan = self._burst.add(event)
        if scan and self._scannable:
            self._held = []
            self._stop_waiting()
            scanning.take(self, scan)
            self.receiving.key()
        elif self._scannable and keystrokes.waits(event, after=self._held):
            self._held.append(event)
            self._stop_waiting()
            self._waiting = self.set_timer(keystrokes.WAIT, self.release)
        else:
            self.release()
            code = scanning.is_a_code(self.session.run, scan)
            self._take(event.key, event.character, scanned=code, fast=self._burst.runs)

    def release(self) -> None:
        """Do what the keys say that waited; they are no scan."""
        self._stop_waiting()
        held, self._held = self._held, []
        for event in held:
            self._take(event.key, event.character)

    def _stop_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.stop()
            self._waiting = None

    def _take(self, name: str, character: str | None, *, scanned: bool = False, fast: bool = False) -> None:
        """Send a key where it belongs: prompt, page, entry, command."""
        page = self.query_one(Page)
        if self.prompt is not None:
            self._answer(name, character, scanned=scanned)
        elif page.content is not None:
            if page.key(name, character) and page.content is not None:
                self.close_page()
        elif self.grid.entry is not None:
            self.editing.key(name, character, fast=fast)
        else:
            self.message = ""
            self._command(name, character)
        self.receiving.key()

    def _answer(self, name: str, character: str | None, *, scanned: bool) -> None:
        prompt = self.prompt
        if prompt is None:
            return
        if name in ("enter", "ctrl+j"):
            self.prompt = None
            if not prompt.takes(prompt.line.text, scanned=scanned):
                self.prompt = prompt
        elif name == "escape":
            self.prompt = None
            self.say("nothing changed") if prompt.leave is None else prompt.leave.do()
        elif name == "down" and prompt.offers:
            self._list_offers(prompt)
        elif name == "tab" and (whole := prompt.completion) is not None:
            prompt.line = TypingLine.holding(whole.text)
        elif not prompt.line.key(name, character):
            self.query_one(Page).key(name, character)  # scrolls the page of a walk
        self._paint_lines()

    def _list_offers(self, prompt: Prompt) -> None:
        """List what may be chosen; a choice is the answer, Escape goes back to the question."""
        self.prompt, self._under = None, prompt

        def choose(number: int) -> None:
            self.close_page()
            prompt.line = TypingLine.holding(prompt.offers[number].text)
            self._answer("enter", None, scanned=False)

        width = max(len(offer.text) for offer in prompt.offers)
        self.open_page(Content(prompt.label, [f"{o.text:{width}}  {o.note}" for o in prompt.offers], choose))

    def _command(self, name: str, character: str | None) -> None:
        if character and character.isalpha() and self.editing.takes_text():
            self.editing.begin(character)
        elif move := _MOVES.get(name):
            move(self.grid)
        elif name in ("enter", "ctrl+j"):
            if not self.receiving.accept():
                moving.enter(self)
        elif name == "escape":
            self.receiving.throw_away()
        elif command := self._keys[self.active].get(name) or self._keys[self.active].get(character or ""):
            command.run(self)
        elif character and (character.isdigit() or character in "+-.,"):
            self.editing.begin_with(character)
        self._paint_lines()

    def leave(self, code: int = 0) -> None:
        """Save and end the program."""
        self.session.store.close()
        self.receiving.close()
        self.app.exit(return_code=code)

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
            pasting.paste(self, text)
        else:
            self.editing.paste(text)
        self.receiving.key()


_MOVES: dict[str, Callable[[Grid], None]] = {
    "up": lambda grid: grid.move(rows=-1),
    "down": lambda grid: grid.move(rows=1),
    "left": lambda grid: grid.move(columns=-1),
    "right": lambda grid: grid.move(columns=1),
    "tab": lambda grid: grid.tab(1),
    "shift+tab": lambda grid: grid.tab(-1),
    "pageup": lambda grid: grid.move(rows=-grid.page),
    "pagedown": lambda grid: grid.move(rows=grid.page),
    "home": lambda grid: grid.move(columns=-len(grid.pane.columns)),
    "end": lambda grid: grid.move(columns=len(grid.pane.columns)),
    "ctrl+home": lambda grid: grid.move(rows=-len(grid.items)),
    "ctrl+end": lambda grid: grid.move(rows=len(grid.items)),
}
