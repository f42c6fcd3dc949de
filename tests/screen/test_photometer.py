"""A photometer on a port of its own, beside the screen on a real terminal."""

from __future__ import annotations

import os
import signal
import sys
import time
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

if sys.platform == "win32":
    pytest.skip("pseudo-terminals are POSIX", allow_module_level=True)

from runsheet.run.disk import files, log, opening, store
from tests.port.test_feed import Cable
from tests.screen.pty_runs import accepted, readings, until
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from pathlib import Path


class Photometer:
    """A cable, and the screen that reads it."""

    def __init__(self, path: Path, terminals: list[Terminal], *more: str) -> None:
        """Start, and wait until the port is open."""
        self.path, self.link = path, path.with_name("port")
        self.cable = Cable(self.link)
        self.terminal = Terminal([*PROGRAM, str(path), "--from", f"{self.link}@9600", *more])
        terminals.append(self.terminal)
        self.terminal.wait("photometer connected")
        self.terminal.settle(0.5)

    def read(self, raw: bytes, shown: str) -> None:
        """Send a line, look at the proposal, and accept it."""
        before = len(readings(self.path))
        self.cable.send(raw)
        self.terminal.wait(shown)
        self.terminal.send("enter")
        until(lambda: len(readings(self.path)) == before + 1)
        self.terminal.settle()

    def leave(self) -> int:
        """Quit."""
        self.terminal.send("q")
        return self.terminal.exit_code()


def entered(path: Path) -> list[tuple[str | None, str | None, str | None]]:
    """Port, line and how each reading was entered; the log is whole."""
    assert [problem for problem in opening.verify(path) if problem.level == "error"] == []
    steps = log.parse(files.log_of(path).read_bytes()).steps
    made = [entry for step in steps for entry in step.entries if entry.path.endswith(".readings")]
    return [(each.port, each.raw, each.entered) for each in made]


def test_lines_of_a_photometer_are_read_one_by_one(water: Path, terminals: list[Terminal]) -> None:
    photometer = Photometer(water, terminals)
    photometer.read(b"0.112\r\n", "0.112?")
    photometer.cable.send(b"\x00\xff ready\r\n")
    photometer.terminal.wait("not taken, ")
    photometer.cable.send(b"ABS 0.2")
    photometer.read(b"30 A\r\n", "0.230?")
    accepted(photometer.terminal, "0.130")
    assert photometer.leave() == 0
    assert readings(water) == [Decimal("0.112"), Decimal("0.230"), Decimal("0.130")]
    port = str(photometer.link)
    received = [(port, "0.112", "received"), (port, "ABS 0.230 A", "received"), (None, None, None)]
    assert entered(water) == received


def test_the_cable_pulled_and_put_back(water: Path, terminals: list[Terminal]) -> None:
    photometer = Photometer(water, terminals)
    photometer.read(b"0.112\r\n", "0.112?")
    photometer.cable.send(b"0.2")
    photometer.cable.pull()
    photometer.terminal.wait("photometer away since")
    accepted(photometer.terminal, "0.150")
    photometer.cable = Cable(photometer.link)
    photometer.terminal.wait("photometer connected")
    time.sleep(0.2)
    photometer.read(b"0.230\r\n", "0.230?")
    assert photometer.leave() == 0
    assert readings(water) == [Decimal("0.112"), Decimal("0.150"), Decimal("0.230")]


