"""What a command needs of whoever runs it.

Owns: `Context`, which the screen is, and whatever else runs commands; `Prompt`, a question that stands. Invariant: no
widget is named here, so that a command asks, says and shows without knowing how.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

from runsheet.screen.typing_line import TypingLine

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.run.edit import Edit
    from runsheet.screen.content import Content
    from runsheet.screen.keys import Command
    from runsheet.screen.panes import Pane
    from runsheet.screen.session import Session
    from runsheet.screen.style import Look
    from runsheet.show.columns import Column
    from runsheet.work.offers import Offer
    from runsheet.work.step import PaneName


class Leave(NamedTuple):
    """What Escape does in place of leaving all as it was: in a walk, or after a step that is taken already."""

    do: Callable[[], None]
    words: str
    """After the key, as `goes back to the list`."""
    covers: bool = True
    """Whether the question is one of a walk over the panes; beside it nothing of the sheet is shown."""


@dataclass
class Prompt:
    """A question, and what its answer is given to."""

    label: str
    answer: Callable[[str], str | None]
    """Takes the text; what it gives back says why that is no answer, and the question stays with the text."""
    line: TypingLine = field(default_factory=TypingLine)
    takes_block: Callable[[str], None] | None = None
    """What a pasted text of several lines is given to."""
    leave: Leave | None = None
    """What Escape does, where it is not that all stays as it was."""
    words: bool = False
    """Whether only words answer it, as a reason or a yes: never a number, and never a scanned name."""
    offers: Sequence[Offer] = ()
    """What the laboratory file has for it: Tab completes the first letters, Down lists."""
    trouble: str = ""
    """Why the last answer was none."""

    @property
    def completion(self) -> Offer | None:
        """What the letters typed begin, where they begin something and are not all of it."""
        typed = self.line.text
        found = [offer for offer in self.offers if offer.begins(typed)]
        return found[0] if found and not self.line.proposed and found[0].text != typed else None

    @property
    def escape(self) -> str:
        """What Escape does, in words after the key."""
        return "leaves all as it was" if self.leave is None else self.leave.words

    @property
    def covers(self) -> bool:
        """Whether it is a question of a walk over the panes."""
        return self.leave is not None and self.leave.covers

    def takes(self, text: str, *, scanned: bool = False) -> bool:
        """Take an answer where it is one; else the question stays, with the reason in `trouble`."""
        spoken = not text.strip() or any(character.isalpha() for character in text)
        if self.words and (scanned or not spoken):
            alone = "a number is" if any(character.isdigit() for character in text) else "signs alone are"
            self.trouble = "a scan answers no question: type the words" if scanned else f"{alone} no answer here"
            self.line = TypingLine()
            return False
        self.trouble = self.answer(text) or ""
        if self.trouble:
            self.line = TypingLine.holding(text)
        return not self.trouble


NEEDED = "a reason is needed"
"""Why an empty answer is none: the question stays, since what is typed next would be commands."""


class Context(Protocol):
    """Where the cursor is, and how a person is spoken with."""

    session: Session
    look: Look
    commands: Sequence[Command]
    """Those there are, with the user's own keys."""
    prompt: Prompt | None
    """The question that stands."""

    # --- where the cursor is ----------------------------------------------------------------------------------------

    @property
    def active(self) -> PaneName:
        """The name of the pane it is in."""

    @property
    def pane(self) -> Pane[Any]:
        """That pane."""

    @property
    def item(self) -> Any:
        """The row it is on, as the sheet has it; None in an empty table."""

    @property
    def place(self) -> int:
        """The place of that row in the document's array, from 0."""

    @property
    def column(self) -> Column[Any]:
        """The column it is in."""

    @property
    def width(self) -> int:
        """The columns a line may take."""

    def activate(self, name: PaneName) -> None:
        """Put it into another pane."""

    def go(self, place: int, *, same_column: bool = False) -> None:
        """Put it on the row at a place of the pane's array, on the first cell to type in or where it is."""

    def go_to_next(self) -> None:
        """Put it on the next thing to do."""

    # --- speaking with a person -------------------------------------------------------------------------------------

    def say(self, message: str) -> None:
        """Tell something."""

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
        """Ask for a line; `answer` gives back why a text is none, or nothing.

        `text` is proposed, `takes_block` gets several pasted ones, `leave` is what Escape does.

        With `words` neither a number nor a scan answers. `offers` may be chosen from.
        """

    def open_page(self, content: Content, at: int = 0) -> None:
        """Show a text, or a list to choose from with the cursor at one of it."""

    def close_page(self) -> None:
        """Put it away."""

    def commit(self, edits: Sequence[Edit], reason: str = "", then: Callable[[], None] | None = None) -> bool:
        """Have a step taken, asking for a reason where one is needed; whether it was taken at once.

        `then` is done once it is taken, at once or after the answer.
        """

    def recompute(self) -> None:
        """Compute the run and show it."""

    def leave(self, code: int = 0) -> None:
        """Save and end the work, with an exit code."""


def because(context: Context, question: str, do: Callable[[str], object]) -> None:
    """Ask for a reason and do something with it: the question stays as long as there is none."""

    def answer(why: str) -> str | None:
        if not why.strip():
            return NEEDED
        do(why.strip())
        return None

    context.ask(question, answer, words=True)


def commit(context: Context, edits: Sequence[Edit], reason: str, then: Callable[[], None] | None) -> bool:
    """Have a step taken, asking for a reason where one is needed, `then` after it; whether it was taken at once."""

    def take(why: str) -> bool:
        complaint = context.session.commit(edits, why)
        if complaint:
            context.say(complaint)
        elif then is not None:
            then()
        return not complaint

    question = "" if reason.strip() else context.session.question(edits)
    if question:
        because(context, question, take)
    return not question and take(reason)


def place_of(context: Context, field: str = "") -> str:
    """The document's place of the present row, or of a field of it."""
    return f"{context.pane.array}[{context.place + 1}]" + (f".{field}" if field else "")


def name_of(context: Context) -> str:
    """The present row's name, as its first column has it."""
    return context.pane.columns[0].text(context.item)
