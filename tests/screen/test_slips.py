"""Slips of the hand, and devices that type: what the document holds afterwards."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from runsheet.run import edit
from runsheet.run.model import Sample
from runsheet.screen.page import Page
from runsheet.screen.panes import QUEUE
from runsheet.screen.status_words import next_thing
from tests.make import document, standards
from tests.screen.driving import NOW, Drive, keys, typed

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def read(drive: Drive) -> dict[str, list[str]]:
    """What was read since the day was made, by row."""
    return {row.id: [str(value) for value in row.readings] for row in drive.document.queue[18:] if row.readings}


def asked(seen: list[str]) -> Callable[[Drive], None]:
    return lambda drive: seen.append(drive.bench.prompt.label if drive.bench.prompt else "")


# --- a key struck twice, a device that ends its lines with two characters --------------------------------------------


def test_a_line_feed_after_an_enter_is_no_second_enter(water: Path) -> None:
    drive = Drive(water).run("scan:0.125\n", "scan:0.200\n")
    assert read(drive) == {"OS-08": ["0.125"], "OS-09": ["0.200"]}


def test_lines_as_fast_as_a_device_sends_them_fill_the_rows_in_order(water: Path) -> None:
    drive = Drive(water)

    def without_a_pause(drive: Drive) -> None:
        from textual.events import Key

        moment = drive.moment + 1
        for name in [*keys("0.125"), "enter", "ctrl+j", *keys("0.200"), "enter", "ctrl+j", *keys("0.130"), "enter"]:
            key = Key(name, {"full_stop": "."}.get(name, name if len(name) == 1 else None))
            key.time = moment = moment + 0.001
            drive.bench.on_key(key)

    drive.run(then=without_a_pause)
    assert read(drive) == {"OS-08": ["0.125"], "OS-09": ["0.200"], "OS-10": ["0.130"]}


def test_a_line_feed_of_its_own_is_an_enter(water: Path) -> None:
    assert read(Drive(water).run(keys("0.125"), "ctrl+j")) == {"OS-08": ["0.125"]}


def test_enter_struck_twice_skips_no_row(water: Path) -> None:
    drive = Drive(water).run(typed("0.112"), "enter", "enter", typed("0.050"))
    assert read(drive) == {"OS-08": ["0.112"], "OS-09": ["0.050"]}


def test_enter_with_nothing_typed_stays_on_what_is_to_be_read(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("down", "enter", then=lambda drive: seen.append(drive.bench.message))
    assert drive.bench.item.id == "OS-09"
    assert seen == ["nothing is typed yet; n goes to the next thing to do"]
    assert Drive(water).run("down", "n").bench.item.id == "OS-08"


# --- scans ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["v8-2", "b0017", "q-100", "x77y", "u123", "8-2", "12ab", "0.1.2", "S-1"])
def test_what_names_no_row_is_shown_and_nothing_is_run(text: str, water: Path) -> None:
    before, seen = water.read_bytes(), list[str]()

    def look(drive: Drive) -> None:
        seen.append(drive.bench.message)
        assert drive.bench.app.is_running
        assert (drive.bench.prompt, drive.bench.grid.entry, drive.bench.item.id) == (None, None, "OS-08")

    Drive(water).run(f"scan:{text}\n", then=look)
    assert seen == [f"scanned {text}: no row and no sample has that name"]
    assert water.read_bytes() == before


@pytest.mark.parametrize(("text", "row"), [("OS-10", "OS-10"), ("CCV1", "CCV1"), ("OS-04", "OS-04")])
def test_a_scanned_name_goes_to_its_row(text: str, row: str, water: Path) -> None:
    drive = Drive(water).run(f"scan:{text}")
    assert drive.bench.item.id == row
    assert drive.bench.pane.columns[drive.bench.grid.column].key == "readings"


@pytest.mark.parametrize("code", ["123ABC", "123456"])
def test_the_first_digits_of_a_scan_leave_no_question_for_a_lot(code: str, water: Path) -> None:
    house = '[[material]]\nlot = "ST-1"\nuse = "stock"\nconcentration = 4130\n'
    water.with_name("laboratory.toml").write_text(house, encoding="utf-8")
    drive = Drive(water)
    old = drive.document.standard[0].lot

    def look(drive: Drive) -> None:
        assert drive.bench.column.key == "lot"
        assert drive.bench.prompt is None
        assert drive.bench.message == f"scanned {code}: no row and no sample has that name"

    assert drive.run("f3", "end", "left", f"scan:{code}", then=look).document.standard[0].lot == old


def test_a_scanned_sample_without_a_row_is_not_said_to_be_none(water: Path) -> None:
    said: list[str] = []
    drive = Drive(water)
    sample = edit.insert_row(drive.bench.session.run, "sample", 1, Sample(id="OS-77"))
    assert drive.bench.session.commit([sample]) == ""
    drive.run("scan:OS-77", then=lambda drive: said.append(drive.bench.message))
    assert said == ["scanned OS-77: no row reads that sample"]


def test_a_search_round_a_scan_works_too(water: Path) -> None:
    assert Drive(water).run("slash", "scan:OS-10").bench.item.id == "OS-10"


def test_a_whole_name_is_that_rows_even_where_the_cursor_is_on_it(water: Path) -> None:
    """DUP1 has OS-03 as its parent, and comes next below it."""
    drive = Drive(water).run("slash", typed("OS-03"), "slash", typed("OS-03"))
    assert drive.bench.item.id == "OS-03"
    drive = Drive(water).run("home", "slash", typed("OS-08"), typed("0.125"))
    assert read(drive) == {"OS-08": ["0.125"]}


def test_letters_with_a_pause_are_commands(water: Path) -> None:
    assert len(Drive(water).run("b").document.queue) == 23


def test_letters_that_only_come_together_are_commands_once_the_time_of_a_scan_is_over(water: Path) -> None:
    """Two keys that a slow line brings at once, and no Enter."""
    import time

    from textual.events import Key

    def both(drive: Drive) -> None:
        for name in ("b", "r"):
            key = Key(name, name)
            key.time = drive.moment + 1
            drive.bench.on_key(key)
        assert len(drive.store.run.queue) == 22
        time.sleep(0.001)
        drive.bench.release()

    assert len(Drive(water).run(then=both).document.queue) == 23


# --- questions ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reading", ["0.030", "0.0245"])
def test_escape_at_why_a_reading_changes_goes_back_to_the_entry_and_says_so(water: Path, reading: str) -> None:
    """The foot said that it leaves all as it was, and the entry stood with what was typed."""
    told: list[str] = []

    def look(drive: Drive) -> None:
        told.append(drive.screen()[-1])

    Drive(water).run("up", typed(reading), then=look)
    assert told[0].endswith("Escape goes back to the entry")
    drive = Drive(water).run("up", typed(reading), "escape", then=look)
    assert told[1].endswith("Escape puts the old value back")
    assert str(drive.document.queue[17].readings[0]) == "0.024"


def test_a_number_is_no_reason(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("up", typed("0.030"), typed("0.125"), then=asked(seen))
    assert seen == ["OS-07: 0.024 0.025 -> 0.030. Why does it change?"]
    assert str(drive.document.queue[17].readings[0]) == "0.024"
    drive = Drive(water).run("escape", "n", "up", typed("0.030"), typed("0.125"), typed("misread"))
    assert drive.document.queue[17].readings == (Decimal("0.030"),)
    assert "misread" in water.with_suffix(".toml.log").read_text()
    assert "0.125" not in water.with_suffix(".toml.log").read_text()


@pytest.mark.parametrize("asks", [["v"], ["f3", "m"], ["f3", "o"]])
def test_an_enter_struck_twice_leaves_the_question_and_the_words_are_no_commands(asks: list[str], water: Path) -> None:
    def look(drive: Drive) -> None:
        assert drive.bench.prompt is not None
        assert drive.bench.prompt.line.text == "typed wrong"

    Drive(water).run(*asks, "enter", keys("typed wrong"), then=look)


def test_words_that_a_slow_line_brings_in_one_piece_are_an_answer(water: Path) -> None:
    drive = Drive(water).run("v", "scan:film on the bottle\n")
    assert drive.document.queue[18].void == "film on the bottle"


@pytest.mark.parametrize("text", ["0.125\n", "OS-09\n", "OS-02\n", "yes\n", "x77\n"])
def test_a_scan_answers_no_question(text: str, water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("x", f"scan:{text}", then=asked(seen))
    assert len(drive.document.queue) == 22
    assert seen[0].startswith("Remove OS-08?")


def test_a_scan_of_no_row_is_no_reason(water: Path) -> None:
    drive = Drive(water).run("up", typed("0.030"), "scan:v8-2\n", "scan:x77\n")
    assert [str(value) for value in drive.document.queue[17].readings] == ["0.024", "0.025"]


def test_what_a_prompt_shows_is_replaced_by_the_first_character(water: Path) -> None:
    drive = Drive(water).run("g", typed("dilution"), typed("5"))
    assert drive.document.queue[18].dilution == 5
    assert Drive(water).run("g", typed("dilution"), "left", typed("1"), "enter").document.queue[18].dilution == 15
    assert Drive(water).run("slash", typed("CCV1"), "slash", typed("OS-03")).bench.item.id == "OS-03"


# --- names ----------------------------------------------------------------------------------------------------------


def test_a_name_is_changed_with_e_only_and_commands_work_on_it(water: Path) -> None:
    drive = Drive(water).run("home", typed("0.201"))
    assert [row.id for row in drive.document.queue][18:20] == ["OS-08", "OS-09"]
    assert len(Drive(water).run("home", "b").document.queue) == 23
    assert Drive(water).run("u", "home", "e", "ctrl+u", typed("Drain-3")).document.queue[18].id == "Drain-3"


def test_a_reading_is_no_name(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("home", "e", "ctrl+u", typed("0,201"), then=lambda drive: seen.append(drive.bench.message))
    assert drive.document.queue[18].id == "OS-08"
    assert seen == ["not accepted: a decimal number is no name: it may be a reading"]


def test_a_renamed_row_keeps_its_sample(water: Path) -> None:
    before = Drive(water)
    rows = {row.id: row for row in before.document.queue}
    samples = {sample.id: sample for sample in before.document.sample}
    before.store.close()
    at = list(rows).index("OS-04")
    again = [row.id for row in rows.values() if row.sample == "OS-04"]
    assert again
    drive = Drive(water).run("scan:OS-04", "home", "e", "ctrl+u", typed("Quay-4"), typed("label was misread"))
    after = {row.id: row for row in drive.document.queue}
    assert list(after)[at] == "Quay-4"
    assert {row.sample for row in drive.document.queue if row.id in again} == {"Quay-4"}
    kept = next(sample for sample in drive.document.sample if sample.id == "Quay-4")
    assert kept.site == samples["OS-04"].site
    assert "OS-04" not in {sample.id for sample in drive.document.sample}


# --- what must be seen to -------------------------------------------------------------------------------------------


def test_the_cursor_stays_on_a_row_above_the_range_whatever_falls_due(water: Path) -> None:
    late, seen = NOW.replace(hour=11, minute=30), list[str]()

    def look(drive: Drive) -> None:
        seen.append(next_thing(drive.bench))

    drive = Drive(water, now=late).run(typed("0.95"), then=look)
    assert seen[0].startswith("NEXT insert a blank")
    assert drive.bench.item.id == "OS-08"
    water.with_suffix(".toml.log").unlink()
    water.write_text(demo.text("water-day"), encoding="utf-8")
    rows = Drive(water, now=late).run(typed("0.95"), "d", "enter").document.queue
    assert [row.sample for row in rows if row.dilution == 5 and not row.readings] == ["OS-08"]


def test_the_cursor_stays_on_a_standard_that_spoils_its_curve(water: Path) -> None:
    drive = Drive(water).run("f3", ["down"] * 3, typed("0.274"), typed("read again"))
    assert drive.bench.session.sheet.calibrations[0].state == "fail"
    assert (drive.bench.active, drive.bench.place) == ("standards", 3)


def test_the_cursor_stays_on_a_setup_check_that_fails_until_it_is_made_again(tmp_path: Path) -> None:
    """The dark was offered, then the standards; and once it was repeated the line of the checks still said FAIL."""
    path, seen = tmp_path / "new.toml", list[str]()
    unread = [each | {"readings": []} for each in standards()]
    limits = {"setup": {"zero_absorbance": 0.001, "dark_percent": 0.1}}
    checks = [{"check": "zero"}, {"check": "dark"}]
    path.write_text(document([], setup=checks, method=limits, standard=unread), encoding="utf-8")
    drive = Drive(path).run(typed("0.020"), then=lambda drive: seen.append(next_thing(drive.bench)))
    assert (drive.bench.active, drive.bench.place) == ("setup", 0)
    assert seen == ["NEXT zero fails: put it right; i inserts it again: off 0 A by 0.02 A, limit 0.001"]
    later = Drive(path, now=NOW.replace(minute=55)).run("i", typed("zero"), typed("0.000"))
    assert [str(*each.readings) for each in later.document.setup[:2]] == ["0.020", "0.000"]
    assert later.bench.item.setup.check == "dark"
    assert later.bench.pane.summary(later.sheet) == "1 of 3 pass; zero repeated; dark: not read yet"


def test_the_cursor_stays_on_a_second_source_that_fails(water: Path) -> None:
    """What is read on a curve that is not verified carries Q."""
    seen = list[str]()

    def look(drive: Drive) -> None:
        seen.extend((drive.bench.item.id, next_thing(drive.bench)))

    Drive(water).run("scan:ICV1", typed("0.350"), typed("misread"), then=look)
    assert seen[0] == "ICV1"
    assert seen[1].startswith("NEXT ICV1 fails: put it right and read it again with r: recovers ")


# --- after a row is read --------------------------------------------------------------------------------------------


def at_amount(row: str) -> list[str]:
    return [f"scan:{row}", *["right"] * (column("amount") - column("readings"))]


def column(key: str) -> int:
    return next(at for at, each in enumerate(QUEUE.columns) if each.key == key)


def amount(drive: Drive, name: str) -> str:
    return next(str(row.amount) for row in drive.document.queue if row.id == name)


def test_the_amount_of_a_read_row_changes_with_a_reason_only(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run(*at_amount("OS-06"), typed("990"), typed("0.125"), then=asked(seen))
    assert seen == ["1 result moves, at most 1.1 %. Why?"]
    assert amount(drive, "OS-06") == "1000"
    drive = Drive(water).run("escape", *at_amount("OS-06"), typed("990"), typed("misread the cylinder"))
    assert amount(drive, "OS-06") == "990"
    assert drive.bench.grid.entry is None
    assert "misread the cylinder" in water.with_suffix(".toml.log").read_text()


def test_escape_at_the_question_leaves_the_amount(water: Path) -> None:
    drive = Drive(water).run(*at_amount("OS-06"), typed("990"), "escape", "escape")
    assert amount(drive, "OS-06") == "1000"
    assert drive.bench.grid.entry is None


def test_the_amount_of_an_unread_row_asks_nothing(water: Path) -> None:
    drive = Drive(water).run(*at_amount("OS-09"), typed("980"))
    assert amount(drive, "OS-09") == "980"
    assert drive.bench.prompt is None


def test_one_key_turns_no_accepted_result_without_a_reason(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("f3", "m", then=asked(seen))
    assert drive.document.calibration[0].model == "line"
    assert "results move, at most" in seen[0]
    assert seen[0].endswith("Why?")


def test_a_form_asks_too_and_comes_back(water: Path) -> None:
    pages: list[bool] = []

    def look(drive: Drive) -> None:
        pages.append(drive.bench.query_one(Page).content is not None)

    drive = Drive(water).run("up", "g", typed("extract_ml"), typed("90"), typed("short fill"), then=look)
    assert str(drive.document.queue[17].extract_ml) == "90"
    assert pages == [True]


def test_a_standards_new_reading_says_how_many_results_move(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("f3", ["down"] * 3, typed("0.274"), then=asked(seen))
    assert " results move, at most" in seen[0]
    assert seen[0].count("Why") == 1


def test_a_block_pasted_over_readings_asks_why(water: Path) -> None:
    before = water.read_text()
    Drive(water).run("up", "paste:0.030\n0.040", "enter", typed("0.125"), "escape")
    assert water.read_text() == before
    drive = Drive(water).run("n", "up", "paste:0.030\n0.040", "enter", typed("from the notebook"))
    assert [str(row.readings[0]) for row in drive.document.queue[17:19]] == ["0.030", "0.040"]


@pytest.mark.parametrize("block", ["OS-09\t0.041\nOS-08\t0.052", "OS-09\t0.041\nOS-10\t0.052"])
def test_a_block_pasted_beside_other_rows_renames_none_of_them(water: Path, block: str) -> None:
    """In another order, or from another row on: each reading would have had another bottle's amount."""
    before, seen = water.read_text(), list[str]()
    Drive(water).run("home", f"paste:{block}", then=lambda drive: seen.append(drive.bench.message))
    Drive(water).run("home", f"paste:{block}", "enter")
    assert seen == ["not pasted: line 1, id: OS-09 is another row: paste in the order of the rows"]
    assert water.read_text() == before


