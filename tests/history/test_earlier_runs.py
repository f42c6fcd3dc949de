"""What the history says of an open run: judged by the runs before it only."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import evaluate, read
from runsheet.command import main
from runsheet.history import earlier_runs, open_run
from runsheet.history.extract import latest, moment, points
from runsheet.report import history, text
from tests.history.folder import control, opened, put
from tests.make import at, row, run

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.compute.results import Finding

STEADY = (98, 102, 99, 101, 97, 103, 99, 101, 98, 102)


def warned(folder: Path, open_: Path) -> list[Finding]:
    run, _ = read(open_.read_text(encoding="utf-8"))
    assert run is not None
    mine = list(points(open_.name, evaluate(run, latest(run))))
    with opened(folder) as tables:
        return list(
            earlier_runs.warnings(mine, earlier_runs.past(tables, open_.name, min(point.moment for point in mine)))
        )


def before(folder: Path, values: tuple[float, ...]) -> None:
    for day, value in enumerate(values):
        put(folder, day, [control("LCS1", value)])


def test_a_point_beyond_the_action_limits_of_the_earlier_runs(tmp_path: Path) -> None:
    before(tmp_path, STEADY)
    (found,) = warned(tmp_path, put(tmp_path, 20, [control("LCS1", 112)], name="open"))
    assert (found.rule, found.rows, found.state) == ("history", ("LCS1",), "warn")
    assert found.why == "control recovery: more than 3 sigma above the mean, over 10 points before this run (rule 1)"
    assert found.value is not None
    # mean 100, moving ranges 4 3 2 4 6 4 2 3 4: mean 32/9, sigma 32/9/1.128
    assert abs((found.high or 0) - (100 + 3 * 32 / 9 / 1.128)) < 1e-9


def test_this_control_is_the_ninth_on_one_side(tmp_path: Path) -> None:
    before(tmp_path, (*STEADY, *[95 + at % 2 for at in range(4)], *[101 + at % 2 for at in range(8)]))
    (found,) = warned(tmp_path, put(tmp_path, 40, [control("LCS1", 101.5)], name="open"))
    assert "the ninth in a row above the mean" in found.why


def test_a_steady_run_and_a_short_history_warn_of_nothing(tmp_path: Path) -> None:
    before(tmp_path, STEADY[: earlier_runs.ENOUGH - 1])
    assert warned(tmp_path, put(tmp_path, 30, [control("LCS1", 150)], name="open")) == []
    before(tmp_path, STEADY)
    assert warned(tmp_path, put(tmp_path, 30, [control("LCS1", 101)], name="open")) == []


def test_runs_read_later_and_the_run_itself_do_not_judge_it(tmp_path: Path) -> None:
    before(tmp_path, STEADY)
    for day in range(100, 110):
        put(tmp_path, day, [control("LCS1", 112 + day % 3)])
    (found,) = warned(tmp_path, put(tmp_path, 20, [control("LCS1", 112)], name="open"))
    assert "over 10 points" in found.why


def test_two_controls_of_the_run_are_judged_in_their_order(tmp_path: Path) -> None:
    before(tmp_path, STEADY)
    two = put(tmp_path, 20, [control("LCS1", 108), control("LCS2", 108.5)], name="open")
    assert [(found.rows, found.why.partition(":")[2][:14]) for found in warned(tmp_path, two)] == [
        (("LCS2",), " 2 of 3 in a r")
    ]


def test_a_run_begins_with_its_first_reading() -> None:
    """What was read between its first reading and its last is no earlier run."""
    day = run([row("A", 0.2, at=at(300))], run={"id": "T", "opened": at(-60)})
    assert open_run._begun(day) == moment(at(21))  # noqa: SLF001 - the one place that decides which runs come before


def test_a_run_made_days_before_it_is_read_comes_after_all_that_was_read_meanwhile(tmp_path: Path) -> None:
    """It was loaded as of its opening, and of ten runs said to be before it, those after that day were left out."""
    before(tmp_path, STEADY)
    made = {"id": "open", "opened": at(24 * 60 * 2)}
    put(tmp_path, 20, [], name="open", run=made, standard=[])
    run_made, _ = read((tmp_path / "open.toml").read_text(encoding="utf-8"))
    assert run_made is not None
    history_of = open_run.load(tmp_path / "open.toml", run_made)
    later, _ = read(put(tmp_path, 20, [control("LCS1", 112)], name="open", run=made).read_text(encoding="utf-8"))
    assert later is not None
    why = [each.why for each in history_of.judged(evaluate(later, latest(later))).quality if each.rule == "history"]
    assert len(why) == 1
    assert "over 10 points before this run" in why[0]


def test_a_frozen_baseline_judges_a_run_and_gives_its_chart_the_same_limits(tmp_path: Path) -> None:
    """Its points are no points before this run: here they are later ones."""
    for day in range(10, 30):
        put(tmp_path, day, [control("LCS1", STEADY[day % len(STEADY)])])
    assert main.main(["baseline", str(tmp_path), "--of", "control", "--by", "R. Holt", "--why", "begun"]) == 0
    document = put(tmp_path, 0, [control("LCS1", 112)], name="open")
    made, _ = read(document.read_text(encoding="utf-8"))
    assert made is not None
    found = open_run.load(document, made)
    sheet = found.judged(evaluate(made, latest(made)))
    (warning,) = [each for each in sheet.quality if each.rule == "history"]
    assert warning.why.endswith("over 20 points of its baseline (rule 1)")
    (chart,) = found.charts(sheet)
    assert chart.limits is not None
    assert chart.limits.action == (warning.low, warning.high)
    told = " ".join(text.write(history.one(chart)).split())
    assert "of the baseline" in told
    assert "before this run" not in told
