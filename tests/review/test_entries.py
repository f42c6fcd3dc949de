"""What the edit log tells: corrections with old and new, entries made late; rows followed through moves and renames."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import evaluate
from runsheet.report.blocks import Items, Paragraph
from runsheet.report.making import Report
from runsheet.report.quality_sections import corrections
from runsheet.review.entries import Audit, audit, words
from runsheet.review.entries import sent as sentences
from runsheet.run import edit
from runsheet.run.disk import log, store
from runsheet.work import fillings
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


def exchange(run: Run) -> list[Edit]:
    return fillings.exchange(run, "queue", 1, 2)


@pytest.mark.parametrize("third", [(), ("0.2",), ("0.15",)])
@pytest.mark.parametrize("times", [1, 2])
def test_a_reading_given_to_its_own_row_takes_the_time_it_was_entered_with_it(
    tmp_path: Path, third: tuple[str, ...], times: int
) -> None:
    """Two rows read 40 min apart under each other's names: one was entered before it was read, the other late."""
    read = [(reading(2, "0.15", stamp=at(65)), at(65), "")]
    read += [(reading(3, value, stamp=at(105)), at(105), "") for value in third]
    swapped = [(exchange, at(130 + n), "read under each other's names") for n in range(times)]
    found = told(tmp_path, *read, *swapped)
    assert (found.late, found.early, found.unknown[-1]) == ((), (), "OF-1")


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
    assert [(c.what, c.old, c.reason) for c in found.corrections] == [("OF-2 readings", "[0.15]", "undo of step 3")]
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


# --- what is no correction, and what time tells -----------------------------------------------------------------


def test_what_is_changed_before_anything_is_read_is_planning(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    path.write_text(document([row("OF-1"), row("OF-2")], standard=[], calibration=[]), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(0))
    for volume in ("1000", "500"):
        opened.accept([edit.set_value(opened.run, "queue[1].amount", Decimal(volume))], at(1))
    opened.accept(reading(1, "0.15", stamp=at(65))(opened.run), at(65))
    opened.accept([edit.set_value(opened.run, "queue[1].amount", Decimal(250))], at(70))
    run = opened.run
    opened.close()
    found = audit(log.parse(path.with_name("plan.toml.log").read_bytes()).steps, run)
    assert [(c.old, c.new) for c in found.corrections] == [("500.0", "250.0")]
    assert found.unreasoned == 1


def test_a_step_and_its_undo_are_none_and_made_again_it_is_one(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document(QUEUE), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    opened.accept([edit.set_value(opened.run, "queue[1].extract_ml", Decimal(30))], at(62))
    opened.accept([edit.set_value(opened.run, "queue[1].extract_ml", Decimal(40))], at(63), reason="misread")

    def corrected() -> list[tuple[str, str]]:
        steps = log.parse(path.with_name("run.toml.log").read_bytes()).steps
        return [(c.old, c.new) for c in audit(steps, opened.run).corrections if c.new == "40.0"]

    opened.undo(at(64))
    opened.flush()
    assert corrected() == []
    opened.redo(at(65))
    opened.flush()
    assert corrected() == [("30.0", "40.0")]
    opened.close()


@pytest.mark.parametrize(("stamp", "early"), [(67, False), (68, True)])
def test_a_reading_entered_before_its_own_time(tmp_path: Path, stamp: int, *, early: bool) -> None:
    found = told(tmp_path, (reading(2, "0.15", stamp=at(stamp)), at(65), ""))
    assert [each.row for each in found.early] == (["OF-2"] if early else [])
    assert any("before it was read" in line for line in words(found)) is early


@pytest.mark.parametrize(("apart", "bulk"), [(1.0, True), (10 / 9, True), (1.2, False)])
def test_ten_readings_faster_than_they_can_be_read(tmp_path: Path, apart: float, *, bulk: bool) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row(f"OF-{n}") for n in range(1, 13)]), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    for number in range(1, 12):
        opened.accept(reading(number, "0.15")(opened.run), at(65) + timedelta(seconds=apart * number))
    run = opened.run
    opened.close()
    found = audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run)
    assert [len(each.rows) for each in found.in_bulk] == ([11] if bulk else [])
    assert len(found.untimed) == 11


def sent(number: int, value: str, raw: str, *, typed: bool = False) -> Change:
    """Enter a reading where a photometer had sent a line."""

    def change(run: Run) -> list[Edit]:
        (made,) = reading(number, value)(run)
        return [replace(made, received=edit.Received("/dev/ttyX", raw, typed))]

    return change


def test_what_a_photometer_sent_is_counted_apart_and_what_was_typed_in_its_place_told(tmp_path: Path) -> None:
    found = told(
        tmp_path, (sent(2, "0.112", "0.112 A"), at(65), ""), (sent(3, "0.1", "0.113\x07", typed=True), at(66), "")
    )
    assert list(sentences(found)) == [
        "1 entry of a reading received from /dev/ttyX",
        "OF-3 readings [0.1] typed in the place of what the photometer had sent: 0.113\\x07",
    ]
    printed = [b.texts for b in corrections(Report(evaluate(made_run(QUEUE), at(70)), found)) if isinstance(b, Items)]
    assert tuple(sentences(found)) in printed


