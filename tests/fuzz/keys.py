"""Random work at the screen: keys, pastes, commands, sizes. The disk must always hold a run, and the log be whole."""

from __future__ import annotations

import asyncio
import itertools
import random
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple
from unittest.mock import patch

from rich.cells import cell_len
from textual import events

from runsheet import demo, read
from runsheet.problem import has_errors
from runsheet.review import signing
from runsheet.run import edit
from runsheet.run.disk import files, opening, store
from runsheet.run.text import write
from runsheet.screen import keys
from runsheet.screen.app import RunsheetApp
from runsheet.screen.bench import Bench
from runsheet.screen.canvas import Canvas
from runsheet.screen.page import Page
from runsheet.screen.session import Session
from runsheet.screen.style import Look
from tests.fuzz import documents

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import datetime
    from pathlib import Path

    from textual.pilot import Pilot

    from runsheet.run.model import Run


class Scan(NamedTuple):
    """What a scanner, or a device that types, sends: characters, and Enter, faster than a person types."""

    text: str


Happening = events.Key | events.Paste | Scan | tuple[int, int]
"""A key, a paste, a scan, or a new size of the terminal."""
SCANS = ("v8-2", "q-100", "b0017", "OS-09", "G-3", "SB1", "0.112", "0,4", "-1", "12ab", "x", "S-1", "y", "1e9", "0.1.2")
PACE, FAST = 0.2, 0.005
"""Seconds between the keys of a person, and of a scanner; the test itself is faster than either."""
moments = itertools.count(10**9)
"""Ticks of a clock that is ahead of the system's, so that a key pressed through the application is a pause too."""

MOVES = (
    "up", "down", "left", "right", "tab", "shift+tab", "pageup", "pagedown", "home", "end", "enter", "escape", "ctrl+j",
    "ctrl+home", "ctrl+end",
)  # fmt: skip
EDITS = ("backspace", "delete", "ctrl+u", "ctrl+h", "left", "right", "home", "end")
ODD = ("ctrl+c", "ctrl+@", "ctrl+z", "alt+x", "f12", "f24", "ctrl+shift+f1", "unknown", "", "insert", "shift+insert")
"""Keys few people press."""
CHARACTERS = "aZqnyot é∞\u202e\u0301測🧪\x00\x1b\x7f\ufffd%'\"\\[]{}#="
TEXTS = (
    "0.112", "0.1 0.2", "0.412", "0..1", "-", "980", "A-1", "é\u202e", "yes", "y", "n", "o", "t", "", "now", "=1+1",
    "2026-03-09", "9:05", "1e9", "1e-320", "1e400", "-0", "∞", "a" * 90, "測定" * 30, "9" * 5000, "K. Berg",
    "report.txt", "report.html", "wrong cell", "run.toml", "[[queue]]", "''", '"', "%", "\x1b]0;x\x07", "true",
)  # fmt: skip
BLOCKS = (
    "0.1\t1\n0.2\t2\n", "N-1,980,site\nN-2,,\n", "x\n" * 40, "\x1b[2J\t\x07\n", "id,amount\nQ1,5\nQ1,6\n", "0,1;0,2\n",
    "\n", "\t", "\r\n\r\n", "0.11\n0.12\n0.13", "\u2028\n\x00\t\ufeff", "🧪\t測\n" * 3, "a\tb" * 200, "\n\n\n0.1\n\n",
    "N-1\nN-1\nN-1", "N-7\t980\t2026-03-09T08:00:00+01:00\nN-8\t975", '"N, 1","9"\n', "1e400\n-1\n9999999\n",
)  # fmt: skip
SIZES = ((80, 24), (120, 40), (1, 1), (79, 23), (200, 60), (20, 5), (2, 50), (300, 2), (119, 36), (40, 12), (3, 3))


def _key(name: str, character: str | None = None) -> events.Key:
    return events.Key(name, character)


def _of(command: keys.Command, random_: random.Random) -> events.Key:
    name = random_.choice(command.keys)
    sign = keys.SHOWN.get(name, name)
    return _key(name, sign if len(sign) == 1 else None)


def doing(bench: Bench, random_: random.Random) -> Iterator[Happening]:
    """The keys, pastes and sizes of one thing a person, or a cat, might do at the bench as it stands."""
    chance = random_.random()
    if chance < 0.04:
        yield random_.choice(SIZES)
    elif chance < 0.12:
        yield _key(random_.choice(ODD))
    elif chance < 0.18:
        yield random_.choice((events.Paste(random_.choice((*BLOCKS, *TEXTS))), Scan(random_.choice(SCANS))))
    elif chance < 0.26:
        character = random_.choice(CHARACTERS)
        yield _key(character, character)
    elif bench.prompt is not None:
        yield from _answer(random_, ("enter", "enter", "ctrl+j", "escape"))
    elif bench.query_one(Page).content is not None:
        yield from _paged(random_)
    elif bench.grid.entry is not None:
        yield from _answer(random_, ("enter", "enter", "tab", "up", "down", "left", "right", "shift+tab", "escape"))
    elif chance < 0.45:
        yield _key(random_.choice(MOVES))
    elif chance < 0.62:
        yield from (
            _key(character, character) for character in random_.choice(("0.112", "0.4", "1", ".07", "-1", "12"))
        )
        yield _key(random_.choice(("enter", "enter", "tab", "down", "escape")))
    else:
        command = random_.choice([each for each in keys.COMMANDS if bench.active in each.panes])
        yield _of(command, random_)


def _answer(random_: random.Random, ends: tuple[str, ...]) -> Iterator[Happening]:
    if random_.random() < 0.3:
        yield _key(random_.choice(EDITS))
    if random_.random() < 0.6:
        text = random_.choice(TEXTS)
        yield from [events.Paste(text)] if random_.random() < 0.5 else [_key(each, each) for each in text[:60]]
    if random_.random() < 0.8:
        yield _key(random_.choice(ends))


