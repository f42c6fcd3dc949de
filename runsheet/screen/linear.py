"""A run worked on line by line: one line in, lines out.

Owns: `Linear`, where a line goes and what is told. Invariant: session, log, lock, questions and commands
are those of the screen; a line that is none of them is told and changes nothing, and nothing is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet.figures import visible
from runsheet.run import entry
from runsheet.run.edit import EditError
from runsheet.screen import keys, linear_words, panes, questions
from runsheet.screen.context import Leave, Prompt, commit
from runsheet.screen.cursor import Cursor
from runsheet.screen.style import Look
from runsheet.screen.typing_line import TypingLine, agreed
from runsheet.show import places
from runsheet.work import next_step, to_come, usual

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.run.edit import Edit
    from runsheet.screen.content import Content
    from runsheet.screen.session import Session
    from runsheet.work.offers import Offer
    from runsheet.work.step import PaneName

LONGEST = 2000
"""Characters of a line that is taken."""
SCREEN_ONLY = {
    "edit", "add_reading", "palette", "help", "search", "filter", "pane_after", "pane_before", "fill_down", "review",
    "plan", "go_next", "take_next", "lines",
}  # fmt: skip
"""Commands that need a cell, a list that is scrolled, a block that is pasted, or a proposal that is looked at."""
OTHERWISE = {"go_next": "next", "add_reading": "add", "search": "row"}
"""What does the same here, by its own name."""
NO_ROW = {"insert_due", "repeat_held", "compare", "extracts", "new_batch", "jump"}
"""Commands of some panes that are about no row of theirs, or ask which."""
OF_NEXT = {"reread", "dilute"}
"""Commands that what is next names the row of."""
ESCAPE = ":escape"
YES = ("y", "yes")


class Linear(Cursor):
    """What the bench is to a command, and the lines between."""

    def __init__(self, session: Session, write: Callable[[str], None]) -> None:
        """Work on a session; `write` takes each line of an answer."""
        super().__init__(session)
        self._write = write
        self.look, self.width = Look(colour=False, ascii_only=True), 80
        self.commands: Sequence[keys.Command] = keys.COMMANDS
        self.prompt: Prompt | None = None
        self.left: int | None = None
        """The exit code, once the work is ended."""
        self._content: Content | None = None
        self.chosen = False
        """Whether a person put the cursor where it is, so that a number is the reading of that row."""
        self._told_row = False

    # --- lines ------------------------------------------------------------------------------------------------------

    def begin(self) -> None:
        """Say where the work is."""
        self._tell(linear_words.opening(self.session))
        self.onward()

    def line(self, text: str) -> None:
        """Take one line."""
        text = text.strip(" \t\r\n")
        if len(text) > LONGEST or not text.isprintable():
            self.say("that line is too long, or has characters that cannot be typed; nothing changed")
        elif self._content is not None or self.prompt is not None:
            self.having(lambda: self._answered(text))
        elif text == "?":
            self._tell(linear_words.commands(self._here()))
        elif text.startswith(":"):
            self._command(text[1:])
        elif text and text.strip("+-0123456789., ") == "":
            self._read(text)
        elif text:
            self.say(f"{text!r} is no reading and no command; ? lists the commands; nothing changed")
        else:
            self.catch_up()
        self._after()

    def _after(self) -> None:
        """Say what was not saved, and ask what must be asked."""
        if self.left is not None:
            return
        store = self.session.store
        if store.trouble:
            self.say(f"NOT SAVED: {store.trouble}")
        if self.prompt is None and self._content is None and store.conflict is not None:
            questions.whose(self, store.conflict)

    def _answered(self, text: str) -> None:
        """Give a line to the question that stands; an empty one takes what is proposed."""
        prompt, self.prompt = self.prompt, None
        content, self._content = self._content, None
        if text == ESCAPE:
            if prompt is not None and prompt.leave is not None:
                prompt.leave.do()
            else:
                self.say("nothing changed")
        elif prompt is not None:
            proposed = prompt.line.text if prompt.line.proposed else ""
            if not prompt.takes(text or proposed):
                self.prompt = prompt
                self.say(f"{prompt.trouble}. {prompt.label}")
        elif content is not None and content.choose is not None:
            self._choose(content, text)

    def _choose(self, content: Content, text: str) -> None:
        if content.whole and content.choose is not None:
            if text.strip().lower() in YES:
                content.choose(0)
            else:
                self._content = content
                self.say(f"y does all of this, {ESCAPE} nothing")
        elif text.isdecimal() and 1 <= int(text) <= len(content.texts):
            content.choose and content.choose(int(text) - 1)
        else:
            self._content = content
            self.say(f"a number from 1 to {len(content.texts)}, or {ESCAPE}")

    # --- reading ----------------------------------------------------------------------------------------------------

    def _to_read(self) -> tuple[PaneName, int] | None:
        """The pane and place of what a number is the reading of; None where nothing is left to read."""
        if self.chosen:
            return (self.active, self.place) if self.pane.array else None
        step, sheet = next_step.next_step(self.session.sheet), self.session.sheet
        rows = {"setup": sheet.run.setup, "standards": sheet.run.standard}.get(step.pane, ())
        if step.row < len(rows):
            return step.pane, step.row
        if step.offer is None and step.row < len(sheet.rows) and sheet.rows[step.row].state == "unread":
            return "queue", step.row
        at = to_come.first_unread(sheet)
        return None if at is None else ("queue", at)

    def _read(self, text: str) -> None:
        found = self._to_read()
        if found is None:
            self.say("nothing is left to read, and nothing changed")
            return
        self.active, self.place = found
        row = getattr(self.session.run, self.pane.array)[self.place]
        if row.readings:
            self.say(f"{self._name()} is read already: :correct or :add, then the reading; nothing changed")
        elif getattr(row, "check", "") == "warm-up":
            self.recompute()
            why = ":start begins it" if row.started is None else self.session.sheet.setup[self.place].why
            self.say(f"the warm-up has no reading{f': {why}' if why else ''}; nothing changed")
        elif getattr(row, "void", None) is not None or getattr(row, "use", None) is False:
            self.say(f"{self._name()} is void or left out; nothing changed")
        else:
            self.having(lambda: self.write_readings(text))

    def write_readings(self, text: str, before: Sequence[Any] = ()) -> None:
        """Make readings those of the present row, after the same questions as on the screen."""
        parsed = entry.parse(self.pane.model, "readings", " ".join(text.split()), self.session.clock())
        if parsed.complaint or not parsed.value:
            self.say(f"not accepted: {parsed.complaint or 'no reading'}; nothing changed")
            return
        value, array, place = [*before, *parsed.value], self.pane.array, self.place
        name = self._name()

        def take(reason: str) -> str | None:
            if not reason.strip():
                self.say("not accepted: this needs a reason")
                return None
            self._accept(value, reason)
            return None

        def confirm(answer: str) -> str | None:
            if agreed(answer):
                self._accept(value, "")
            else:
                self.say("nothing changed")
            return None

        why = questions.about_readings(self.session, array, place, name, tuple(value))
        unusual = usual.why_not(
            self.session.run, array, place, "readings", tuple(value), self.session.laboratory.dilutions
        )
        if why:
            self.ask(why, take, words=True)
        elif unusual and not self.session.question(self.session.writing(array, place, "readings", value)):
            self.ask(f"{name}, unusual: {unusual.rstrip('?.')}. Take it? y/n:", confirm, words=True)
        else:
            self._accept(value, "")

    def _accept(self, value: list[Any], reason: str) -> None:
        name, pane = self._name(), self.active
        try:
            edits = self.session.writing(self.pane.array, self.place, "readings", value)
        except EditError as error:
            told = "; ".join(places.problem(self.session.run, problem) for problem in error.problems)
            self.say(f"not accepted: {told}; nothing changed")
            return
        place = self.place

        def taken() -> None:
            self._told_row = True
            self._tell(linear_words.accepted(self.session, pane, place, name))

        if edits:
            self.commit(edits, reason, taken)
        else:
            self.say("that is what stands there; nothing changed")

    def onward(self) -> None:
        """Say what is next, which a number is the reading of; the cursor stays on the row last spoken of."""
        self.chosen = False
        self._tell([linear_words.next_thing(self.session, self._to_read())])

    def catch_up(self) -> None:
        """Say what fell due while nothing was typed, and what is next."""
        before = self.session.sheet
        self.recompute()
        self._tell(linear_words.changes(before, self.session.sheet))
        self.onward()

    # --- commands ---------------------------------------------------------------------------------------------------

    def _here(self) -> list[tuple[str, str]]:
        """The commands there are, by name and what each does."""
        own = [(name, does.__doc__ or "") for name, does in linear_words.OWN.items()]
        return own + [(c.name, c.title) for c in self.commands if c.name not in SCREEN_ONLY | set(linear_words.OWN)]

    def _command(self, text: str) -> None:
        """Run a command by its name or the key that sentences name; what follows answers its first question."""
        name, _, rest = text.strip().partition(" ")
        own = linear_words.OWN.get(name)
        found = None if own else self._found(name)
        if own is None and found is None:
            self.say(f"{self._why_not(name)}; nothing changed")
            return
        if own is not None:
            own(self, rest.strip())
        elif found is not None and not self._reaches(found):
            tables = " or the ".join(pane.title.lower() for pane in panes.PANES if pane.name in found.panes)
            self.say(f":{name} is about a row of the {tables}: :row and its name first; nothing changed")
        elif found is not None:
            self.having(lambda: self._ran(found, rest.strip()))

    def _ran(self, command: keys.Command, rest: str) -> None:
        command.run(self)
        if rest and self.prompt is not None:
            self._answered(rest)
        elif rest:
            self.say(f"{command.name} asked nothing; {rest!r} was not used")

    def having(self, do: Callable[[], object]) -> None:
        """Do something, say what it changed, and go on to what is next where it is done with."""
        before, self._told_row = self.session.sheet, False
        do()
        if self.session.run is not before.run and self.left is None:
            new = self.item is not None and self.item not in self.pane.items(before)
            if new and not self._told_row and self.pane.array:
                self._tell(linear_words.row(self.session, self.active, self.place, self._name()))
            self._tell(linear_words.changes(before, self.session.sheet))
            if self.prompt is None and self._content is None:
                self.onward()

    def _why_not(self, name: str) -> str:
        if found := next(iter(self._named(name)), None):
            if here := OTHERWISE.get(found.name):
                return f"{name!r} is :{here} here"
            return f"{name!r} is for the screen only ({found.title}): runsheet FILE opens it"
        return f"no command {name!r} here; ? lists them"

    def _named(self, name: str) -> list[keys.Command]:
        return [c for c in self.commands if c.name == name or name in map(keys.shown, c.keys)]

    def _found(self, name: str) -> keys.Command | None:
        named = self._named(name)
        fit = [c for c in named if self.active in c.panes] or named
        return next((c for c in fit if c.name not in SCREEN_ONLY), None)

    def _reaches(self, command: keys.Command) -> bool:
        """Put the cursor where a command works; whether a row that was spoken of is there, or it is about none."""
        step = next_step.next_step(self.session.sheet)
        first = command.name == "insert" and step.pane == "queue" and not self.session.sheet.rows
        if self.active in command.panes and not first:
            return True
        if first or (command.name in OF_NEXT and step.pane in command.panes):
            self.active, self.place = step.pane, step.row
        elif command.name in NO_ROW:
            self.activate(command.panes[0])  # type: ignore[arg-type]
        else:
            return False
        return True

    def put(self, pane: PaneName, place: int) -> None:
        """Put the cursor on a row a person named: what comes next is about it."""
        self.active, self.place, self.chosen = pane, place, True
        self._tell(linear_words.row(self.session, pane, place, self._name()))

    def _name(self) -> str:
        return self.pane.columns[0].text(self.item)

    # --- what a command needs ---------------------------------------------------------------------------------------

    def say(self, message: str) -> None:
        """Tell something."""
        self._write(visible(linear_words.spoken(message)))

    def _tell(self, lines: Sequence[str]) -> None:
        for each in lines:
            self.say(each)

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
        """Ask; the next line is the answer."""
        self.prompt = Prompt(label, answer, TypingLine.holding(text, proposed=True), takes_block, leave, words, offers)
        self.say(f"{label}{f' [{text}]' if text else ''} ({ESCAPE} {self.prompt.escape})")

    def open_page(self, content: Content, at: int = 0) -> None:  # noqa: ARG002 - there is no cursor on it
        """Tell a text; the number of a line is the answer to a list, and y to what is done as a whole."""
        self.say(content.title)
        if content.choose is None:
            self._tell(content.texts)
        elif content.whole:
            self._content = content
            self._tell(content.texts)
            self.say(f"y does all of this, {ESCAPE} nothing:")
        else:
            self._content = content
            self._tell([f"{number}  {text}" for number, text in enumerate(content.texts, 1)])
            self.say(f"the number of one of them, or {ESCAPE}:")

    def close_page(self) -> None:
        """Ask for no choice any more."""
        self._content = None

    def commit(self, edits: Sequence[Edit], reason: str = "", then: Callable[[], None] | None = None) -> bool:
        """Have a step taken, asking for a reason where one is needed."""
        return commit(self, edits, reason, then)

    def leave(self, code: int = 0) -> None:
        """Save and end the work."""
        self.session.store.close()
        self.left = code
