"""Commands run without a screen: a session, a cursor, and answers given beforehand."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from runsheet.run.disk import store
from runsheet.screen import keys
from runsheet.screen.context import Leave, Prompt, commit
from runsheet.screen.cursor import Cursor
from runsheet.screen.session import Session
from runsheet.screen.style import Look

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from runsheet.run.edit import Edit
    from runsheet.screen.content import Content
    from runsheet.work.offers import Offer

NOW = datetime.fromisoformat("2026-03-11T10:52:00+01:00")


class Scripted(Cursor):
    """What the bench is to a command, with lists in the place of widgets."""

    def __init__(self, path: Path, now: datetime = NOW, kept: Any = None) -> None:
        """Open the run at `path`, or what is `kept` in the place of its store; the cursor on the next thing to do."""
        opened = kept or store.open_for_writing(path, "tester", now)
        super().__init__(Session(opened, path, lambda: now, "tester"))
        self.look, self.width = Look(), 80
        self.commands: Sequence[keys.Command] = keys.COMMANDS
        self.prompt: Prompt | None = None
        self.said: list[str] = []
        self.page: Content | None = None
        self.left = False

    def run(self, name: str, *answers: str) -> Scripted:
        """Run a command by its name and answer what it asks; an answer to a list is a line that stands in it."""
        next(command for command in self.commands if command.name == name).run(self)
        for answer in answers:
            self._answer(answer)
        return self

    def _answer(self, answer: str) -> None:
        prompt, self.prompt = self.prompt, None
        if prompt is not None:
            if not prompt.takes(answer):
                self.prompt = prompt
        else:
            assert self.page is not None
            assert self.page.choose is not None
            self.page.choose(next(at for at, text in enumerate(self.page.texts) if answer in text))

    def say(self, message: str) -> None:
        self.said.append(message)

    def ask(
        self,
        label: str,
        answer: Callable[[str], str | None],
        text: str = "",  # noqa: ARG002 - what is proposed
        takes_block: Callable[[str], None] | None = None,
        leave: Leave | None = None,
        *,
        words: bool = False,
        offers: Sequence[Offer] = (),
    ) -> None:
        self.prompt = Prompt(label, answer, takes_block=takes_block, leave=leave, words=words, offers=offers)

    def open_page(self, content: Content, at: int = 0) -> None:  # noqa: ARG002 - a list is chosen from by its words
        self.page = content

    def close_page(self) -> None:
        self.page = None

    def commit(self, edits: Sequence[Edit], reason: str = "", then: Callable[[], None] | None = None) -> bool:
        return commit(self, edits, reason, then)

    def leave(self, code: int = 0) -> None:  # noqa: ARG002 - it has no exit code
        self.left = True