def _paged(random_: random.Random) -> Iterator[Happening]:
    chance = random_.random()
    if chance < 0.3:
        yield _key(random_.choice(MOVES))
    elif chance < 0.5:
        character = random_.choice("abcdefghijklmnopqrstuvwxyz /?")
        yield _key(character, character)
    yield _key(random_.choice(("enter", "enter", "escape")))


def work(path: Path, count: int, seed: int, text: str, now: datetime) -> int:
    """Do `count` random things to a run and check the files; give how many edits the log has."""
    path.write_text(text, encoding="utf-8")
    opened = store.open_for_writing(path, "fuzz", now)
    bench = Bench(Session(opened, path, lambda: now, "fuzz"), Look())
    with patch.object(Bench, "leave", lambda bench, *_: bench.say("stays")):
        asyncio.run(_work(bench, count, random.Random(seed)))  # noqa: S311 - keys need no secrets
    last = opened.run
    opened.close()
    assert opened.trouble == ""
    assert opened.conflict is None
    assert path.read_text(encoding="utf-8") == write(last) or not files.log_of(path).exists()
    if not files.log_of(path).exists():
        return 0
    assert [problem for problem in opening.verify(path) if problem.level == "error"] == []
    found = opening.look(path)
    assert found.known
    assert found.run == last
    return sum(step.count for step in found.log.steps)


async def _work(bench: Bench, count: int, random_: random.Random) -> None:
    app = RunsheetApp(bench, "ansi-dark")
    async with app.run_test(size=random_.choice(((80, 24), (120, 40)))) as pilot:
        done = 0
        while done < count:
            for happened in doing(bench, random_):
                await happen(bench, pilot, happened)
                done += 1
                if done % 40 == 0:
                    await pilot.pause()
                    _readable(bench.session.path)
                    harmless(bench)
        assert app.is_running


async def happen(bench: Bench, pilot: Pilot[object], happened: Happening) -> None:
    if isinstance(happened, Scan):
        scan(bench, happened.text)
    elif isinstance(happened, tuple):
        await pilot.resize_terminal(*happened)
    elif isinstance(happened, events.Key):
        if happened.key in ODD:
            await pilot.press(happened.key)  # the whole way through the application, which has keys of its own
        else:
            press(bench, happened)
    else:
        bench.on_paste(happened)


def press(bench: Bench, key: events.Key) -> None:
    """Press a key at a person's pace."""
    key.time = next(moments) * PACE
    bench.on_key(key)
    bench.release()


def scan(bench: Bench, text: str) -> None:
    """Scan a text; where nothing is asked, shown or typed, only a number may change the run."""
    idle = bench.prompt is None and bench.query_one(Page).content is None and bench.grid.entry is None
    before, moment = bench.session.run, next(moments) * PACE
    for number, character in enumerate(text):
        key = events.Key(character, character)
        key.time = moment + number * FAST
        bench.on_key(key)
    end = events.Key("enter", None)
    end.time = moment + len(text) * FAST
    bench.on_key(end)
    bench.release()
    is_number = text.strip("+-0123456789.,") == ""
    assert not idle or is_number or len(text) < 2 or bench.session.run is before


def _readable(path: Path) -> None:
    """The document is whole at any moment, also while it is being saved."""
    run, problems = read(path.read_text(encoding="utf-8"))
    assert run is not None
    assert not has_errors(problems)


def harmless(bench: Bench) -> None:
    """No character that a terminal would obey is drawn, and no line is wider than its place."""
    for widget in bench.query(Canvas):
        for y in range(widget.size.height if widget.display else 0):
            text = widget.render_line(y).text
            assert text.isprintable(), f"{widget.id}: {text!r}"
            assert cell_len(text) == widget.size.width, f"{widget.id}: {text!r}"


def start(random_: random.Random) -> tuple[str, datetime]:
    """A run to work on and the time it is: an invented day, also signed, long or with hostile names, or another.

    The others are documents of a rule, and mutated ones that have no errors.
    """
    name = random_.choice(demo.NAMES)
    kind = random_.choice(("day", "signed", "long", "hostile", "other", "other", "other", "other"))
    if kind != "other":
        return STARTS[kind](demo.text(name), demo.NOW[name]), demo.NOW[name]
    texts = documents.seeds()
    while True:
        text = random_.choice(texts)
        if random_.random() < 0.6:
            text = documents.mutated(text, random_)
        run, problems = read(text)
        if run is not None and not has_errors(problems):
            return text, documents.NOW


def _run(text: str) -> Run:
    run, _ = read(text)
    assert run is not None
    return run


def _signed(text: str, now: datetime) -> str:
    """Sign a run, finished or not."""
    run = _run(text)
    return write(edit.apply_all(run, [signing.sign(run, "A. Person", now)]))


def _long(text: str, _: datetime) -> str:
    """A queue that is long enough to be computed in parts."""
    run = _run(text)
    more = tuple(replace(row, id=f"L{number}") for number in range(300) for row in run.queue[-2:-1])
    return write(replace(run, queue=(*run.queue, *more)))


def _hostile(text: str, _: datetime) -> str:
    """Put characters a terminal would obey into names and notes."""
    run = _run(text)
    queue = tuple(replace(row, id=f"\x1b[2J{row.id}\u202e\x9b31m", note="\x07測\u0301\u200b") for row in run.queue)
    return write(replace(run, queue=queue, run=replace(run.run, title="\x1b]0;x\x07")))


STARTS: dict[str, Callable[[str, datetime], str]] = {
    "day": lambda text, _: text,
    "signed": _signed,
    "long": _long,
    "hostile": _hostile,
}
