"""What is shown when no run is named: recent runs, and a new one by each method.

Owns: `Welcome` and the list of recent runs. Invariant: it opens nothing itself; it gives the path it was asked for.
"""

from __future__ import annotations

import contextlib
import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rich.cells import cell_len
from textual.geometry import Offset

from runsheet import methods
from runsheet.methods import laboratory
from runsheet.run.disk import files, state, store
from runsheet.screen.canvas import Canvas, CanvasScreen, Line, clipped
from runsheet.screen.content import Content
from runsheet.screen.escape import apart
from runsheet.screen.page import Page
from runsheet.screen.typing_line import TypingLine
from runsheet.work import new_run

if TYPE_CHECKING:
    from textual import events
    from textual.app import ComposeResult

    from runsheet.screen.style import Look

MOST = 12
END = b"\0"
"""What ends a name in the list: the one byte that no name has."""


def _list() -> Path:
    return state.folder() / "recent"


def recent() -> list[Path]:
    """The runs opened last, newest first, those that are still there."""
    try:
        names = _list().read_bytes().split(END)
    except OSError:
        return []
    return [path for name in names if (path := Path(os.fsdecode(name))).is_file()]


def remember(path: Path) -> None:
    """Put a run at the head of the list; a state folder that cannot be written is no trouble."""
    here = path.resolve()
    names = [os.fsencode(path) for path in (here, *(other for other in recent() if other != here))][:MOST]
    with contextlib.suppress(OSError):
        state.private(_list().parent)
        descriptor = os.open(_list(), os.O_WRONLY | os.O_CREAT | os.O_TRUNC, files.PRIVATE)
        with os.fdopen(descriptor, "wb") as file:
            file.write(END.join(names))


class Asked(Canvas):
    """The line a name is typed on."""

    DEFAULT_CSS = "Asked { height: 2; }"

    def __init__(self, look: Look) -> None:
        """Start without a question."""
        super().__init__(id="asked")
        self.look, self.label, self.line, self.said = look, "", TypingLine(), ""

    def lines(self, width: int, _height: int) -> list[Line]:
        """What went wrong, and the question."""
        label = f"{self.label} " if self.label else ""
        text = f"{self.line.text}_" if self.label else ""
        self.caret = Offset(cell_len(label + self.line.text[: self.line.caret]), 1)
        return [
            ((clipped(self.said, width), self.look.strong()),),
            ((clipped(label + text, width), self.look.plain()),),
        ]


class Welcome(CanvasScreen, inherit_bindings=False):
    """Choose a recent run, or make a new one."""

    def __init__(self, look: Look) -> None:
        """Gather recent runs and methods."""
        super().__init__()
        self.look = look
        self._recent = recent()
        self._methods, problems = methods.all_methods()
        self._problems = "; ".join(map(str, problems))
        self._chosen = 0

    @property
    def taking(self) -> Canvas:
        """The question where there is one, else the list."""
        asked = self.query_one(Asked)
        return asked if asked.label else self.query_one(Page)

    def compose(self) -> ComposeResult:
        """Lay out the list and the question."""
        yield Page(self.look)
        yield Asked(self.look)

    def on_mount(self) -> None:
        """Show the list."""
        page, asked = self.query_one(Page), self.query_one(Asked)
        page.display = True
        asked.said = self._problems
        texts = [f"open  {path.name:24} {path.parent}" for path in self._recent]
        texts += [f"new   {method.name:24} {method.title}" for method in self._methods]
        page.open(Content("runsheet: open a recent run, or begin a new one", texts, self._choose))

    def _choose(self, number: int) -> None:
        if number < len(self._recent):
            self._leave(self._recent[number])
            return
        self._chosen = number - len(self._recent)
        asked = self.query_one(Asked)
        asked.label = "File of the new run:"
        asked.line = TypingLine.holding(
            f"{datetime.now().astimezone():%Y-%m-%d}-{self._methods[self._chosen].name}.toml"
        )
        asked.paint()

    def _make(self) -> None:
        asked = self.query_one(Asked)
        path = Path(asked.line.text.strip())
        with contextlib.suppress(RuntimeError):  # ~ and the name of nobody here
            path = path.expanduser()
        if not path.name:
            asked.said = "a name is needed"
            asked.paint()
            return
        name = new_run.id_of(path)
        path = path.with_name(f"{name}.toml")  # the commands over a folder read no other
        now = datetime.now().astimezone().replace(microsecond=0)
        try:
            house, _ = laboratory.find(files.real(path).parent)  # what is wrong with it, the run's screen says
            store.create(path, new_run.new(name, self._methods[self._chosen], now, house.laboratory))
        except FileExistsError:
            asked.said = f"{path} is there already"
        except OSError as error:
            asked.said = f"{path}: {error.strerror}"
        else:
            self._leave(path)
        asked.paint()

    def _leave(self, path: Path | None) -> None:
        self.app.exit(path)

    def on_key(self, event: events.Key) -> None:
        """Send a key to the question where there is one, else to the list."""
        event.stop()
        event.prevent_default()
        for key in apart(event, idle=not self.query_one(Asked).label):
            self._key(key.key, key.character)

    def _key(self, name: str, character: str | None) -> None:
        page, asked = self.query_one(Page), self.query_one(Asked)
        if not asked.label:
            if name == "escape" or (name == "q" and not (page.content and page.content.filter.text)):
                self._leave(None)
            else:
                page.key(name, character)
        elif name in ("enter", "ctrl+j"):
            self._make()
        elif name == "escape":
            asked.label = asked.said = ""
            asked.paint()
        else:
            asked.line.key(name, character)
            asked.paint()