def test_ten_lines_a_second_change_nothing_about_keys(water: Path, terminals: list[Terminal]) -> None:
    """What is typed among them is what is accepted, and a second of them repaints a few lines."""
    photometer = Photometer(water, terminals)
    terminal = photometer.terminal
    for row in range(3):
        for character in "0.11":
            photometer.cable.send(b"0.900\r\n")
            terminal.send(character)
            terminal.pump(0.1)
        terminal.send(str(row + 1), "enter")
        until(lambda row=row: len(readings(water)) == row + 1)  # type: ignore[misc]
        terminal.send("b", "u")
        terminal.settle(0.2, 1.0)
    assert [str(each) for each in readings(water)] == ["0.111", "0.112", "0.113"]
    terminal.send("0")  # an entry: the lines only wait
    terminal.settle(0.6, 2.0)
    had = len(terminal.chunks)
    for _ in range(20):
        photometer.cable.send(b"0.900\r\n")
        terminal.pump(0.1)
    terminal.settle(0.6, 2.0)
    assert sum(len(data) for _, data in terminal.chunks[had:]) < 2 * 500
    terminal.send("escape")
    terminal.settle(0.3)
    assert photometer.leave() == 0
    assert {how for _, _, how in entered(water)} <= {None, log.TYPED}


def test_a_proposal_is_no_reading_when_the_program_is_killed(water: Path, terminals: list[Terminal]) -> None:
    photometer = Photometer(water, terminals)
    photometer.read(b"0.112\r\n", "0.112?")
    photometer.cable.send(b"0.230\r\n")
    photometer.terminal.wait("0.230?")
    photometer.terminal.kill()
    assert photometer.terminal.exit_code() == -signal.SIGKILL
    again = store.open_for_writing(water, "tester", datetime.now().astimezone())
    assert again.drafted is None
    again.close()
    assert readings(water) == [Decimal("0.112")]
    fd = os.open(photometer.link, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)  # nobody holds it any more
    os.close(fd)


@pytest.mark.parametrize("where", ["fifo", "tcp:192.0.2.1:9"])
def test_it_ends_at_once_where_nobody_is_at_the_other_end(where: str, water: Path, terminals: list[Terminal]) -> None:
    if where == "fifo":
        where = str(water.with_name("fifo"))
        os.mkfifo(where)
    terminal = Terminal([*PROGRAM, str(water), "--from", where])
    terminals.append(terminal)
    terminal.wait("photometer away since")
    began = time.monotonic()
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert time.monotonic() - began < 5


def test_the_port_does_not_become_the_controlling_terminal(water: Path, terminals: list[Terminal]) -> None:
    photometer = Photometer(water, terminals)
    photometer.cable.send(b"\x03\x1a\x1c")  # interrupt, stop and quit, were it a terminal that steers the program
    time.sleep(0.3)
    photometer.cable.send(b"\r\n")
    photometer.read(b"0.112\r\n", "0.112?")
    photometer.cable.pull()  # a hang-up, were it the controlling one
    photometer.terminal.wait("photometer away since")
    assert photometer.leave() == 0


def test_what_comes_while_the_program_is_stopped_has_no_time_and_is_not_taken(
    water: Path, terminals: list[Terminal]
) -> None:
    photometer = Photometer(water, terminals)
    photometer.terminal.kill(signal.SIGSTOP)
    time.sleep(0.2)
    photometer.cable.send(b"0.900\r\n0.901\r\n")
    time.sleep(3.5)
    photometer.terminal.kill(signal.SIGCONT)
    photometer.terminal.wait("not taken, the program was stopped when it came")
    photometer.read(b"0.112\r\n", "0.112?")
    assert photometer.leave() == 0
    assert readings(water) == [Decimal("0.112")]


def test_into_a_run_that_is_only_looked_at_nothing_is_read(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, "open", str(water), "--read-only", "--from", "tcp:192.0.2.1:9"])
    terminals.append(terminal)
    terminal.wait("nothing is read from the photometer")
    assert "photometer away" not in terminal.text()


def test_what_can_be_no_port_is_refused_and_nothing_is_opened(water: Path, terminals: list[Terminal]) -> None:
    terminal = Terminal([*PROGRAM, str(water), "--from", str(water)])
    terminals.append(terminal)
    assert terminal.exit_code() == 2
    assert "is a file, no serial device and no FIFO" in terminal.text().replace("\n", "")
    assert not files.log_of(water).exists()
