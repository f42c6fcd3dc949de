"""Forms, search, filters, pasted blocks, actions, the first screen: keys pressed, document looked at."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, read
from runsheet.screen.app import RunsheetApp
from runsheet.screen.content import Content
from runsheet.screen.page import Page
from runsheet.screen.status_words import next_thing
from runsheet.screen.style import Look
from runsheet.screen.welcome import Welcome, recent, remember
from tests.screen.driving import Drive, typed

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path


def looking(seen: list[str]) -> Callable[[Drive], None]:
    return lambda drive: seen.extend(drive.screen())


def test_a_fact_is_changed_on_its_form(water: Path) -> None:
    """Another lot with the expiry of the one before is asked about first; a second Enter takes it."""
    other = ("F", typed("solvent.lot"), "ctrl+u", typed("T-9"))
    asked = Drive(water)
    seen: list[str] = []
    asked.run(*other, then=looking(seen))
    assert asked.document.solvent.lot == "T-2207"
    assert any("expires 2026-12-31 stays as given for T-2207" in line for line in seen)
    assert Drive(water).run(*other, "enter").document.solvent.lot == "T-9"


def test_hexane_is_refused_with_the_reason(water: Path) -> None:
    seen: list[str] = []
    drive = Drive(water).run("F", typed("solvent.name"), "ctrl+u", typed("n-hexane"), then=looking(seen))
    assert drive.document.solvent.name == "tetrachloroethylene"
    assert any("C-H" in line for line in seen)


def test_a_limit_of_the_method_is_an_edit_of_the_run(water: Path) -> None:
    drive = Drive(water).run("L", typed("check.recovery"), "ctrl+u", typed("80 120"))
    check = drive.document.method.check
    assert check is not None
    assert check.recovery_percent == (80, 120)


def test_the_bottle_and_its_weighing_on_the_rows_form(water: Path) -> None:
    drive = Drive(water).run("g", typed("ph_adjusted"), typed("no"), "escape", "g", typed("silica_gel_g"), typed("3.0"))
    assert [sample.pH_adjusted for sample in drive.document.sample if sample.id == "OS-08"] == [False]
    assert str(drive.document.queue[18].silica_gel_g) == "3.0"


def test_search_goes_to_the_next_row_that_has_it(water: Path) -> None:
    drive = Drive(water).run("slash", typed("CCV"))
    assert drive.bench.item.id == "CCV1"


def test_filters_show_fewer_rows_and_edit_the_right_one(water: Path) -> None:
    counts: list[int] = []
    Drive(water).run("f", then=lambda drive: counts.append(len(drive.bench.grid.items)))
    assert counts == [4]
    drive = Drive(water).run("f", "down", typed("0.2"))
    assert [str(value) for value in drive.document.queue[19].readings] == ["0.2"]


def test_a_pasted_block_is_one_step(water: Path) -> None:
    drive = Drive(water).run("paste:0.11\t970\n0.12\t990\n", "enter")
    assert [(str(row.readings[0]), row.amount) for row in drive.document.queue[18:20]] == [("0.11", 970), ("0.12", 990)]
    assert Drive(water).run("u").document.queue[18].readings == ()


def test_a_block_with_a_wrong_cell_changes_nothing(water: Path) -> None:
    before, seen = water.read_bytes(), list[str]()
    Drive(water).run("paste:0.11\nabc\n", then=lambda drive: seen.append(drive.bench.message))
    assert "line 2" in seen[0]
    assert water.read_bytes() == before


def test_fill_down_copies_an_amount_and_no_reading(water: Path) -> None:
    drive = Drive(water).run("quotation_mark")
    assert drive.document.queue[19].readings == ()
    drive = Drive(water).run(["right"] * 5, "quotation_mark")
    assert drive.document.queue[19].amount == drive.document.queue[18].amount


def test_what_was_done_about_a_finding_is_kept_and_reported(soil: Path) -> None:
    drive = Drive(soil, now=demo.NOW["soil-day"]).run("f5", "t", typed("lamp supply put right"))
    action = drive.document.action[0]
    assert (action.rule, action.rows, action.taken) == ("check", ("CCV3",), "lamp supply put right")
    from runsheet.report import outline, text
    from runsheet.report.making import Report

    assert "acted on: lamp supply put right" in text.write(outline.outline(Report(drive.sheet)))


def test_palette_finds_a_command_and_runs_it(water: Path) -> None:
    seen: list[str] = []
    Drive(water).run("colon", typed("cautions for"), then=looking(seen))
    assert any("licensed practice decides" in line for line in seen)


def test_help_has_every_key(water: Path) -> None:
    drive = Drive(water, size=(100, 180))
    seen: list[str] = []
    drive.run("question_mark", then=looking(seen))
    text = "\n".join(seen)
    for command in drive.bench.commands:
        assert command.title in text


@pytest.mark.parametrize(("answer", "name"), [("day one ", "day one"), ("KB-03.11", "KB-03.11"), ("x.TOML", "x")])
def test_a_new_run_from_the_first_screen(
    answer: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What stands behind a dot is part of the name, and the file is one that the commands over a folder read."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    (tmp_path / "laboratory.toml").write_text('[laboratory]\nname = "Orla House"\n', encoding="utf-8")

    async def go() -> object:
        app = RunsheetApp(Welcome(Look()), "ansi-dark")
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press(*typed("og-water"))
            await pilot.press("ctrl+u", *typed(answer))
        return app.return_value

    path = asyncio.run(go())
    assert str(path) == f"{name}.toml"
    run, problems = read((tmp_path / f"{name}.toml").read_text(encoding="utf-8"))
    assert run is not None
    assert not problems
    assert (run.run.id, run.method.name, run.run.laboratory) == (name, "og-water", "Orla House")


def test_recent_runs_are_those_still_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    one, two = tmp_path / "one.toml", tmp_path / "two.toml"
    for path in (one, two, one):
        path.write_text("", encoding="utf-8")
        remember(path)
    assert [path.name for path in recent()] == ["one.toml", "two.toml"]
    two.unlink()
    assert [path.name for path in recent()] == ["one.toml"]


def test_why_works_in_every_pane(soil: Path) -> None:
    for pane, said in (
        ("f2", "minutes from lamp on"),
        ("f3", "net, zero standard: subtract"),
        ("f5", "recovers within its limits"),
    ):
        seen: list[str] = []
        Drive(soil, now=demo.NOW["soil-day"]).run(pane, "equals_sign", then=looking(seen))
        assert said in "\n".join(seen)


def test_a_direct_reading_day(tmp_path: Path) -> None:
    from datetime import datetime

    from runsheet import methods
    from runsheet.run.text import write
    from runsheet.work import new_run

    method, start = methods.find("direct-water"), datetime.fromisoformat("2026-03-11T08:00:00+01:00")
    assert method is not None
    path, seen = tmp_path / "direct.toml", list[str]()
    path.write_text(write(new_run.new("direct", method, start)), encoding="utf-8")
    drive = Drive(path, now=start)
    drive.run("enter", "f3", typed("0.0"), then=lambda drive: seen.append(next_thing(drive.bench)))
    later = start.replace(hour=9)
    drive = Drive(path, now=later).run(
        "f3",
        typed("160.0"),
        typed("80.6"),
        "f4",
        "i",
        typed("sample"),
        typed("A"),
        typed("1000"),
        typed("45.2"),
    )
    row = drive.sheet.rows[0]
    assert [standard.readings != () for standard in drive.document.standard] == [True, True, True]
    assert (row.extract, drive.sheet.calibrations[0].state) == (45.2, "pass")
    assert row.result == pytest.approx(4.52)


def test_every_page_opens_on_the_smallest_screen(water: Path) -> None:
    for key in ("question_mark", "colon", "equals_sign", "p", "R", "F", "L", "g", "C", "I", "X", "f9"):
        Drive(water, size=(1, 1)).run(key, "escape")


def test_a_choice_beyond_the_end_of_a_list_is_the_last_one(water: Path) -> None:
    chosen: list[int] = []

    def choose(drive: Drive) -> None:
        page = drive.bench.query_one(Page)
        page.open(Content("three", ["a", "b", "c"], chosen.append))
        for key in (*["down"] * 9, "enter"):
            page.key(key, None)

    Drive(water, size=(1, 1)).run(then=choose)
    assert chosen == [2]


def test_a_report_is_written_over_another_file_only_when_a_person_says_so(water: Path) -> None:
    out = water.with_suffix(".txt")
    out.write_text("something else", encoding="utf-8")
    name = ["ctrl+u", *typed(str(out))]
    Drive(water).run("W", name, typed("n"))
    assert out.read_text(encoding="utf-8") == "something else"
    Drive(water).run("W", name, typed("y"))
    assert "Test report. Draft" in out.read_text(encoding="utf-8")


def test_one_action_answers_all_findings_of_a_rule_where_that_is_said(soil: Path) -> None:
    text = soil.read_text(encoding="utf-8").replace("0.224", "0.150", 1)  # CCV1 fails as CCV3 does
    soil.write_text(text, encoding="utf-8")
    now = demo.NOW["soil-day"]
    failing = [f.rows for f in Drive(soil, now=now).run().sheet.quality if f.rule == "check" and f.state == "fail"]
    assert len(failing) > 1
    one = Drive(soil, now=now).run("f5", "t", typed("lamp put right"), typed("n"))
    assert [action.rows for action in one.document.action] == [failing[0]]
    soil.write_text(text, encoding="utf-8")
    soil.with_name(f"{soil.name}.log").unlink()
    both = Drive(soil, now=now).run("f5", "t", typed("lamp put right"), typed("y"))
    assert set(both.document.action[-1].rows) == {name for rows in failing for name in rows}
    assert all(f.acted_on for f in both.sheet.quality if f.rule == "check" and f.state == "fail")
