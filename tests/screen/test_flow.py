"""A day at the screen: keys pressed, document and sheet looked at."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, read
from runsheet.run import edit
from runsheet.screen.status_words import next_thing
from tests.screen.driving import NOW, Drive, keys, typed

if TYPE_CHECKING:
    from pathlib import Path


def test_opens_at_the_first_unread_row(water: Path) -> None:
    drive = Drive(water).run()
    assert drive.bench.active == "queue"
    assert drive.bench.item.id == "OS-08"
    assert drive.bench.pane.columns[drive.bench.grid.column].key == "readings"


def test_type_and_enter_stamps_saves_and_goes_on(water: Path) -> None:
    drive = Drive(water).run(typed("0.112"))
    row = drive.document.queue[18]
    assert (row.id, row.readings, row.at) == ("OS-08", (Decimal("0.112"),), NOW)
    assert drive.bench.item.id == "OS-09"


def test_a_keystroke_recalculates_and_saves_nothing(water: Path) -> None:
    before = water.read_bytes()
    seen = []

    def look(drive: Drive) -> None:
        row = drive.sheet.rows[18]
        seen.append((row.reported, row.state, drive.sheet.due[0].readings_left))

    Drive(water).run(keys("0.11"), then=look)
    assert seen == [("4.4", "open", 13)]
    assert water.read_bytes() == before


def test_a_half_typed_number_leaves_the_sheet(water: Path) -> None:
    seen = []

    def look(drive: Drive) -> None:
        seen.append((drive.sheet.rows[18].reported, drive.bench.message))

    Drive(water).run(keys("0."), then=look)
    assert seen == [(None, "half-typed")]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("0.1.2", "two decimal points"),
        ("0.11 ", "a space after the number"),
        ("0,1x", "is no number"),
        ("--1", "no number"),
    ],
)
def test_what_is_no_number_is_refused_at_the_cell(text: str, said: str, water: Path) -> None:
    before, seen = water.read_bytes(), list[str]()
    Drive(water).run(typed(text), then=lambda drive: seen.append(drive.bench.message))
    assert said in seen[0]
    assert water.read_bytes() == before


def test_comma_is_a_decimal_point(water: Path) -> None:
    assert Drive(water).run(typed("0,112")).document.queue[18].readings == (Decimal("0.112"),)


def test_escape_puts_the_old_value_back(water: Path) -> None:
    before = water.read_bytes()
    drive = Drive(water).run(keys("0.5"), "escape")
    assert drive.sheet.rows[18].state == "unread"
    assert water.read_bytes() == before


def test_line_feed_accepts_as_enter_does(water: Path) -> None:
    assert Drive(water).run([*keys("0.112"), "ctrl+j"]).document.queue[18].readings == (Decimal("0.112"),)


def test_a_changed_reading_needs_a_reason(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("up", typed("0.030"), "enter", then=lambda drive: seen.append(drive.screen()[-1]))
    assert seen == ["a reason is needed; Escape goes back to the entry"]
    Drive(water).run("escape")  # the entry was still there, and is dropped
    drive = Drive(water).run("up", typed("0.030"), typed("misread"))
    assert drive.document.queue[17].readings == (Decimal("0.030"),)
    assert "misread" in water.with_suffix(".toml.log").read_text()


def test_a_replicate_is_added_without_a_reason(water: Path) -> None:
    drive = Drive(water).run(typed("0.112"), "up", "a", typed("0.114"))
    assert drive.document.queue[18].readings == (Decimal("0.112"), Decimal("0.114"))


def test_a_blank_that_falls_due_is_offered_and_inserted(water: Path) -> None:
    late = NOW.replace(hour=11, minute=2)
    drive = Drive(water, now=late).run("b", typed("0.001"))
    ids = [(row.id, row.kind) for row in drive.document.queue[18:20]]
    assert ids == [("SB4", "blank"), ("OS-08", "sample")]
    assert drive.sheet.due[0].state == "ok"


def test_dilute_takes_the_advice(water: Path) -> None:
    drive = Drive(water).run(typed("0.95"), "up", "d", "enter")
    old, new = drive.document.queue[18], drive.document.queue[19]
    assert (old.report, old.reason) == (False, "read again as OS-08-1")
    assert (new.sample, new.dilution, new.readings, new.amount) == ("OS-08", 5, (), old.amount)
    assert drive.bench.item.id == "OS-08-1"


def test_void_needs_a_reason_and_can_be_taken_back(water: Path) -> None:
    assert Drive(water).run("up", "v", "enter").document.queue[17].void is None
    assert Drive(water).run("up", "v", typed("spilt")).document.queue[17].void == "spilt"
    assert Drive(water).run("up", "v").document.queue[17].void is None


def test_rezero_says_what_the_blank_read_after(water: Path) -> None:
    row = Drive(water).run(["up"] * 6, "z", typed("0.001")).document.queue[12]
    assert (row.id, row.rezeroed, row.as_left) == ("SB3", True, Decimal("0.001"))


def test_undo_and_redo_also_after_a_restart(water: Path) -> None:
    Drive(water).run(typed("0.112"), typed("0.05"))
    drive = Drive(water).run("u", "u", "U")
    assert [row.readings for row in drive.document.queue[18:20]] == [(Decimal("0.112"),), ()]


def test_a_planned_batch_is_undone_as_one_step(water: Path) -> None:
    before = demo.text("water-day")
    drive = Drive(water).run("P", "paste:N-1\t980\nN-2\t970\n", "enter")
    assert [row.id for row in drive.document.queue if row.id.startswith("N-")] == ["N-1", "N-2"]
    drive = Drive(water).run("u")
    assert drive.document is not None
    assert replace(drive.document, run=replace(drive.document.run, log=None)) == read(before)[0]


def test_remove_asks_first(water: Path) -> None:
    assert len(Drive(water).run("x", typed("n")).document.queue) == 22
    assert [row.id for row in Drive(water).run("x", typed("y")).document.queue][18] == "OS-09"


def test_rows_move(water: Path) -> None:
    assert [row.id for row in Drive(water).run("greater_than_sign").document.queue][18:20] == ["OS-09", "OS-08"]


def test_a_standard_is_left_out_with_a_reason_and_the_curve_follows(water: Path) -> None:
    drive = Drive(water).run("f3", ["down"] * 5, "o", typed("bubble in the cell"))
    standard = drive.document.standard[5]
    assert (standard.use, standard.reason) == (False, "bubble in the cell")
    assert (drive.sheet.calibrations[0].high, drive.sheet.calibrations[0].state) == (
        160,
        "fail",
    )


def test_model_and_weighting_turn_with_a_key(water: Path) -> None:
    calibration = Drive(water).run("f3", "m", typed("bends"), "w", typed("wide range")).document.calibration[0]
    assert (calibration.model, calibration.weighting) == ("quadratic", "1/x")


def test_a_digit_in_a_calculated_cell_goes_to_the_reading(water: Path) -> None:
    assert Drive(water).run("right", typed("0.112")).document.queue[18].readings == (Decimal("0.112"),)


def test_a_reading_no_photometer_gives_is_asked_about(water: Path) -> None:
    assert Drive(water).run(typed("112"), "escape", "escape").document.queue[18].readings == ()
    assert Drive(water).run(typed("112"), typed("yes, saturated")).document.queue[18].readings == (112,)


def test_enter_goes_down_and_what_was_skipped_stays_next(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("down", typed("0.05"), then=lambda drive: seen.append(next_thing(drive.bench)))
    assert drive.bench.item.id == "OS-10"
    assert seen[0].startswith("NEXT read OS-08")


def test_an_inserted_row_asks_what_only_the_bench_knows(water: Path) -> None:
    drive = Drive(water).run("i", typed("dup"), typed("OS-01"), typed("970"))
    row = drive.document.queue[19]
    assert (row.kind, row.of, row.amount, row.silica_gel) == ("duplicate", "OS-01", 970, True)


def test_an_inserted_second_source_proposes_no_value(tmp_path: Path) -> None:
    from datetime import datetime

    from runsheet import methods
    from runsheet.run.text import write
    from runsheet.work import new_run

    method = methods.find("tph-water")
    assert method is not None
    path = tmp_path / "new.toml"
    path.write_text(
        write(new_run.new("new", method, datetime.fromisoformat("2026-03-11T08:00:00+01:00"))), encoding="utf-8"
    )
    drive = Drive(path).run(
        "f4", "i", typed("icv"), "enter", "enter", "i", typed("sample"), typed("Drain 1"), typed("980")
    )
    first, second = drive.document.queue
    assert (first.kind, first.expected) == ("second-source", None)
    assert (second.id, second.amount, second.silica_gel) == ("Drain 1", 980, True)


def test_a_failed_check_is_the_next_thing(water: Path) -> None:
    late = NOW.replace(hour=11, minute=2)
    seen: list[str] = []
    Drive(water, now=late).run("b", typed("0.05"), then=lambda drive: seen.append(next_thing(drive.bench)))
    assert seen[0].startswith("NEXT SB4 fails")


def test_why_this_number_opens_on_its_cell(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("up", "right", "equals_sign", then=lambda drive: seen.extend(drive.screen()))
    text = "\n".join(seen)
    assert "Why this number: OS-07" in text
    assert "result = Cx x factor" in text


def test_jump_goes_to_the_row_a_finding_names(water: Path) -> None:
    drive = Drive(water).run("f5", "j")
    named = drive.sheet.quality
    assert drive.bench.active == "queue"
    assert drive.bench.item.id in {name for finding in named for name in finding.rows}


def test_report_is_written_from_the_screen(water: Path) -> None:
    Drive(water).run("W", "enter")
    assert "<title>Test report. Draft, not issued" in water.with_suffix(".html").read_text(encoding="utf-8")


def test_strange_characters_do_not_get_into_a_number(water: Path) -> None:
    drive = Drive(water).run(["0", "full_stop", "1", "¡", "∞", "2", "enter"])
    assert drive.document.queue[18].readings == (Decimal("0.12"),)


def test_a_second_screen_is_read_only(water: Path) -> None:
    from runsheet.run.disk import store

    drive = Drive(water)
    with pytest.raises(store.LockedError, match="tester"):
        store.open_for_writing(water, "other", NOW)
    drive.store.close()


def test_a_half_typed_entry_is_offered_again(water: Path) -> None:
    Drive(water).run(keys("0.11"))
    seen: list[str] = []
    again = Drive(water)
    again.run(then=lambda drive: seen.append(drive.bench.message))
    assert "half typed when the program ended: 0.11" in seen[0]
    assert Drive(water).run("end", "2", "enter").document.queue[18].readings == (Decimal("0.112"),)
    assert Drive(water).run(then=lambda drive: seen.append(drive.bench.message)).bench.grid.entry is None


def test_the_first_digit_takes_the_place_of_a_half_typed_entry(water: Path) -> None:
    Drive(water).run(keys("0.2"))
    assert Drive(water).run(typed("0.35")).document.queue[18].readings == (Decimal("0.35"),)


def test_a_change_from_outside_is_asked_about_and_both_are_kept(water: Path) -> None:
    import time

    def outside(drive: Drive) -> None:
        drive.path.write_text(demo.text("water-day").replace("Orla Sound", "Other Sound"), encoding="utf-8")
        end = time.monotonic() + 10
        while drive.store.conflict is None and time.monotonic() < end:
            time.sleep(0.05)
        drive.bench._tick()  # noqa: SLF001 - the second's tick, without waiting for it
        assert drive.bench.prompt is not None
        assert drive.store.conflict is not None
        ours = drive.store.conflict.ours
        why = f"{drive.path.name}: another program changed it. Ours is in {ours.name}."
        assert drive.bench.prompt.label == f"{why} Go on with ours or theirs? o/t:"
        drive.bench.prompt.answer("t")

    drive = Drive(water).run(typed("0.112"), then=outside)
    assert "Other Sound" in (drive.document.run.title or "")
    kept = list(water.parent.glob("*.ours-*"))
    assert len(kept) == 1
    assert "0.112" in kept[0].read_text(encoding="utf-8")


def test_the_cursor_goes_to_what_an_undo_brought_back(water: Path) -> None:
    """Wherever it was: what is typed next is typed there. An inserted row that is gone leaves it in the table."""
    seen: list[tuple[str, str]] = []

    def look(drive: Drive) -> None:
        seen.append((drive.bench.active, getattr(drive.bench.item, "id", "")))

    Drive(water).run(typed("0.112"), "f3", "u", then=look)
    Drive(water).run("f2", "U", then=look)
    assert seen == [("queue", "OS-08"), ("queue", "OS-08")]
    Drive(water).run("b", "u", then=look)
    assert seen[-1][0] == "queue"
    assert seen[-1][1]


def test_an_undone_or_repeated_step_names_the_row_it_is_of(water: Path) -> None:
    """The row that came or went itself, not the one that stands in its place then."""
    said: list[str] = []

    def look(drive: Drive) -> None:
        said.append(drive.bench.message)

    Drive(water).run("b", "u", then=look)
    Drive(water).run("U", then=look)
    Drive(water).run("x", typed("y"), "u", then=look)
    Drive(water).run("U", then=look)
    assert said == [
        "undone: inserted SB4",
        "made again: inserted SB4",
        "undone: removed SB4",
        "made again: removed SB4",
    ]


def test_a_step_of_several_edits_names_each_row_as_it_stood_just_then(water: Path) -> None:
    said: list[str] = []

    def look(drive: Drive) -> None:
        said.append(drive.bench.message)

    def several(drive: Drive) -> None:
        run = drive.bench.session.run
        edits = [edit.remove_row(run, "queue", 1), edit.set_value(run, "queue[19].note", "x")]
        edits = [edits[0], replace(edits[1], path="queue[18].note")]
        assert drive.bench.session.commit(edits, "tidied") == ""

    name = Drive(water).run(then=several).document.queue[17].id
    Drive(water).run("u", then=look)
    Drive(water).run("U", then=look)
    assert said == [f"undone: removed ICV1, {name} note", f"made again: removed ICV1, {name} note"]


def test_a_moved_row_is_named_when_its_move_is_undone_or_repeated(water: Path) -> None:
    said: list[str] = []

    def look(drive: Drive) -> None:
        said.append(drive.bench.message)

    Drive(water).run("ctrl+down", "u", then=look)
    Drive(water).run("U", then=look)
    assert said == ["undone: moved OS-08", "made again: moved OS-08"]
