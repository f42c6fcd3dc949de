"""Escape and the next key, which a slow line brings in one piece, are two keys."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk import store
from tests.screen.pty_runs import FIRST, accepted, opened, readings

if TYPE_CHECKING:
    from pathlib import Path

    from tests.terminal import Terminal


@pytest.mark.parametrize("value", ["0.112", ".09", "0,085"])
def test_a_value_typed_right_after_escape_is_the_value(water: Path, terminals: list[Terminal], value: str) -> None:
    terminal = opened(water, terminals)
    terminal.send("12")
    terminal.wait("Enter accepts")
    terminal.send(b"\x1b" + value.encode())
    terminal.wait(f" {value} ")
    terminal.settle(0.4)
    terminal.send("enter")
    terminal.wait("19 of 22 read")
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == [Decimal(value.replace(",", "."))]


def test_what_was_escaped_from_is_not_taken_by_the_enter_after_it(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    accepted(terminal)
    terminal.send("up", "v", "spilled")
    terminal.wait("spilled_")
    terminal.send(b"\x1b\r")
    terminal.wait("? help")
    terminal.send("q")
    assert terminal.exit_code() == 0
    run = store.read_only(water).found.run
    assert run is not None
    assert run.queue[FIRST].void is None
    assert readings(water) == [Decimal("0.112")]


@pytest.mark.parametrize("value", [b"5", b"0.112"])
def test_a_value_its_escape_and_an_enter_that_come_in_one_piece_are_no_reading(
    water: Path, terminals: list[Terminal], value: bytes
) -> None:
    terminal = opened(water, terminals)
    terminal.send(value + b"\x1b\r")
    terminal.settle(0.6)
    terminal.send("q")
    assert terminal.exit_code() == 0
    assert readings(water) == []


@pytest.mark.parametrize(("key", "shown"), [("/", "Find: _"), ("t", "Note on OS-08: _"), ("i", "Insert a row")])
def test_a_command_right_after_escape_is_the_command(
    water: Path, terminals: list[Terminal], key: str, shown: str
) -> None:
    terminal = opened(water, terminals)
    terminal.send("v", "spilled")
    terminal.wait("spilled_")
    terminal.send(b"\x1b" + key.encode())
    terminal.wait(shown)
    assert "spilled" not in terminal.text()


def test_alt_and_a_letter_is_not_the_letter_s_command(water: Path, terminals: list[Terminal]) -> None:
    terminal = opened(water, terminals)
    before = water.read_bytes()
    for key in (b"\x1bq", b"\x1br", b"\x1bU", b"\x1bi", b"\x1bb", b"\x1bf"):
        terminal.send(key)
        terminal.settle(0.2)
    assert not terminal.ended
    assert "NEXT insert" in terminal.text()
    assert "Insert a row" not in terminal.text()
    assert water.read_bytes() == before
