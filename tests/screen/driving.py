"""Driving the screen in a test: keys in, the document and the sheet out."""

from __future__ import annotations

import asyncio
import contextlib
from datetime import datetime
from typing import TYPE_CHECKING

from textual import events

from runsheet import read
from runsheet.run.disk import store
from runsheet.screen.app import RunsheetApp
from runsheet.screen.bench import Bench
from runsheet.screen.session import Session
from runsheet.screen.style import Look

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from textual.app import App

    from runsheet.compute.results import Sheet
    from runsheet.run.model import Run

NOW = datetime.fromisoformat("2026-03-11T10:52:00+01:00")
NAMES = {
    " ": "space",
    ".": "full_stop",
    ",": "comma",
    "-": "minus",
    "+": "plus",
    "/": "slash",
    ":": "colon",
    "_": "underscore",
}


def keys(text: str) -> list[str]:
    """Turn characters into the names of their keys."""
    return [NAMES.get(character, character) for character in text]


def typed(text: str) -> list[str]:
    """Type a text and accept it."""
    return [*keys(text), "enter"]


APART = 0.2
"""Seconds between the keys of a person."""


async def press_key(drive: Drive, app: App[object], name: str) -> None:
    """Send a key the way the terminal's driver does, and wait until the screen has taken it and is refreshed.

    It is stamped as coming so many seconds after the one before it, however fast the test is; what is stamped as a
    person's waits for nothing.
    """
    drive.moment += APART
    key = events.Key(name, character(name))
    key.time = drive.moment
    app.post_message(key)
    with contextlib.suppress(TimeoutError):  # a key that ends the program leaves no screen to wait for
        await asyncio.wait_for(app.wait_for_refresh(), 2)
    drive.bench.release()


async def scan(drive: Drive, app: App[object], text: str) -> None:
    """Send characters as a scanner does, a line feed after the Enter where the text ends in one."""
    drive.moment += APART
    for name in [*keys(text.rstrip("\n")), "enter", *(["ctrl+j"] if text.endswith("\n") else [])]:
        drive.moment += 0.005
        key = events.Key(name, character(name))
        key.time = drive.moment
        app.post_message(key)
    await app.wait_for_refresh()


def character(name: str) -> str | None:
    """The character a key types, if it types one."""
    if len(name) == 1:
        return name
    return next((character for character, key in NAMES.items() if key == name), None)


class Drive:
    """A screen over a run in a folder of the test."""

    def __init__(
        self, path: Path, *, size: tuple[int, int] = (80, 24), now: datetime = NOW, look: Look | None = None
    ) -> None:
        """Open the run at `path`; `now` is what the clock shows."""
        self.path, self.size, self.now, self.moment = path, size, now, 0.0
        self.store = store.open_for_writing(path, "tester", now)
        self.bench = Bench(Session(self.store, path, lambda: self.now), look or Look())

    def run(self, *presses: str | Sequence[str], then: Callable[[Drive], None] | None = None) -> Drive:
        """Press keys, one after the other or a list at a time, look with `then`, and leave."""

        async def go() -> None:
            app = RunsheetApp(self.bench, "ansi-dark")
            async with app.run_test(size=self.size) as pilot:
                for press in presses:
                    if isinstance(press, str) and press.startswith("paste:"):
                        self.bench.post_message(events.Paste(press.removeprefix("paste:")))
                        await pilot.pause()
                        continue
                    if isinstance(press, str) and press.startswith("scan:"):
                        await scan(self, app, press.removeprefix("scan:"))
                        continue
                    for key in [press] if isinstance(press, str) else press:
                        await press_key(self, app, key)
                await pilot.pause()
                if then is not None:
                    then(self)
            self.store.close()

        asyncio.run(go())
        return self

    @property
    def sheet(self) -> Sheet:
        """The sheet on the screen."""
        return self.bench.session.sheet

    @property
    def document(self) -> Run:
        """The run as it stands on the disk."""
        run, problems = read(self.path.read_text(encoding="utf-8"))
        assert run is not None
        assert not problems
        return run

    def screen(self) -> list[str]:
        """The lines of the screen as plain text."""
        width, height = self.size
        lines = [""] * height
        for widget in self.bench.query("Canvas"):
            if not widget.display or not widget.size.width:
                continue
            for y in range(widget.size.height):
                text = widget.render_line(y).text
                at = widget.region.y + y
                if 0 <= at < height:
                    lines[at] = lines[at].ljust(widget.region.x) + text
        return [line[:width].rstrip() for line in lines]
