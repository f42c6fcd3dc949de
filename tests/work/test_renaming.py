"""Another name for something that others name."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

import pytest

from runsheet import evaluate
from runsheet.run import edit
from runsheet.work import renaming
from tests.make import NOW, at, row, run, standards

if TYPE_CHECKING:
    from runsheet.run.model import Run

CURVE = {"id": "C1", "model": "line"}


def renamed(made: Run, array: str, old: str, new: str) -> Run:
    place = next(at for at, each in enumerate(getattr(made, array)) if each.id == old)
    return edit.apply_all(made, renaming.edits(made, array, place, new))


def day() -> Run:
    """A day whose rows, sample, batch and calibration are named by others."""
    action = {"rule": "check", "rows": ["CCV1", "S1"], "taken": "cleaned the cell", "by": "M. Tarn", "at": at(90)}
    again = {"row": "A", "readings": [0.25], "by": "P. Roe"}
    standard = {"row": "S1", "readings": [0.0], "by": "P. Roe"}
    queue = [
        row("CCV1", 0.1, kind="check", expected=50, at=at(40), calibration="C1"),
        row("A", 0.25, at=at(41), batch="B1", report=False, reason="read again as A-1"),
        row("D", 0.26, kind="duplicate", of="A", at=at(42), batch="B1"),
        row("A-1", 0.25, sample="A", at=at(43), batch="B1"),
    ]
    return run(
        queue,
        calibration=[CURVE],
        standard=standards(calibration="C1"),
        batch=[{"id": "B1"}],
        sample=[{"id": "A", "site": "ditch"}],
        action=[action],
        review=[again, standard],
    )


def test_a_row_that_is_acted_on_is_so_by_its_new_name() -> None:
    """What was done about a check was that of a row that is not there."""
    method = {"check": {"recovery_percent": [90, 110]}}
    check = row("CCV1", 0.1, kind="check", expected=50, at=at(40))
    action = {"rule": "check", "rows": ["CCV1"], "taken": "cleaned the cell", "by": "M. Tarn", "at": at(90)}
    made = run([check], method=method, action=[action])
    for each in (made, renamed(made, "queue", "CCV1", "CCV-1")):
        (found,) = [f for f in evaluate(each, datetime.fromisoformat(NOW)).quality if f.rule == "check"]
        assert (found.state, found.acted_on) == ("fail", True)


def test_a_row_s_name_is_that_of_its_sample_and_of_what_was_typed_again() -> None:
    made = renamed(day(), "queue", "A", "OF-1")
    assert [(each.id, each.of, each.sample) for each in made.queue[1:]] == [
        ("OF-1", None, None), ("D", "OF-1", None), ("A-1", None, "OF-1"),
    ]  # fmt: skip
    assert [each.id for each in made.sample] == ["OF-1"]
    assert [each.row for each in made.review] == ["OF-1", "S1"]


def test_a_row_says_the_new_name_of_what_reads_it_again() -> None:
    made = renamed(day(), "queue", "A-1", "A B")
    assert made.queue[1].reason == "read again as A B"
    assert [each.id for each in made.sample] == ["A"]


@pytest.mark.parametrize(("array", "old"), [("calibration", "C1"), ("batch", "B1"), ("standard", "S1")])
def test_no_old_name_is_left(array: str, old: str) -> None:
    before = day()
    made = renamed(before, array, old, "new")
    rows = (*made.queue, *made.standard, *made.action, *made.review)
    assert old in repr((*before.queue, *before.standard, *before.action, *before.review))
    assert f"'{old}'" not in repr(rows)
