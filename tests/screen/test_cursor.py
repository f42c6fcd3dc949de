"""The terminal's own cursor on a real terminal: after each key it stands where the next one goes."""

from __future__ import annotations

import os
import signal
from typing import TYPE_CHECKING

import pytest

from tests.screen.pty_runs import opened
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from pathlib import Path


def on_the_cell(terminal: Terminal) -> bool:
    """Whether the cursor stands where the text of the cell in reverse video begins, or the cell where it is blank."""
    x, y, text = terminal.reversed_cell()
    blank = len(text) - len(text.lstrip()) if text.strip() else 0
    return terminal.cursor() == (x + blank, y)


def after(terminal: Terminal, *keys: str) -> Terminal:
    """Send keys one by one, each when what the one before it gave is there."""
    for key in keys:
        terminal.send(key)
        terminal.pump(3)
        terminal.settle(0.3)
    return terminal


@pytest.mark.parametrize("options", [(), ("--cursor",)])
def test_it_is_seen_where_it_was_asked_for(options: tuple[str, ...], water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, "open", str(water), *options])
    terminals.append(terminal)
    terminal.wait("QC status: 1 FAIL")
    terminal.settle()
    assert terminal.shows_cursor() == bool(options)
    assert on_the_cell(terminal)
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert terminal.cursor() == (0, 23)  # where a terminal without an alternate screen goes on, below the picture
    assert terminal.shows_cursor()


def test_the_list_of_runs_has_it_too(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, "open", "--cursor"], env={"RUNSHEET_STATE": str(water.parent / "state")})
    terminals.append(terminal)
    terminal.wait("begin a new one")
    terminal.settle()
    assert terminal.shows_cursor()
    assert on_the_cell(after(terminal, "down"))
    after(terminal, "enter")
    line = terminal.text().splitlines()[terminal.cursor()[1]]
    assert line.startswith("File of the new run:")
    assert line[: terminal.cursor()[0]].endswith(".toml")


@pytest.mark.parametrize(
    "key", ["up", "left", "right", "\t", "\x1b[5~", "\x1b[F", "\x1b[H", "f3", "\x1bOQ", "\x1b[15~"]
)
def test_a_move_takes_it_along(key: str, water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    before = terminal.cursor()
    for _ in range(2):
        assert on_the_cell(after(terminal, key))
    assert terminal.cursor() != before


def test_a_resize_takes_it_along(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    seen = set()
    for size in ((120, 40), (40, 10), (80, 24)):
        terminal.resize(*size)
        terminal.pump(3)
        terminal.settle(0.4)
        assert on_the_cell(terminal)
        seen.add(terminal.cursor())
    assert len(seen) == 3


def test_an_entry_has_it_where_the_next_character_goes(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    for typed in ("0", "0.", "0.1", "0.11", "0.112"):
        after(terminal, typed[-1])
        x, y, text = terminal.reversed_cell()
        assert text.startswith(typed)
        assert terminal.cursor() == (x + len(typed), y)
    after(terminal, "\x7f")
    assert terminal.cursor() == (x + 4, y)
    after(terminal, "enter")
    assert on_the_cell(terminal)


def test_an_entry_edited_in_place_has_it_there(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    after(
        terminal, "up", "\t", "e"
    )  # of the amount of a row that was read; the place within it is seen by the cursor only
    x, y, text = terminal.reversed_cell()
    size = len(text.rstrip())
    assert terminal.cursor() == (x + size, y)
    for back in (1, 2):
        after(terminal, "left")
        assert terminal.cursor() == (x + size - back, y)
    after(terminal, "\x1b[H")
    assert terminal.cursor() == (x, y)
    after(terminal, "escape")
    terminal.settle(0.3)
    assert on_the_cell(terminal)


def test_a_question_has_it_at_its_answer(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    for typed in ("", "a", "ab", "abc"):
        after(terminal, typed[-1:] or "/")
        x, y = terminal.cursor()
        line = terminal.text().splitlines()[y]
        assert line[:x].endswith(f" {typed}")
        assert line[x:].rstrip() == "_"
    after(terminal, "left")
    assert terminal.cursor() == (x - 1, y)
    after(terminal, "escape")
    terminal.settle(0.3)
    assert on_the_cell(terminal)


def test_a_page_has_it_at_its_first_line_or_at_the_choice(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    before = terminal.cursor()
    after(terminal, "?")
    assert terminal.cursor() == (0, 2)
    after(terminal, "down")
    assert terminal.cursor() == (0, 2)
    after(terminal, "q")
    assert terminal.cursor() == before
    after(terminal, ":", "down", "down")
    assert on_the_cell(terminal)
    assert terminal.cursor() != before


@pytest.mark.parametrize("options", [(), ("--cursor",)])
def test_a_stop_leaves_it_as_it_was(options: tuple[str, ...], water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, "open", str(water), *options])
    terminals.append(terminal)
    terminal.wait("QC status: 1 FAIL")
    terminal.settle()
    for number in (signal.SIGTSTP, signal.SIGSTOP):
        terminal.kill(number)
        os.waitpid(terminal.pid, os.WUNTRACED)
        had = len(terminal.chunks)
        terminal.kill(signal.SIGCONT)
        terminal.pump(3)
        terminal.settle(0.5)
        assert len(terminal.chunks) > had
        assert terminal.shows_cursor() == bool(options)
        assert on_the_cell(terminal)