def test_a_block_with_the_names_of_its_rows_or_new_ones_is_pasted(water: Path) -> None:
    rows = Drive(water).run("home", "paste:OS-08\t0.041\nOS-77\t0.052", "enter").document.queue[18:20]
    assert [(row.id, str(row.readings[0])) for row in rows] == [("OS-08", "0.041"), ("OS-77", "0.052")]


def test_a_standard_left_out_and_taken_back_moves_no_result_without_a_reason(water: Path) -> None:
    drive = Drive(water).run("f3", "down", "down", "o", typed("bubble"), "o")
    assert drive.document.standard[2].use is False
    drive = Drive(water).run("escape", "f3", "down", "down", "o", typed("no bubble after all"))
    assert drive.document.standard[2].use is True


# --- usual or not ---------------------------------------------------------------------------------------------------

UNUSUAL = "Unusual: 0.112 is 1/8929 of the nominal 1000."


def test_a_reading_typed_into_the_column_of_amounts_is_asked_about_once(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run(*at_amount("OS-09"), typed("0.112"), then=lambda drive: seen.append(drive.bench.message))
    assert seen == [f"{UNUSUAL} Enter takes it, Escape goes back"]
    assert amount(drive, "OS-09") == "1000"
    assert amount(Drive(water).run("escape", *at_amount("OS-09"), typed("0.112"), "enter"), "OS-09") == "0.112"


def test_what_is_unusual_is_shown_while_it_is_typed(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run(*at_amount("OS-09"), keys("0.112"), then=lambda drive: seen.append(drive.bench.message))
    assert seen == [UNUSUAL]


def test_escape_goes_back_to_what_is_unusual(water: Path) -> None:
    drive = Drive(water).run(*at_amount("OS-09"), typed("98"), "escape", typed("0"))
    assert amount(drive, "OS-09") == "980"


def test_no_reading_that_comes_in_answers_what_is_asked(water: Path) -> None:
    drive = Drive(water).run(*at_amount("OS-09"), typed("0.112"), "scan:0.125\n", "scan:0.200\n")
    assert (amount(drive, "OS-09"), read(drive)) == ("1000", {})
    drive = Drive(water).run("escape", "escape", *at_amount("OS-09"), typed("0.112"), typed("0.125"))
    assert (amount(drive, "OS-09"), read(drive)) == ("1000", {})
    drive = Drive(water).run("escape", "escape", *at_amount("OS-09"), typed("0.112"), typed("0.125"), "enter")
    assert amount(drive, "OS-09") == "0.112"


def test_a_transmittance_is_no_absorbance(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run(typed("56.6"), then=asked(seen))
    assert seen == ["OS-08: 56.6 is no usual absorbance. Why is it right?"]
    assert read(drive) == {}


def test_a_dilution_of_no_house_is_asked_about(water: Path) -> None:
    to = ["right"] * (column("dilution") - column("readings"))
    drive = Drive(water).run("down", to, typed("15"))
    assert drive.document.queue[19].dilution == 1
    assert Drive(water).run("escape", "scan:OS-09", to, typed("15"), "enter").document.queue[19].dilution == 15


def test_the_house_says_which_dilutions_are_usual(water: Path) -> None:
    (water.parent / "laboratory.toml").write_text("[laboratory]\ndilutions = [4, 15]\n")
    to = ["right"] * (column("dilution") - column("readings"))
    assert Drive(water).run("down", to, typed("15")).document.queue[19].dilution == 15


def test_a_standard_off_the_others_is_asked_about_and_the_cursor_stays(water: Path) -> None:
    import re

    text = water.read_text()
    last = text.index('id = "S5"')
    water.write_text(text[:last] + re.sub(r"readings = \[[^]]*\]\nat = [^\n]*", "readings = []", text[last:], count=1))
    seen: list[str] = []
    drive = Drive(water).run(typed("0.300"), then=lambda drive: seen.append(drive.bench.message))
    assert seen[0].startswith("Unusual: S5 is ")
    assert drive.document.standard[5].readings == ()
    drive = Drive(water).run("escape", "escape", typed("0.300"), "enter", then=lambda d: seen.append(d.bench.message))
    assert [str(each) for each in drive.document.standard[5].readings] == ["0.300"]
    assert (drive.bench.active, drive.bench.item.standard.id) == ("standards", "S5")
    assert "worst S" in seen[1]


# --- readings in the wrong place ------------------------------------------------------------------------------------


def test_a_reading_taken_out_takes_its_time_along(water: Path) -> None:
    """The next reading of the row had the time of the one that was not its own."""
    seen: list[str] = []
    taken_out = ("up", "e", "ctrl+u", "enter")
    Drive(water).run(*taken_out, then=asked(seen))
    assert seen[0] == "OS-07: 0.024 0.025 -> nothing. Why does it change?"
    drive = Drive(water).run(*taken_out, typed("read on another row"))
    row = next(row for row in drive.document.queue if row.id == "OS-07")
    assert (row.readings, row.at) == ((), None)
    drive = Drive(water).run(typed("0.030"))
    row = next(row for row in drive.document.queue if row.id == "OS-07")
    assert (row.readings, row.at) == ((Decimal("0.030"),), NOW)
    drive = Drive(water).run("u", "u")
    row = next(row for row in drive.document.queue if row.id == "OS-07")
    assert row.at == datetime.fromisoformat("2026-03-11T10:34:00+01:00")


def test_two_rows_read_under_each_others_names_are_exchanged_with_one_reason(water: Path) -> None:
    drive = Drive(water).run(typed("0.200"), typed("0.125"), "scan:OS-09", "y", typed("OS-08"), typed("0.3"))
    assert read(drive) == {"OS-08": ["0.200"], "OS-09": ["0.125"]}
    drive = Drive(water).run("scan:OS-09", "y", "enter", typed("bottles in the wrong order"))
    assert read(drive) == {"OS-08": ["0.125"], "OS-09": ["0.200"]}
    drive = Drive(water).run("u")
    assert read(drive) == {"OS-08": ["0.200"], "OS-09": ["0.125"]}


def test_the_times_go_with_the_readings(water: Path) -> None:
    before = Drive(water)
    at = {row.id: row.at for row in before.document.queue}
    before.store.close()
    after = Drive(water).run("scan:OS-07", "y", typed("OS-06"), typed("labels")).document.queue
    assert {row.id: row.at for row in after if row.id in ("OS-06", "OS-07")} == {
        "OS-06": at["OS-07"],
        "OS-07": at["OS-06"],
    }


def test_a_reading_in_the_row_above_goes_to_the_one_it_was_meant_for(water: Path) -> None:
    drive = Drive(water).run(typed("0.125"), "scan:OS-08", "y", typed("OS-09"), typed("one row too high"))
    assert read(drive) == {"OS-09": ["0.125"]}


def test_one_filling_is_struck_out_with_a_reason_and_stays_in_sight(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("up", "k", "down", "enter", typed("bubble"), then=lambda d: seen.extend(d.screen()))
    row = drive.document.queue[17]
    assert (row.readings, row.struck, row.struck_reason) == ((Decimal("0.024"),), (Decimal("0.025"),), "bubble")
    assert drive.sheet.rows[17].mean == 0.024
    assert "OS-07: 0.025 struck out: bubble" in seen
    assert any("0.024 (0.0" in line for line in seen)
    drive = Drive(water).run("n", "up", "k", "enter", typed("no bubble"))
    row = drive.document.queue[17]
    assert (row.readings, row.struck, row.struck_reason) == ((Decimal("0.024"), Decimal("0.025")), (), None)


def test_the_only_filling_is_not_struck_out(water: Path) -> None:
    seen: list[str] = []
    before = water.read_text()
    Drive(water).run("scan:OS-06", "k", then=lambda drive: seen.append(drive.bench.message))
    assert seen == ["only one filling: void the row (v), or read it again (r)"]
    assert water.read_text() == before


def test_an_answer_without_a_letter_exchanges_and_strikes_nothing(water: Path) -> None:
    before = water.read_text()
    Drive(water).run("scan:OS-07", "y", typed("OS-06"), typed("12"), "escape", "k", "enter", typed("3"), "escape")
    assert water.read_text() == before


# --- dilutions, forms, columns --------------------------------------------------------------------------------------


def test_d_asks_the_dilution_and_offers_the_houses_step_at_or_above_the_advice(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run(typed("0.95"), "d", then=asked(seen))
    assert seen == ["OS-08: diluted 5x; 3x is the least. Enter, or type another:"]
    assert len(drive.document.queue) == 22
    rows = Drive(water).run("scan:OS-08", "d", "enter").document.queue
    assert [str(row.dilution) for row in rows if row.sample == "OS-08"] == ["5"]


@pytest.mark.parametrize("wanted", [["r"], ["d", "enter"]])
def test_one_more_reading_of_a_sample_that_waits_to_be_read_again_is_asked_about(
    water: Path, wanted: list[str]
) -> None:
    seen: list[str] = []
    to_os_04 = ["up"] * 7
    drive = Drive(water).run(*to_os_04, *wanted, then=asked(seen))
    assert seen == ["OS-04-1 waits to read OS-04 again. Another one? y/n:"]
    assert len(drive.document.queue) == 22
    assert len(Drive(water).run(*to_os_04, *wanted, typed("n")).document.queue) == 22
    assert len(Drive(water).run(*to_os_04, *wanted, typed("y")).document.queue) == 23


def test_a_row_above_the_range_is_not_read_again_as_it_is_unasked(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run(typed("0.95"), "r", then=asked(seen))
    assert seen == ["OS-08 is above the range, and d reads it diluted. Read it as it is? y/n:"]
    rows = Drive(water).run("scan:OS-08", "r", typed("y")).document.queue
    assert [(row.id, row.dilution) for row in rows if row.sample == "OS-08"] == [("OS-08-1", 1)]


def test_another_dilution_replaces_the_one_offered(water: Path) -> None:
    rows = Drive(water).run(typed("0.95"), "d", typed("10")).document.queue
    assert [str(row.dilution) for row in rows if row.sample == "OS-08"] == ["10"]


def test_a_row_not_read_yet_gets_the_dilution_itself(water: Path) -> None:
    drive = Drive(water).run("d", typed("10"))
    assert (len(drive.document.queue), drive.document.queue[18].dilution) == (22, 10)


def test_a_refused_value_leaves_the_question_with_its_text(water: Path) -> None:
    seen: list[tuple[str, str]] = []

    def look(drive: Drive) -> None:
        assert drive.bench.prompt is not None
        seen.append((drive.bench.prompt.line.text, drive.bench.prompt.trouble))

    before = water.read_text()
    Drive(water).run("d", typed("0.5"), then=look)
    Drive(water).run("g", typed("extract_ml"), typed("1o0"), then=look)
    assert seen == [
        ("0.5", "not accepted: expected a number of at least 1, found 0.5"),
        ("1o0", "not accepted: '1o0' is no number"),
    ]
    assert water.read_text() == before
    drive = Drive(water).run("g", typed("extract_ml"), typed("1o0"), "backspace", "backspace", typed("10"))
    assert str(drive.document.queue[18].extract_ml) == "110"


def test_tab_goes_to_the_next_column_to_type_in(water: Path) -> None:
    bench = Drive(water).run("tab").bench
    assert bench.pane.columns[bench.grid.column].key == "amount"
    bench = Drive(water).run("tab", keys("980"), "tab", keys("2"), "tab").bench
    assert bench.pane.columns[bench.grid.column].key == "extract_ml"
    assert (str(bench.session.run.queue[18].amount), str(bench.session.run.queue[18].dilution)) == ("980", "2")
    bench = Drive(water).run("shift+tab").bench
    assert bench.pane.columns[bench.grid.column].key == "id"


def test_name_bracket_and_kind_never_scroll_away(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("end", then=lambda drive: seen.extend(drive.screen()))
    heads = next(line for line in seen if line.startswith("id"))
    assert heads.split()[:2] == ["id", "kind"]
    assert "note" in heads


def test_forms_and_steps_speak_of_rows_and_limits(water: Path) -> None:
    seen: list[str] = []

    def look(drive: Drive) -> None:
        content = drive.bench.query_one(Page).content
        assert content is not None
        seen.extend(content.texts)

    Drive(water).run("L", then=look)
    line = next(line for line in seen if line.endswith("method.check.recovery_percent"))
    assert line.startswith("check standard: recovery, %")
    Drive(water).run(typed("0.112"), "u", then=lambda drive: seen.append(drive.bench.message))
    assert seen[-1] == "undone: OS-08 reading, OS-08 time read"


def test_what_is_typed_over_a_plan_picks_nothing_from_it(water: Path) -> None:
    """Enter does all of it: a list cut to what was typed would show less than is done."""
    seen: list[list[str]] = []
    off = ["f4", "b", *typed("0.112")]
    Drive(water).run(off, "H", then=lambda drive: seen.append(drive.screen()))
    water.write_text(demo.text("water-day"), encoding="utf-8")
    water.with_name("water.toml.log").unlink()
    drive = Drive(water).run(off, "H", keys("csb5"), then=lambda drive: seen.append(drive.screen()))
    foot = "Enter does all of this, Escape nothing"
    plain, with_keys = (lines[1 : lines.index(foot)] for lines in seen)
    assert with_keys == plain
    rows = len(drive.document.queue)
    assert len(Drive(water).run("H", keys("csb5"), "enter").document.queue) > rows


def test_what_takes_an_unusual_dilution_is_in_sight_at_80_columns(water: Path) -> None:
    """It stood behind the house's dilutions, where a line of 80 columns ends."""
    seen: list[str] = []
    Drive(water).run("d", *keys("7"), "enter", then=lambda drive: seen.append(drive.screen()[-1]))
    assert seen[0].startswith("Enter takes it; unusual: 7x is none of the house's dilutions")
