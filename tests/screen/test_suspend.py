"""Suspended and resumed: the screen whole again, the terminal as it was for the shell, no reading lost."""

from __future__ import annotations

import os
import shutil
import signal
import termios
import time
from decimal import Decimal
from pathlib import Path

import pytest

from tests.screen.pty_runs import accepted, ended, opened, readings
from tests.terminal import PROGRAM, Terminal

TWO = [Decimal("0.112"), Decimal("0.113")]


def cooked(terminal: Terminal) -> bool:
    """Whether the terminal echoes and gives lines, as a shell wants it."""
    flags = termios.tcgetattr(terminal.fd)[3]
    return bool(flags & termios.ECHO and flags & termios.ICANON)


def stopped(terminal: Terminal, number: signal.Signals) -> None:
    """Send a signal and wait until the program stands still."""
    terminal.kill(number)
    for _ in range(200):
        done, status = os.waitpid(terminal.pid, os.WUNTRACED | os.WNOHANG)
        if done:
            assert os.WIFSTOPPED(status)
            terminal.settle(0.05)
            return
        terminal.pump(0.02)
    pytest.fail("the program did not stop")


def shell_writes(terminal: Terminal) -> None:
    """Write on the terminal what a shell would, while the program is stopped."""
    terminal.chunks.append((time.perf_counter(), b"\x1b[2J\x1b[Hshell prompt $ "))


def rows(terminal: Terminal) -> list[str]:
    """The lines of the screen that do not tell the time."""
    return [line for line in terminal.text().splitlines()[1:] if not ("NEXT" in line or "QC status" in line)]


def whole_frame(terminal: Terminal) -> list[str]:
    """The lines once the last of them, painted last, is that of the commands and no longer of the entry."""
    end = time.perf_counter() + 10
    while not rows(terminal)[-1].endswith("q quit") and time.perf_counter() < end:
        terminal.pump(0.05)
    assert rows(terminal)[-1].endswith("q quit")
    return rows(terminal)


def painted_anew(terminal: Terminal, before: list[str]) -> None:
    """Wait until the screen is as it was before the stop, however late a busy machine paints it."""
    end = time.perf_counter() + 10
    while rows(terminal) != before and time.perf_counter() < end:
        terminal.pump(0.05)
    assert rows(terminal) == before
    assert not cooked(terminal)


def test_a_suspended_program_gives_the_terminal_to_the_shell(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    before = whole_frame(terminal)
    stopped(terminal, signal.SIGTSTP)
    assert cooked(terminal)
    output = b"".join(data for _, data in terminal.chunks)
    assert output.rindex(b"\x1b[?1049l") > output.rindex(b"\x1b[?1049h")
    assert readings(water) == TWO[:1]
    shell_writes(terminal)
    terminal.kill(signal.SIGCONT)
    painted_anew(terminal, before)
    accepted(terminal, "0.113")
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert cooked(terminal)
    assert readings(water) == TWO


@pytest.mark.parametrize("sane", [False, True])
def test_a_program_stopped_without_being_asked_goes_on(sane: bool, water: Path, terminals: list[Terminal]) -> None:  # noqa: FBT001
    terminal = opened(water, terminals)
    accepted(terminal)
    terminal.settle()  # all of the frame, whose last line is there before the rest
    before = whole_frame(terminal)
    shell = termios.tcgetattr(terminal.fd)
    stopped(terminal, signal.SIGSTOP)
    if sane:  # as a shell sets it that takes the terminal back
        shell[3] |= termios.ECHO | termios.ICANON | termios.ISIG
        shell[0] |= termios.ICRNL
        termios.tcsetattr(terminal.fd, termios.TCSANOW, shell)
    shell_writes(terminal)
    terminal.kill(signal.SIGCONT)
    painted_anew(terminal, before)
    accepted(terminal, "0.113")
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert cooked(terminal)
    assert readings(water) == TWO


def test_stopped_and_hung_up(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    stopped(terminal, signal.SIGTSTP)
    terminal.hang_up()  # the system continues whom it hangs up
    assert ended(terminal) == 128 + signal.SIGHUP
    assert readings(water) == TWO[:1]
    assert not list(water.parent.glob(".*.lock"))


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
@pytest.mark.parametrize("number", [signal.SIGTSTP, signal.SIGSTOP])
def test_a_job_of_a_shell(number: signal.Signals, water: Path, terminals: list[Terminal]) -> None:
    shell = Terminal(["bash", "--norc", "--noprofile", "-i"], env={"PS1": "[ready] "})
    terminals.append(shell)
    shell.wait("[ready]")
    shell.send(f"{' '.join(PROGRAM)} {water}\r")
    shell.wait("QC status: 1 FAIL")
    shell.settle()
    before = rows(shell)
    program = int(Path(f"/proc/{shell.pid}/task/{shell.pid}/children").read_text())
    os.kill(program, number)
    shell.wait("Stopped")
    shell.send("echo he''llo\r")
    shell.wait("hello")
    shell.send("bg\r")
    shell.settle(0.4)
    shell.send("echo a''gain\r")
    shell.wait("again")
    shell.send("fg\r")
    shell.settle(0.6)
    assert rows(shell) == before
    accepted(shell)
    shell.send("q")
    shell.settle(0.4)
    shell.send("echo the e''nd\r")
    shell.wait("the end")
    assert readings(water) == TWO[:1]
    shell.send("exit\r")
    assert shell.exit_code() == 0
