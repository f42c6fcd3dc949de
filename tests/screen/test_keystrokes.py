"""How many keys twenty common tasks take, each beside the least possible.

The least is what no screen could do without: the values that must be typed, one key that says what is meant, one letter
for what is chosen from a list, and one Enter for each thing typed.

Where the cursor stands at first is where the day has left it: on the next thing to read.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

import pytest

from tests.screen.driving import Drive, typed

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from runsheet.run.model import Row, Run

WHY = "misread"


class Task(NamedTuple):
    """One task from the reading cell of OS-08, the first unread row."""

    name: str
    keys: list[str]
    least: int
    done: Callable[[Run, Run], bool]
    """Whether the document after it, beside the one before, has it."""
    before: tuple[str, ...] = ()
    """Keys pressed once, earlier that day; not counted."""
    there: tuple[str, ...] = ()
    """Keys that bring the cursor to where the task begins; not counted."""


def row(run: Run, name: str) -> Row:
    return next(row for row in run.queue if row.id == name)


def text(run: Run, name: str, field: str) -> str:
    return str(getattr(row(run, name), field))


TASKS = (
    Task("a reading with Enter", typed("0.112"), 6, lambda new, _: row(new, "OS-08").readings == (Decimal("0.112"),)),
    Task("two readings of one row", typed("0.112 0.113"), 12, lambda new, _: len(row(new, "OS-08").readings) == 2),
    Task(
        "a replicate of the row before", ["up", "a", *typed("0.026")], 7,
        lambda new, _: len(row(new, "OS-07").readings) == 3,
    ),
    Task("an amount from the reading", ["tab", *typed("980")], 5, lambda new, _: text(new, "OS-08", "amount") == "980"),
    Task("another dilution", ["d", *typed("5")], 3, lambda new, _: text(new, "OS-08", "dilution") == "5"),
    Task(
        "a reading put right", ["up", *typed("0.030"), *typed(WHY)], 1 + 6 + len(WHY) + 1,
        lambda new, _: row(new, "OS-07").readings == (Decimal("0.030"),),
    ),
    Task("a blank", ["b"], 1, lambda new, old: len(new.queue) == len(old.queue) + 1),
    Task("the row before read again", ["up", "r"], 2, lambda new, _: row(new, "OS-07").report is False),
    Task("a row void", ["up", "v", *typed("spilt")], 8, lambda new, _: row(new, "OS-07").void == "spilt"),
    Task(
        "two rows swapped", ["up", "y", *typed("OS-06"), *typed("mixed up")], 2 + 6 + 9,
        lambda new, old: row(new, "OS-07").readings == row(old, "OS-06").readings,
    ),
    Task("one step taken back", ["u"], 1, lambda new, _: row(new, "OS-08").readings == (), ("0", ".", "1", "enter")),
    Task(
        "a new calibration", ["N", "enter", "enter", "enter"], 2,
        lambda new, old: len(new.calibration) == len(old.calibration) + 1,
    ),
    Task("a second batch", ["E", "enter"], 2, lambda new, old: len(new.batch) == len(old.batch) + 1),
    Task(
        "warm-up after the lamp was off", ["K", "enter"], 2,
        lambda new, _: sum(setup.started is not None for setup in new.setup) == 2,
    ),
    Task(
        "a fact replaced", ["F", *typed("rev"), *typed("O. Quill")], 1 + 1 + 1 + 9,
        lambda new, _: new.run.reviewer == "O. Quill",
    ),
    Task(
        "a duplicate of the row before", ["up", "i", *typed("d"), "enter", *typed("970")], 2 + 2 + 4,
        lambda new, old: [r.of for r in new.queue if r.kind == "duplicate"][-1] == "OS-07"
        and len(new.queue) == len(old.queue) + 1,
    ),
    Task(
        "a field blank", ["i", *typed("f"), *typed("FB-1"), *typed("1000")], 1 + 2 + 5 + 5,
        lambda new, _: row(new, "FB-1").kind == "field-blank",
    ),
    Task("a note", ["t", *typed("cloudy")], 8, lambda new, _: row(new, "OS-08").note == "cloudy"),
    Task(
        "a level left out", ["o", *typed("spilt")], 7,
        lambda new, _: [s.id for s in new.standard if s.use is False] == ["S2"],
        there=("f3", "ctrl+home", "down", "down"),
    ),
    Task(
        "one filling struck out", ["up", "k", *typed("2"), *typed("bubble")], 2 + 2 + 7,
        lambda new, _: len(row(new, "OS-07").readings) == 1,
    ),
    Task(
        "a row found and read", ["slash", *typed("OS-10"), *typed("0.05")], 1 + 6 + 5,
        lambda new, _: bool(row(new, "OS-10").readings),
    ),
    Task(
        "a value filled down", ["tab", "quotation_mark"], 2,
        lambda new, _: row(new, "OS-09").amount == row(new, "OS-08").amount,
    ),
)  # fmt: skip


@pytest.mark.parametrize("task", TASKS, ids=lambda task: task.name)
def test_a_task_takes_at_most_two_keys_more_than_the_least(task: Task, water: Path) -> None:
    old = Drive(water).run(*task.before).document
    new = Drive(water).run(*task.there, task.keys).document
    assert task.done(new, old)
    assert task.least <= len(task.keys) <= task.least + 2


def test_there_are_twenty_tasks_or_more() -> None:
    assert len({task.name for task in TASKS}) >= 20
