"""What a day needs beside readings, done on the screen alone: the document afterwards."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import evaluate
from runsheet.command.main import main
from runsheet.screen.page import Page
from runsheet.screen.status_words import footer, next_thing
from tests.screen.driving import NOW, Drive, keys, typed

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def empty(tmp_path: Path) -> Path:
    path = tmp_path / "new.toml"
    assert main(["new", str(path), "--method", "tph-water"]) == 0
    return path


@pytest.fixture
def unnamed(water: Path) -> Path:
    """The invented day without the table of its batch."""
    text = re.sub(r"\[\[batch\]\]\n(?:[^\[\n].*\n|\n)*", "", water.read_text())
    water.write_text(re.sub(r"(?m)^batch = .*\n", "", text))
    return water


# --- another calibration --------------------------------------------------------------------------------------------


def test_another_calibration_has_the_last_ones_levels_emptied_and_is_verified(water: Path) -> None:
    before = Drive(water).run().document
    drive = Drive(water).run("N", "enter", "enter", "enter")
    after = drive.document
    new = [each for each in after.standard if each.calibration == "C2"]
    assert [each.concentration for each in new] == [each.concentration for each in before.standard]
    assert {each.readings for each in new} == {()}
    assert {each.calibration for each in after.standard[: len(before.standard)]} == {"C1"}
    planned = [row for row in after.queue if row.calibration == "C2"]
    assert [row.kind for row in planned] == ["blank", "second-source", "check"]
    assert [row.id for row in after.queue[18:21]] == [row.id for row in planned]
    assert drive.bench.active == "standards"
    assert drive.bench.item.standard.id == new[0].id


def test_next_is_a_standard_of_the_calibration_that_was_begun(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("N", "enter", "enter", "enter", then=lambda drive: seen.append(next_thing(drive.bench)))
    assert seen[0].startswith("NEXT read standard S6, 0 mg/L: 6 to read for C2")


def test_what_was_read_before_keeps_its_results(water: Path) -> None:
    results = {row.id: row.result for row in evaluate(Drive(water).run().document, NOW).rows}
    after = evaluate(Drive(water).run("N", "enter", "enter", "enter").document, NOW)
    assert {row.id: row.result for row in after.rows if row.id in results} == results


def test_another_cell_and_lot_are_typed_over_what_is_proposed(water: Path) -> None:
    after = Drive(water).run("N", typed("50"), typed("T-3301"), typed("ST-9")).document
    made = after.calibration[-1]
    assert (made.id, made.cell_mm, made.solvent_lot) == ("C2", 50, "T-3301")
    new = [each for each in after.standard if each.calibration == "C2"]
    assert {(each.lot, each.certificate, each.expires) for each in new} == {("ST-9", None, None)}


@pytest.mark.parametrize("before", [0, 1, 2])
def test_escape_leaves_no_trace_of_a_calibration(before: int, water: Path) -> None:
    old = water.read_bytes()
    Drive(water).run("N", *["enter"] * before, "escape")
    assert water.read_bytes() == old


def test_a_calibration_is_one_step(water: Path) -> None:
    old = Drive(water).run().document
    back = Drive(water).run("N", "enter", "enter", "enter", "u").document
    assert replace(back, run=replace(back.run, log=None)) == old


# --- the lamp was off -----------------------------------------------------------------------------------------------


def test_after_the_lamp_was_off_another_warm_up_and_its_checks_are_judged_by_themselves(water: Path) -> None:
    before = Drive(water).run().document
    drive = Drive(water).run("K", "enter")
    made = drive.document.setup[len(before.setup) :]
    assert [each.check for each in made] == [each.check for each in before.setup]
    assert made[0].started == NOW
    assert [result.state for result in drive.sheet.setup[len(before.setup) :]] == ["todo"] * len(made)
    later = NOW + timedelta(minutes=16)
    drive = Drive(water, now=later).run(
        "n", *(typed(text) for text in ("0.000", "100.0", "0.0", "0.000", "0.000 0.001", "0.001")), "n", typed("0.112")
    )
    assert {result.state for result in drive.sheet.setup} == {"pass"}


def test_a_midday_warm_up_cut_short_no_longer_fails_once_the_row_read_too_early_is_void(water: Path) -> None:
    Drive(water).run("K", "enter")
    early = NOW + timedelta(minutes=4)
    drive = Drive(water, now=early).run("f4", "n", "f4", typed("0.112"))
    assert drive.sheet.setup[7].state == "fail"
    drive = Drive(water, now=early).run("f4", "slash", typed("OS-08"), "v", typed("lamp was not warm"))
    assert drive.sheet.setup[7].state == "todo"
    drive = Drive(water, now=NOW + timedelta(minutes=20)).run("f4", "slash", typed("OS-09"), typed("0.112"))
    assert drive.sheet.setup[7].state == "pass"


# --- another batch --------------------------------------------------------------------------------------------------


def test_rows_so_far_take_the_first_batchs_name(unnamed: Path) -> None:
    drive = Drive(unnamed).run("E", "enter", "enter")
    run = drive.document
    assert [batch.id for batch in run.batch] == ["B1", "B2"]
    assert (run.batch[0].started, run.batch[1].started) == (None, NOW)
    named = {row.kind: row.batch for row in run.queue}
    assert (named["sample"], named["method-blank"], named["control"]) == ("B1", "B1", "B1")
    assert (named["blank"], named["check"]) == (None, None)


def test_the_rows_so_far_may_be_the_batch_that_is_noted(unnamed: Path) -> None:
    run = Drive(unnamed).run("E", "down", "enter", "enter").document
    assert [batch.id for batch in run.batch] == ["B1"]
    assert {row.batch for row in run.queue} == {None}


def test_a_second_batch_after_a_noted_one_orphans_none(unnamed: Path) -> None:
    Drive(unnamed).run("E", "down", "enter", "enter")
    run = Drive(unnamed).run("E", "enter").document
    assert [batch.id for batch in run.batch] == ["B1", "B2"]
    assert {row.batch for row in run.queue if row.kind == "sample"} == {"B1"}


@pytest.mark.parametrize("presses", [("E", "escape"), ("E", "enter", "escape"), ("E", "down", "enter", "escape")])
def test_escape_leaves_no_trace_of_a_batch(presses: tuple[str, ...], unnamed: Path) -> None:
    old = unnamed.read_bytes()
    Drive(unnamed).run(*presses)
    assert unnamed.read_bytes() == old


def test_a_plan_asks_which_batch(water: Path) -> None:
    Drive(water).run("E", "enter")
    listed = "id,amount\nN-1,990\nN-2,980"
    run = Drive(water).run("P", f"paste:{listed}", "enter", "enter").document
    assert {row.id: row.batch for row in run.queue if row.id in ("N-1", "N-2")} == {"N-1": "B2", "N-2": "B2"}
    run = Drive(water).run("u", "P", f"paste:{listed}", typed("B1"), "enter").document
    assert {row.batch for row in run.queue if row.id in ("N-1", "N-2")} == {"B1"}


def test_a_standard_read_while_the_lamp_warms_up_is_told_and_not_asked_about(empty: Path) -> None:
    told: list[str] = []

    def look(drive: Drive) -> None:
        told.append(drive.bench.message)

    drive = Drive(empty).run("enter", "f3", keys("0.001"), then=look)
    assert told == ["The lamp is on for 0 min, the method asks for 15: read now, that is a finding."]
    assert not drive.document.standard[0].readings
    drive = Drive(empty).run("escape", "f3", typed("0.001"), keys("0.02"), then=look)
    assert [str(each) for each in drive.document.standard[0].readings] == ["0.001"]
    assert told[1] == ""


# --- the photometer -------------------------------------------------------------------------------------------------


def test_a_photometer_that_reads_transmittance_in_one_step(empty: Path) -> None:
    run = Drive(empty).run("F", typed("instrument.reads"), typed("transmittance")).document
    assert (run.instrument.reads, str(run.instrument.step)) == ("transmittance", "0.1")
    assert {each.check for each in run.setup if each.reads == "transmittance"} == {
        "zero",
        "stability",
        "cell",
        "recheck-zero",
    }
    back = Drive(empty).run("u").document
    assert (back.instrument.reads, {each.reads for each in back.setup}) == ("absorbance", {None})


def test_a_transmittance_photometer_records_its_zero(empty: Path) -> None:
    Drive(empty).run("F", typed("instrument.reads"), typed("transmittance"))
    drive = Drive(empty).run("f2", "home", "down", "down", *["up"] * 3, "enter", "n", typed("100.0"))
    zero = next(result for result in drive.sheet.setup if result.setup.check == "zero")
    assert (str(zero.setup.readings[0]), zero.value, zero.state) == ("100.0", 0.0, "pass")


def test_a_direct_reading_analyser_in_one_step_and_back(empty: Path) -> None:
    run = Drive(empty).run("F", typed("instrument.reads"), typed("concentration")).document
    assert (run.instrument.reads, run.calibration[0].model) == ("concentration", "direct")
    assert [each.check for each in run.setup] == ["warm-up"]
    run = Drive(empty).run("F", typed("calibration[1].model"), typed("line")).document
    assert (run.instrument.reads, run.calibration[0].model) == ("absorbance", "line")
    assert len(run.setup) == 7


def test_escape_after_a_step_is_not_said_to_leave_all_as_it_was(empty: Path) -> None:
    seen: list[str] = []
    change = ("F", typed("instrument.reads"), typed("concentration"))
    Drive(empty).run("L", typed("check.recovery_percent"), typed("80 120"), then=lambda d: seen.extend(d.screen()))
    assert seen[-1] == "Enter confirms, Escape leaves it as set in this run"
    assert seen[-5].startswith("F4 Sample queue: ")
    label = "Where does the limit (check standard: recovery, %) come from? Enter: set in this run:"
    assert label in " ".join(" ".join(seen[-5:-2]).split())
    drive = Drive(empty).run("L", typed("check.every_readings"), typed("12"), "escape", then=look_at_form)
    method = drive.document.method
    assert method.check is not None
    assert method.sources is not None
    assert (method.check.every_readings, method.sources["check.every_readings"]) == (12, "set in this run")
    seen.clear()
    Drive(empty).run(*change, then=lambda drive: seen.extend(drive.screen()))
    assert seen[-1] == "Enter confirms, Escape leaves it without one"
    Drive(empty).run("F", typed("instrument.reads"), typed("absorbance"))
    assert Drive(empty).run(*change, "escape", then=look_at_form).document.instrument.reads == "concentration"


def test_escape_leaves_a_row_that_was_inserted_and_says_so(empty: Path) -> None:
    seen: list[str] = []
    asked = ("f4", "i", typed("matrix spike"))
    Drive(empty).run(*asked, then=lambda drive: seen.extend(drive.screen()))
    assert seen[-1].endswith("Escape leaves the new row as it is")
    Drive(empty).run("u")
    drive = Drive(empty).run(*asked, "escape", then=lambda drive: seen.append(drive.bench.message))
    assert [row.kind for row in drive.document.queue] == ["spike"]
    assert seen[-1] == "the new row MS1 stays as it is"


def look_at_form(drive: Drive) -> None:
    """The form is there again, and nothing is said that is not so."""
    assert drive.bench.prompt is None
    assert drive.bench.query_one(Page).content is not None
    assert "nothing changed" not in drive.bench.message


@pytest.mark.parametrize(("answer", "limit"), [("2", "2"), ("", None)])
def test_a_blank_limit_in_absorbance_is_asked_for_in_what_is_read_now(
    answer: str, limit: str | None, empty: Path
) -> None:
    """Nothing is made of the old one: how many mg/L an absorbance is was never measured with this photometer."""
    asked: list[str] = []

    def look(drive: Drive) -> None:
        asked.append(drive.bench.prompt.label if drive.bench.prompt else "")

    change = ("F", typed("instrument.reads"), typed("concentration"))
    Drive(empty).run(*change, then=look)
    told = "The method's limit on a blank is 0.005 A, and this photometer reads mg/L"
    assert asked == [f"{told}. Its limit in mg/L of extract, Enter: none yet:"]
    assert main(["new", str(empty.with_name("again.toml")), "--method", "tph-water"]) == 0
    drive = Drive(empty.with_name("again.toml")).run(*change, typed(answer), typed("our own blanks"))
    blank = drive.document.method.blank
    assert blank is not None
    assert (blank.concentration is None, str(blank.concentration)) == (limit is None, str(limit))
    assert str(blank.absorbance) == "0.005"


def test_what_the_photometer_reads_is_refused_another_scale_once_anything_was_read(water: Path) -> None:
    seen: list[str] = []
    old = water.read_bytes()
    Drive(water).run(
        "F", typed("instrument.reads"), typed("transmittance"),
        then=lambda drive: seen.append(drive.bench.prompt.trouble if drive.bench.prompt else ""),
    )  # fmt: skip
    assert "zero was read" in seen[0]
    assert water.read_bytes() == old


# --- rows ------------------------------------------------------------------------------------------------------------


def test_a_duplicate_of_a_given_sample_has_what_it_shares_with_it(soil: Path) -> None:
    drive = Drive(soil)
    name = next(row.id for row in drive.store.run.queue if row.kind == "sample" and row.solids_percent)
    run = drive.run("f4", "i", typed("DUP"), typed(name), typed("10.1")).document
    parent = next(row for row in run.queue if row.id == name)
    made = next(row for row in run.queue if row.amount == Decimal("10.1") and row.kind == "duplicate")
    assert (made.of, made.solids_percent, made.dilution, made.silica_gel) == (
        name,
        parent.solids_percent,
        parent.dilution,
        parent.silica_gel,
    )


def test_a_field_blank_is_asked_its_name_and_amount(water: Path) -> None:
    run = Drive(water).run("i", typed("FB"), typed("FB-OUT"), typed("1010")).document
    made = next(row for row in run.queue if row.id == "FB-OUT")
    assert (made.kind, made.amount) == ("field-blank", 1010)


# --- a list with bad lines ------------------------------------------------------------------------------------------


def test_a_list_tells_what_is_unusual_in_it_and_escape_goes_back_to_it(water: Path) -> None:
    seen: list[str] = []
    listed = "id,amount\nOS-90,0.985\nOS-90,990"
    Drive(water).run("P", f"paste:{listed}", then=lambda drive: seen.extend(drive.screen()))
    assert any("unusual: OS-90, 0.985 is 1/1015 of the nominal 1000" in line for line in seen)
    feet: list[str] = []
    Drive(water).run("P", f"paste:{listed}", "enter", then=lambda drive: feet.append(footer(drive.bench, 80)))
    assert feet == ["Enter confirms, Escape goes back to the list"]


def test_a_pasted_block_tells_what_is_unusual_in_it(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("paste:0.112\n56.2\n", then=lambda drive: seen.extend(drive.screen()))
    assert any(line.startswith("unusual: OS-09, 56.2 A lets through next to nothing") for line in seen)


LISTED = 'id,amount,site\nN-1,990,weir\nN-2,9x0,"mill, race"\nOS-01,940,quay\n'


def shown(drive: Drive) -> list[str]:
    content = drive.bench.query_one(Page).content
    return [content.title, *content.texts] if content is not None else []


def test_bad_lines_stand_first_and_nothing_is_added_before_they_are_seen_to(water: Path) -> None:
    old, seen = water.read_bytes(), list[str]()
    Drive(water).run("P", f"paste:{LISTED}", then=lambda drive: seen.extend(shown(drive)))
    assert seen[0] == "2 lines to put right or leave out; Enter asks"
    assert seen[1].startswith("WRONG line 3, column amount:")
    assert seen[1].endswith('N-2,9x0,"mill, race"')
    assert seen[2].startswith("WRONG line 4, column id: expected a new id, found OS-01")
    assert water.read_bytes() == old


def test_two_rows_of_one_sample_are_one_sample(water: Path) -> None:
    seen: list[str] = []
    listed = "id,sample,amount,silica_gel\nN-1,N,990,no\nN-1T,N,990,yes\n"
    Drive(water).run("P", f"paste:{listed}", then=lambda drive: seen.extend(shown(drive)))
    assert seen[0].endswith("for 1 sample")


def test_a_bad_line_is_put_right_and_another_left_out_by_name(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water)
    right = ["home", *["right"] * 5, "delete", *keys("6"), "enter"]
    drive.run(
        "P", f"paste:{LISTED}", "enter", right, "enter", "ctrl+u", "enter",
        then=lambda drive: seen.extend(shown(drive)),
    )  # fmt: skip
    assert seen[0].endswith("for 2 samples")
    assert seen[1] == "left out: OS-01,940,quay"
    run = Drive(water).run(
        "P", f"paste:{LISTED}", "enter", right, "enter", "ctrl+u", "enter", "enter",
        then=lambda drive: seen.append(drive.bench.message),
    ).document  # fmt: skip
    assert [(row.id, row.amount) for row in run.queue if row.id.startswith("N-")] == [("N-1", 990), ("N-2", 960)]
    assert "1 left out: done" in seen[-1]
    assert next(sample.site for sample in run.sample if sample.id == "N-2") == "mill, race"


def test_the_question_for_a_bad_line_says_what_is_wrong_with_it(water: Path) -> None:
    seen: list[str] = []

    def look(drive: Drive) -> None:
        seen.append(" ".join(line.strip() for line in drive.screen()))

    Drive(water).run("P", f"paste:{LISTED}", "enter", then=look)
    assert "line 3, column amount: '9x0' is no number. Put the line right; empty leaves it out:" in seen[0]


def test_the_cells_of_a_list_that_tabs_separate_can_be_typed(water: Path) -> None:
    """No line of the screen takes a tab: a line without its tabs could only be left out."""
    seen: list[str] = []

    def look(drive: Drive) -> None:
        seen.append(" ".join(line.strip() for line in drive.screen()))

    listed = "id\tamount\tsite\nN-1\t990\tweir\nN-2\t9x0\tmill, race\nOS-01\t940\tquay\n"
    Drive(water).run("P", f"paste:{listed}", "enter", then=look)
    assert "Put the line right, with semicolons for its tabs; empty leaves it out: N-2;9x0;mill, race" in seen[0]
    new = [*keys("N-2;960;mill, race"), "enter"]
    run = Drive(water).run("P", f"paste:{listed}", "enter", new, "enter", "ctrl+u", "enter", "enter").document
    assert [row.amount for row in run.queue if row.id == "N-2"] == [960]
    assert [sample.site for sample in run.sample if sample.id == "N-2"] == ["mill, race"]


def test_escape_from_a_bad_line_goes_back_to_the_list(water: Path) -> None:
    old, seen = water.read_bytes(), list[str]()
    Drive(water).run("P", f"paste:{LISTED}", "enter", "escape", then=lambda drive: seen.extend(shown(drive)))
    assert seen[0] == "2 lines to put right or leave out; Enter asks"
    assert water.read_bytes() == old
