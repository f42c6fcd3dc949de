"""Random work at the screen: keys, pastes, commands, sizes. The disk must always hold a run, and the log be whole."""

from __future__ import annotations

import asyncio
import random
from typing import TYPE_CHECKING

from textual import events
from textual.geometry import Size

from runsheet import demo, read
from runsheet.problem import has_errors
from runsheet.run import opening, store
from runsheet.run.text import write
from runsheet.screen import keys
from runsheet.screen.app import RunsheetApp
from runsheet.screen.bench import Bench
from runsheet.screen.style import Look

if TYPE_CHECKING:
    from pathlib import Path

MOVES = (
    "up",
    "down",
    "left",
    "right",
    "tab",
    "shift+tab",
    "pageup",
    "pagedown",
    "home",
    "end",
    "enter",
    "escape",
    "ctrl+j",
)
EDITS = ("backspace", "delete", "ctrl+u", "ctrl+h")
TEXTS = (
    "0.112",
    "0.1 0.2",
    "0..1",
    "-",
    "980",
    "A-1",
    "é\u202e",
    "yes",
    "y",
    "=1+1",
    "2026-03-09",
    "9:05",
    "1e9",
    "∞",
    "a" * 90,
)
BLOCKS = (
    "0.1\t1\n0.2\t2\n",
    "N-1,980,site\nN-2,,\n",
    "x\n" * 40,
    "\x1b[2J\t\x07\n",
    "id,amount\nQ1,5\nQ1,6\n",
    "0,1;0,2\n",
)
SIZES = ((80, 24), (120, 40), (1, 1), (79, 23), (200, 60), (20, 5))


def event(random_: random.Random) -> events.Event | str | tuple[int, int]:
    """Give one thing that could happen: a key, a command by name, a paste, a size."""
    chance = random_.random()
    if chance < 0.30:
        return events.Key(random_.choice(MOVES), None)
    if chance < 0.55:
        character = random_.choice("0123456789.,-+ ")
        return events.Key(character, character)
    if chance < 0.62:
        return events.Key(random_.choice(EDITS), None)
    if chance < 0.85:
        return random_.choice(
            [command.name for command in keys.COMMANDS if command.name not in ("quit", "write_report")]
        )
    if chance < 0.93:
        return events.Paste(random_.choice(TEXTS))
    if chance < 0.97:
        return events.Paste(random_.choice(BLOCKS))
    return random_.choice(SIZES)


def work(path: Path, count: int, seed: int, name: str = "water-day") -> int:
    """Do `count` random things to a demo run and check the files; give how many steps were accepted."""
    path.write_text(demo.text(name), encoding="utf-8")
    opened = store.open_for_writing(path, "fuzz", demo.NOW[name])
    bench = Bench(opened, path, Look(), lambda: demo.NOW[name], "fuzz")
    asyncio.run(_work(bench, count, random.Random(seed)))  # noqa: S311 - keys need no secrets
    last = opened.run
    opened.close()
    assert opened.trouble == ""
    run, problems = read(path.read_text(encoding="utf-8"))
    assert run is not None
    assert not has_errors(problems)
    assert write(run) == write(last)
    assert [problem for problem in opening.verify(path) if problem.level == "error"] == []
    log = path.with_name(path.name + ".log")
    return log.read_text(encoding="utf-8").count('"document"') if log.exists() else 0


async def _work(bench: Bench, count: int, random_: random.Random) -> None:
    app = RunsheetApp(bench, "ansi-dark")
    async with app.run_test(size=(80, 24)) as pilot:
        while not bench.ready:
            await pilot.pause(0.01)
        for number in range(count):
            happened = event(random_)
            if isinstance(happened, tuple):
                app.post_message(events.Resize(Size(*happened), Size(*happened)))
                await pilot.pause()
            elif isinstance(happened, str):
                _command(bench, happened)
            elif isinstance(happened, events.Key):
                bench.on_key(happened)
            elif isinstance(happened, events.Paste):
                bench.on_paste(happened)
            if number % 50 == 0:
                await pilot.pause()


def _command(bench: Bench, name: str) -> None:
    """Run a command as its key would: only where it works and nothing is being typed or read."""
    command = next(each for each in keys.COMMANDS if each.name == name)
    if bench.active in command.panes:
        key = command.keys[0]
        bench.on_key(events.Key(key, key if len(key) == 1 else None))