def test_readings_in_bulk_say_how_many_a_photometer_sent(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row(f"OF-{n}") for n in range(1, 13)]), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    for number in range(1, 12):
        change = sent(number, "0.15", "0.15") if number < 5 else reading(number, "0.15")
        opened.accept(change(opened.run), at(65) + timedelta(seconds=number / 2))
    run = opened.run
    opened.close()
    found = audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run)
    (line,) = words(found)
    assert line.startswith("11 readings (4 received from a photometer) entered one by one within 5 s from ")


def test_a_pasted_block_is_not_in_bulk(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row(f"OF-{n}") for n in range(1, 13)]), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    opened.accept([edit.set_value(opened.run, f"queue[{n}].readings", [Decimal("0.1")]) for n in range(1, 13)], at(65))
    run = opened.run
    opened.close()
    assert audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run).in_bulk == ()


def test_what_is_said_where_nothing_was_found_holds_for_a_block_and_a_minute_back(
    tmp_path: Path,
) -> None:
    def pasted(run: Run) -> list[Edit]:
        return [edit.set_value(run, f"queue[{n}].readings", [Decimal("0.1")]) for n in (2, 3)]

    found = told(tmp_path, (pasted, at(66), ""), (reading(2, "0.1", "0.2"), at(65), ""))
    run = made_run(QUEUE)
    told_words = " ".join(
        block.text for block in corrections(Report(evaluate(run, at(70)), found)) if isinstance(block, Paragraph)
    )
    assert "pasted blocks apart" in told_words
    assert "no entry is more than 2 min older than the one before it" in told_words
    assert "run forward" not in told_words


@pytest.mark.parametrize(("back", "ran"), [(2, False), (3, True)])
def test_a_clock_that_ran_back_is_told(tmp_path: Path, back: int, *, ran: bool) -> None:
    found = told(tmp_path, (reading(2, "0.15"), at(70), ""), (reading(3, "0.16"), at(70 - back), ""))
    assert bool(found.backwards) is ran


def test_who_entered_a_reading_is_known(tmp_path: Path) -> None:
    assert told(tmp_path, (reading(2, "0.15"), at(70), "")).entered_by == ("tester",)


def test_what_a_reviewer_types_again_is_no_reading_entered(tmp_path: Path) -> None:
    again = {"row": "OF-1", "readings": [Decimal("0.112")], "by": "tester", "at": at(70)}
    found = told(tmp_path, (lambda run: [edit.insert_row(run, "review", 1, again)], at(70), ""))
    assert found.entered_by == ()


def test_readings_made_again_after_an_undo_are_not_in_bulk(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row(f"OF-{n}") for n in range(1, 13)]), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    for number in range(1, 12):
        opened.accept(reading(number, "0.15")(opened.run), at(65 + number))
    for _ in range(11):
        opened.undo(at(80))
    for _ in range(11):
        opened.redo(at(81))
    run = opened.run
    opened.close()
    assert audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, run).in_bulk == ()


@pytest.mark.parametrize("read_first", [True, False])
def test_a_limit_changed_after_the_first_standard_is_told_by_itself(tmp_path: Path, *, read_first: bool) -> None:
    def limit(run: Run) -> list[Edit]:
        return [
            edit.set_value(run, "method.check.every_readings", 40),
            edit.set_value(run, "method.sources", {"check.every_readings": "set in this run"}),
        ]

    def standard(run: Run) -> list[Edit]:
        made = {"id": "S9", "concentration": Decimal(10), "readings": [Decimal("0.02")]}
        return [edit.insert_row(run, "standard", len(run.standard) + 1, made)]

    order = (standard, limit) if read_first else (limit, standard)
    path = tmp_path / "run.toml"
    path.write_text(document([row("OF-1")], standard=[], method={"check": {"every_readings": 10}}), encoding="utf-8")
    opened = store.open_for_writing(path, "tester", at(61))
    for number, change in enumerate(order):
        opened.accept(change(opened.run), at(62 + number))
    opened.close()
    found = audit(log.parse(path.with_name("run.toml.log").read_bytes()).steps, opened.run)
    assert [(each.what, each.old, each.new) for each in found.limits] == (
        [("method.check.every_readings", "10", "40")] if read_first else []
    )


def test_the_edits_of_each_account_are_counted_and_printed(tmp_path: Path) -> None:
    found = told(tmp_path, (reading(2, "0.1"), at(65), ""), (reading(3, "0.2"), at(66), ""))
    ((login, count),) = found.logins
    assert (count, "@" in login) == (2, True)
    printed = [
        block.text
        for block in corrections(Report(evaluate(made_run(QUEUE), at(70)), found))
        if isinstance(block, Paragraph)
    ]
    assert f"Edits were accepted under: {login} (2)." in printed
