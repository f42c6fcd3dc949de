"""The program on a real pseudo-terminal: started, typed into, ended in every way; nothing accepted is ever lost."""

from __future__ import annotations

import os
import re
import signal
import termios
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from tests.make import document, row
from tests.screen.pty_runs import accepted, opened, readings
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from pathlib import Path

READY = "NEXT"


def test_starts_types_and_quits(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == [Decimal("0.112")]
    assert not list(water.parent.glob(".*.lock"))
    output = b"".join(data for _, data in terminal.chunks)
    assert output.rindex(b"\x1b[?1049l") > output.rindex(b"\x1b[?1049h")


def test_what_is_unwise_in_the_document_is_said_at_the_start(tmp_path: Path, terminals: list[Terminal]) -> None:
    run = tmp_path / "run.toml"
    run.write_text(document([row("A", 0.25, full_g=1900, empty_g=900)]), encoding="utf-8")
    terminals.append(Terminal([*PROGRAM, str(run)]))
    terminals[0].wait("A amount: is given and the bottle is weighed too: amount is used")


ENDS = (signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT, signal.SIGUSR1, signal.SIGALRM)


@pytest.mark.parametrize("number", ENDS)
def test_a_signal_saves_ends_and_gives_the_terminal_back(
    number: signal.Signals, water: Path, terminals: list[Terminal]
) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    raw = termios.tcgetattr(terminal.fd)
    terminal.kill(number)
    assert terminal.exit_code() == 128 + number
    assert readings(water) == [Decimal("0.112")]
    assert not list(water.parent.glob(".*.lock"))
    if number == signal.SIGHUP:  # the terminal is gone
        return
    cooked = termios.tcgetattr(terminal.fd)
    output = b"".join(data for _, data in terminal.chunks)
    last = output[output.rindex(b"\x1b[?1049l") :]
    assert all(sequence in last for sequence in (b"\x1b[?25h", b"\x1b[?7h", b"\x1b[?1004l", b"\x1b[?2004l"))
    assert not raw[3] & termios.ECHO
    assert cooked[3] & termios.ECHO


def test_a_dropped_line_saves_and_leaves_no_process(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    terminal.hang_up()
    _, status = os.waitpid(terminal.pid, 0)
    assert os.waitstatus_to_exitcode(status) in {128 + signal.SIGHUP, -signal.SIGHUP}
    assert readings(water) == [Decimal("0.112")]


def test_killed_and_opened_again(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    terminal.kill()
    assert terminal.exit_code() == -signal.SIGKILL
    assert readings(water) == [Decimal("0.112")]
    again = Terminal([*PROGRAM, str(water)])
    terminals.append(again)
    again.wait("19 of 22 read")
    assert "Take it over" not in again.text()


def test_bytes_that_are_no_text_do_no_harm(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    terminal.send(b"\xb5", b"\xff\xfe")
    terminal.settle()
    accepted(terminal)
    terminal.send(b"\x1b[200~0.\xb52\x1b[201~")
    terminal.settle()
    terminal.send("escape")
    terminal.settle(0.4)
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == [Decimal("0.112")]


def test_small_and_back(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    for size in ((20, 5), (1, 1), (79, 23)):
        terminal.resize(*size)
        terminal.settle()
    terminal.wait("needs 80x24")
    terminal.resize(80, 24)
    terminal.wait(READY)
    accepted(terminal)


@pytest.mark.parametrize("term", ["xterm-256color", "screen", "linux", "vt100"])
def test_terminals(term: str, water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals, TERM=term, COLORTERM="")
    accepted(terminal)
    output = b"".join(data for _, data in terminal.chunks)
    assert (b"\x1b[36m" in output or b"\x1b[32m" in output or b";36m" in output or b";32m" in output) == (
        term != "vt100"
    )


def test_no_colour(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals, NO_COLOR="1")
    accepted(terminal)
    output = b"".join(data for _, data in terminal.chunks)
    assert b"38;2" not in output
    assert b"48;2" not in output


def test_a_dumb_terminal_is_refused(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, str(water)], env={"TERM": "dumb"})
    terminals.append(terminal)
    assert terminal.exit_code() == 2
    assert "TERM=dumb" in terminal.text()


def test_ascii_only(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, "open", str(water), "--ascii"])
    terminals.append(terminal)
    terminal.wait("QC status: 1 FAIL")
    terminal.send("p")
    terminal.wait("Calibration plot")
    assert terminal.text().isascii()


@pytest.mark.parametrize("size", [(60, 20), (80, 12), (40, 8), (30, 5)])
def test_below_the_least_size_the_next_thing_stays_in_sight(
    size: tuple[int, int], water: Path, terminals: list[Terminal]
) -> None:
    terminal = opened(water, terminals)
    terminal.resize(*size)
    terminal.wait("this screen needs 80x24")
    assert "NEXT insert" in terminal.text()


BLACK = (b"38;2;0;0;0", b"48;2;0;0;0")


@pytest.mark.parametrize("value", ["", "1"])
@pytest.mark.parametrize("theme", [[], ["--theme", "ansi"], ["--theme", "mono"]])
def test_no_colour_never_gives_black_on_black(
    value: str, theme: list[str], water: Path, terminals: list[Terminal]
) -> None:
    terminal = Terminal([*PROGRAM, "open", str(water), *theme], env={"NO_COLOR": value})
    terminals.append(terminal)
    terminal.wait(READY)
    output = b"".join(data for _, data in terminal.chunks)
    assert not any(colour in output for colour in BLACK)
    if value and not theme:
        assert not re.search(rb"\x1b\[[0-9;]*\b3[0-7]m", output)


def test_the_comma_of_a_keypad_is_a_comma(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    terminal.send("0", b"\x1bOl", "1", "1", "2")
    terminal.wait("0,112")
    terminal.send("enter")
    terminal.wait("19 of 22 read")
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == [Decimal("0.112")]
