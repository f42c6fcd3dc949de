"""A terminal that takes no output, or is gone: nothing accepted is lost, nothing spins, nothing stays behind."""

from __future__ import annotations

import json
import signal
import sys
import time
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk.files import lock_of
from tests.screen.pty_runs import accepted, ended, opened, readings, until
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from pathlib import Path

TWO = [Decimal("0.112"), Decimal("0.113")]


def stalled(water: Path, terminals: list[Terminal]) -> Terminal:
    """A program that has written more than a terminal holds that nobody reads, and has much left to write."""
    terminal = opened(water, terminals)
    for turn in range(40):
        terminal.resize(120 + turn % 2, 40)  # a whole frame each
        time.sleep(0.03)
    return terminal


def test_readings_are_kept_while_the_output_stalls(water: Path, terminals: list[Terminal]) -> None:
    terminal = stalled(water, terminals)
    terminal.send("0.112", "enter", "0.113", "enter")
    until(lambda: readings(water) == TWO)
    terminal.wait("0.113")  # the output is taken again
    terminal.wait("? help")
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == TWO


@pytest.mark.parametrize("quitting", [False, True])
def test_a_stalled_terminal_that_closes_leaves_no_process(
    quitting: bool,  # noqa: FBT001
    water: Path,
    terminals: list[Terminal],
) -> None:
    terminal = stalled(water, terminals)
    terminal.send("0.112", "enter", "0.113", "enter", *(["q"] if quitting else []))
    until(lambda: readings(water) == TWO)
    terminal.hang_up()
    assert ended(terminal) == 128 + signal.SIGHUP
    assert readings(water) == TWO
    assert not list(water.parent.glob(".*.lock"))


def test_sigterm_ends_a_stalled_program(water: Path, terminals: list[Terminal]) -> None:
    terminal = stalled(water, terminals)
    terminal.send("0.112", "enter", "0.113", "enter")
    until(lambda: readings(water) == TWO)
    terminal.kill(signal.SIGTERM)
    assert ended(terminal) == 128 + signal.SIGTERM


# --- a terminal that is gone ---------------------------------------------------------------------------------------

IGNORE = "import os, signal, sys; signal.signal(signal.SIGHUP, signal.SIG_IGN); "
ON = "os.execv(sys.argv[1], sys.argv[1:])"
APART = "os.fork() and sys.exit(os.waitstatus_to_exitcode(os.wait()[1])); os.setsid(); "
HEED = "signal.signal(signal.SIGHUP, signal.SIG_DFL); "
NOHUP = (sys.executable, "-c", IGNORE + ON)
DETACHED = (sys.executable, "-c", IGNORE + APART + HEED + ON)
"""In a session of its own, whose terminal it is not: no signal tells it that the terminal is gone."""


@pytest.mark.parametrize("command", [NOHUP, DETACHED], ids=["nohup", "detached"])
def test_a_program_that_no_signal_tells_ends_with_its_terminal(
    command: tuple[str, ...], water: Path, terminals: list[Terminal]
) -> None:
    terminal = opened(water, terminals, *command)
    accepted(terminal)
    terminal.send("0.1")  # half typed
    terminal.settle()
    terminal.hang_up()
    assert ended(terminal, 4) == 128 + signal.SIGHUP  # at full speed until then, so this bounds the processor time too
    assert readings(water) == TWO[:1]
    assert not list(water.parent.glob(".*.lock"))


def test_the_first_screen_ends_with_its_terminal(tmp_path: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*NOHUP, *PROGRAM], env={"RUNSHEET_STATE": str(tmp_path)})
    terminals.append(terminal)
    terminal.wait("begin a new one")
    terminal.hang_up()
    assert ended(terminal, 4) == 128 + signal.SIGHUP


def test_no_answer_takes_no_lock_over(water: Path, terminals: list[Terminal]) -> None:
    note = {"host": "elsewhere", "pid": 1, "user": "I. Varga", "since": "2026-03-11T09:05:00+01:00"}
    lock_of(water).write_text(json.dumps(note | {"heartbeat": "2026-03-11T09:05:00+01:00", "machine": "another"}))
    again = Terminal([*PROGRAM, str(water)])
    terminals.append(again)
    again.wait("Take it over")
    again.send("\x04")  # end of input
    again.wait("read-only")
    assert "Traceback" not in again.text()
    again.send("q")
    assert again.exit_code() == 0
    assert list(water.parent.glob(".*.lock"))


def test_the_lock_of_a_killed_process_of_this_machine_asks_nothing(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    terminal.kill()
    terminal.exit_code()
    assert lock_of(water).exists()
    again = Terminal([*PROGRAM, str(water)])
    terminals.append(again)
    again.wait("lock taken over: ")
    assert "Take it over" not in again.text()
    again.send("q")
    assert again.exit_code() == 0
    assert not lock_of(water).exists()


def test_an_input_that_is_at_its_end_is_refused(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal(["sh", "-c", f"exec {' '.join(PROGRAM)} {water} </dev/null"])
    terminals.append(terminal)
    assert terminal.exit_code() == 2
    assert "needs a terminal" in terminal.text()
