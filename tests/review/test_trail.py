"""What the edit log tells: corrections with old and new, entries made late; rows followed through moves and renames."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet.review.trail import Audit, audit
from runsheet.run import edit
from runsheet.run.disk import log, store
from tests.make import at, document, row
from tests.make import run as made_run

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

    Change = Callable[[Run], list[Edit]]

QUEUE = [row("OF-1", 0.112, at=at(60)), row("OF-2"), row("OF-3")]


def told(tmp_path: Path, *steps: tuple[Change, datetime, str]) -> Audit:
    """Make the steps in a run of three rows, each at its time and for its reason, and audit its log."""
    path = tmp_path / "run.toml"
    path.write_text(document(QUEUE), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    for change, when, reason in steps:
        opened.accept(change(opened.run), when, reason=reason)
    run = opened.run
    opened.close()
    return audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run)


def reading(number: int, *values: str, stamp: datetime | None = None) -> Change:
    """Enter readings, with their time where one is given."""

    def change(run: Run) -> list[Edit]:
        first = edit.set_value(run, f"queue[{number}].readings", list(map(Decimal, values)))
        return [first, edit.set_value(edit.apply(run, first), f"queue[{number}].at", stamp)] if stamp else [first]

    return change


def test_a_reading_overwritten_is_a_correction_with_old_and_new(tmp_path: Path) -> None:
    found = told(
        tmp_path,
        (reading(2, "0.15", stamp=at(65)), at(65), ""),
        (reading(2, "0.51", stamp=at(70)), at(70), "digits turned round"),
    )
    assert [(c.what, c.old, c.new, c.reason, c.who) for c in found.corrections] == [
        ("OF-2 readings", "[0.15]", "[0.51]", "digits turned round", "tester")
    ]
    assert found.entries == 4
    assert not found.late


def test_a_replicate_added_and_a_first_reading_are_no_corrections(tmp_path: Path) -> None:
    found = told(tmp_path, (reading(2, "0.15"), at(65), ""), (reading(2, "0.15", "0.16"), at(66), ""))
    assert found.corrections == ()


@pytest.mark.parametrize(("minutes", "late"), [(15, False), (16, True), (67, True)])
def test_an_entry_more_than_a_quarter_of_an_hour_after_its_reading_is_late(
    tmp_path: Path, minutes: int, *, late: bool
) -> None:
    found = told(tmp_path, (reading(2, "0.15", stamp=at(70)), at(70 + minutes), ""))
    assert [(each.row, each.minutes) for each in found.late] == ([("OF-2", minutes)] if late else [])


def test_a_time_set_back_later_makes_the_entry_late(tmp_path: Path) -> None:
    found = told(
        tmp_path,
        (reading(2, "0.15", stamp=at(90)), at(90), ""),
        (lambda run: [edit.set_value(run, "queue[2].at", at(62))], at(91), "read then"),
    )
    assert [each.row for each in found.late] == ["OF-2"]
    assert [(c.what, c.reason) for c in found.corrections] == [("OF-2 at", "read then")]


def test_rows_are_followed_through_moves_insertions_and_renames(tmp_path: Path) -> None:
    found = told(
        tmp_path,
        (reading(3, "0.2", stamp=at(65)), at(65), ""),
        (lambda run: [edit.move_row(run, "queue", 3, 1)], at(66), ""),
        (
            lambda run: [edit.insert_row(run, "queue", 1, {"id": "N", "kind": "blank", "readings": [Decimal(0)]})],
            at(67),
            "",
        ),
        (lambda run: [edit.set_value(run, "queue[2].id", "OF-9")], at(68), "label misread"),
        (reading(2, "0.21"), at(69), "misread"),
        (lambda run: [edit.set_value(run, "queue[2].at", at(1))], at(70), "clock"),
    )
    assert [(c.what, c.old, c.new) for c in found.corrections] == [
        ("OF-3 id", '"OF-3"', '"OF-9"'),
        ("OF-9 readings", "[0.2]", "[0.21]"),
        ("OF-9 at", at(65).isoformat(), at(1).isoformat()),
    ]
    assert [(each.row, each.minutes) for each in found.late] == [("OF-9", 64)]


def test_rows_read_before_the_log_began_are_named(tmp_path: Path) -> None:
    found = told(tmp_path, (reading(2, "0.15", stamp=at(65)), at(65), ""))
    assert "OF-1" in found.unknown
    assert "OF-2" not in found.unknown


def test_a_reading_from_before_the_log_that_is_corrected_is_not_entered_late_by_that(tmp_path: Path) -> None:
    found = told(tmp_path, (reading(1, "0.121"), at(300), "digits turned round"))
    assert [(c.what, c.old, c.new) for c in found.corrections] == [("OF-1 readings", "[0.112]", "[0.121]")]
    assert found.late == ()
    assert "OF-1" in found.unknown


def test_an_entry_taken_back_says_so_and_typing_it_anew_counts_from_then(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document(QUEUE), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    opened.accept(reading(2, "0.15", stamp=at(65))(opened.run), at(65))
    opened.undo(at(66))
    opened.accept(reading(2, "0.16", stamp=at(65))(opened.run), at(90))
    run = opened.run
    opened.close()
    found = audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run)
    assert [(c.what, c.old, c.reason) for c in found.corrections] == [("OF-2 readings", "[0.15]", "undo of step 2")]
    assert [(each.row, each.minutes) for each in found.late] == [("OF-2", 25)]


def test_a_row_removed_with_its_reading_is_a_correction(tmp_path: Path) -> None:
    found = told(
        tmp_path,
        (reading(2, "0.15"), at(65), ""),
        (lambda run: [edit.remove_row(run, "queue", 2)], at(66), "no such bottle"),
    )
    assert [(c.what, c.reason) for c in found.corrections] == [("OF-2", "no such bottle")]


def test_a_log_that_does_not_fit_is_told_and_ends_nothing() -> None:
    run = made_run(QUEUE)
    begun = log.chained(log.start(document(QUEUE).encode(), at(0), "tester"), "", 1)
    strange = edit.Edit("remove", "queue[99]", {"id": "X", "readings": [Decimal("0.1")]}, None)
    second = log.chained(log.entries([strange], b"x", at(1), "tester"), begun[-1].chain, 2)
    third = log.chained([replace(second[0], new="[[[")], second[-1].chain, 3)
    steps = log.parse(b"".join(map(log.line, (*begun, *second, *third)))).steps
    assert audit(steps, run).faults == 2


def test_without_a_log_there_is_nothing_to_tell() -> None:
    assert audit((), made_run(QUEUE)) == Audit()
