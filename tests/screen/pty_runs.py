"""What the tests on a real terminal share: a run opened on one, a reading typed, the reading on the disk."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk import store
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from collections.abc import Callable
    from decimal import Decimal
    from pathlib import Path

FIRST = 18
"""The place of the first row of the invented day that was not read."""


def opened(path: Path, terminals: list[Terminal], *command: str, **env: str) -> Terminal:
    """Open the run and wait until it is computed."""
    terminal = Terminal([*command, *PROGRAM, str(path)], env=env)
    terminals.append(terminal)
    terminal.wait("QC status: 1 FAIL")
    terminal.settle()
    return terminal


def accepted(terminal: Terminal, text: str = "0.112") -> None:
    """Type a reading and wait until it is accepted."""
    terminal.send(text)
    terminal.wait("Enter accepts")
    terminal.send("enter")
    terminal.wait("? help")  # the keys of the pane are back, so the entry is over


def readings(path: Path) -> list[Decimal | int]:
    """The readings taken since the day was made, as the disk has them."""
    found = store.read_only(path).found
    assert found.run is not None
    assert found.readable
    return [reading for row in found.run.queue[FIRST:] for reading in row.readings]


def until(what: Callable[[], object], limit: float = 10.0) -> None:
    """Wait for something to come true, without taking the terminal's output; fails the test when it never does."""
    end = time.monotonic() + limit
    while time.monotonic() < end:
        if what():
            return
        time.sleep(0.05)
    pytest.fail(f"it did not happen within {limit} s")


def ended(terminal: Terminal, limit: float = 6.0) -> int:
    """Wait for the program to end by itself while nobody takes its output; give its exit code."""
    codes: list[int] = []

    def look() -> bool:
        done, status = os.waitpid(terminal.pid, os.WNOHANG)
        codes.extend([os.waitstatus_to_exitcode(status)] if done else [])
        return bool(codes)

    until(look, limit)
    return codes[0]
