"""Control charts over runs: what is charted, the limits (NIST/SEMATECH e-Handbook 6.3.2.2), the violations."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet.history.baselines import Baseline, Point
from runsheet.history.charts import Chart, all_charts, all_series, chart, only_apart, points_of
from runsheet.report.history import status
from tests.history.folder import control, opened, put
from tests.make import at, row, standards

if TYPE_CHECKING:
    from pathlib import Path

HANDBOOK = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
"""e-Handbook 6.3.2.2: mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159."""


def charts(folder: Path, what: str = "control", latest: int = 100) -> list[Chart]:
    with opened(folder) as tables:
        return all_charts(tables, latest, what=what)


def test_the_published_individuals_chart_through_ten_runs(tmp_path: Path) -> None:
    for day, value in enumerate(HANDBOOK):
        put(tmp_path, day, [control("LCS1", value)])
    (chart,) = charts(tmp_path)
    assert [point.value for point in chart.points] == pytest.approx(HANDBOOK)
    assert chart.limits is not None
    assert chart.limits.mean == pytest.approx(50.81)
    assert round(chart.limits.moving_range, 4) == 1.8778
    assert [round(limit, 4) for limit in chart.limits.action] == [45.8159, 55.8041]
    assert chart.violations == ()
    assert chart.provisional
    assert chart.own is None


def test_a_duplicates_point_has_the_limit_of_its_rpd(tmp_path: Path) -> None:
    """The finding names the sample first; a difference near the reporting limit is held against another limit."""
    limits = {"reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100}
    method = {"batch": {"duplicate_rpd_percent": 20}, "limits": limits}
    for day, absorbance in enumerate((0.5, 0.1)):
        put(tmp_path, day, [row("A", absorbance), row("D", absorbance, kind="duplicate", of="A")], method=method)
    (chart,) = charts(tmp_path, "duplicate")
    assert [(point.low, point.high) for point in chart.points] == [(None, 20), (None, None)]


REFERENCE = {"id": "C1", "model": "line", "material": "reference oil"}
NOTHING_SAID: dict[str, tuple[str, list[dict[str, Any]]]] = {
    "another material, without a response factor": ("control", [control("LCS1", 200, material="hexadecane")]),
    "a control above the range": ("control", [control("LCS1", 300)]),
    "a spike too small": (
        "spike", [row("A", 0.25), row("AS", 0.26, kind="spike", of="A", added_mg=0.5)],
    ),
    "a pair of which one is above the range": (
        "duplicate", [row("A", 0.45), row("AD", 0.6, kind="duplicate", of="A")],
    ),
    "a pair below the detection limit": (
        "duplicate", [row("A", 0.002), row("AD", 0.006, kind="duplicate", of="A")],
    ),
    "a pair of which one is of dry weight": (
        "duplicate",
        [row("A", 0.2, matrix="solid"), row("AD", 0.2, matrix="solid", kind="duplicate", of="A", solids_percent=50)],
    ),
}  # fmt: skip
"""Figures that the rule about their row takes for no verdict."""


@pytest.mark.parametrize("case", NOTHING_SAID)
def test_a_figure_that_says_nothing_gives_no_limits(case: str, tmp_path: Path) -> None:
    """A control of another material at 200 % was in the laboratory's own limits, and in its uncertainty."""
    what, rows = NOTHING_SAID[case]
    limits = {"detection": 0.5, "reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100}
    put(tmp_path, 0, rows, calibration=REFERENCE, method={"unit": "mg/L", "limits": limits})
    with opened(tmp_path) as tables:
        assert all_charts(tables, what=what) == []
        assert [(series.what, count) for series, count in only_apart(tables) if series.what == what] == [(what, 1)]


def test_own_limits_come_from_twenty_points_on(tmp_path: Path) -> None:
    for day in range(20):
        put(tmp_path, day, [control("LCS1", 100 + (day % 5 - 2))])
    (chart,) = charts(tmp_path)
    s = (20 * 2 / 19) ** 0.5  # values -2 to 2 about the mean, four times each
    assert chart.own == pytest.approx((100 - 3 * s, 100 + 3 * s))
    assert not chart.provisional


def test_nine_on_one_side_is_named_at_the_ninth_point(tmp_path: Path) -> None:
    values = [97, 103, 97, 103, 97, 103, 90, 90, 90, 90, *[102 + at % 2 for at in range(9)]]
    for day, value in enumerate(values):
        put(tmp_path, day, [control("LCS1", value)])
    (chart,) = charts(tmp_path)
    assert [(found.rule, found.words) for found in chart.latest if found.rule == 2] == [
        (2, "the ninth in a row above the mean")
    ]


def test_a_last_range_beyond_its_limit_is_not_in_control(tmp_path: Path) -> None:
    """The table said "in control", and the chart below it "1 beyond it"."""
    jump = [*[99.0, 101.0] * 9, 95.8, 104.3]
    for day, value in enumerate(jump):
        put(tmp_path, day, [control("LCS1", value)])
    (made,) = charts(tmp_path)
    assert made.latest == ()
    assert status(made) == "moving range beyond its limit"
    put(tmp_path, len(jump), [control("LCS1", 103.0)])
    (after,) = charts(tmp_path)
    assert status(after) == "in control"


def test_a_run_that_is_judged_is_not_in_control_by_its_last_range_alone(tmp_path: Path) -> None:
    """Its first control jumped from the run before it, and its second stood beside that."""
    for day, value in enumerate([*[99.0, 101.0] * 9, 95.8]):
        put(tmp_path, day, [control("LCS1", value)])
    put(tmp_path, 19, [control("LCS1", 104.3), control("LCS2", 103.0)])
    (all_shown,) = charts(tmp_path)
    of_run = chart(all_shown.series, all_shown.points, all_shown.of, judged_from=19)
    assert of_run.latest == ()
    assert status(of_run) == "moving range beyond its limit"
    assert status(all_shown) == "in control"


def test_no_range_is_beyond_a_limit_that_equal_points_give(tmp_path: Path) -> None:
    """A baseline of equal points gives 0: by it a point back on the mean was beyond its limit."""
    for day, value in enumerate([*[100.0] * 15, 103.0, 100.0]):
        put(tmp_path, day, [control("LCS1", value)])
    (shown,) = charts(tmp_path)
    equal = tuple(Point(path="", row="", at="", value=Decimal(100)) for _ in range(15))
    frozen = Baseline(what="control", by="M. Tarn", at=at(0), why="a first month", digest="", point=equal)
    back = chart(shown.series, shown.points, shown.of, judged_from=16, baseline=frozen)
    assert (status(back), sum(back.ranges_beyond)) == ("provisional", 0)


def test_a_chart_whose_points_another_program_takes_away_meanwhile_is_none(tmp_path: Path) -> None:
    put(tmp_path, 0, [control("LCS1", 100)])
    with opened(tmp_path) as tables:
        tables.connection.execute("DELETE FROM point")
        assert all_charts(tables) == []


def test_void_superseded_and_held_results_are_not_charted(tmp_path: Path) -> None:
    rows = [
        control("LCS1", 100, report=False, reason="read again"),
        control("LCS2", 50, void="spilt"),
        control("LCS3", 60),
        row("CCV1", 0.5, kind="check", expected=100),
        control("LCS4", 70),
    ]
    put(tmp_path, 0, rows, method={"check": {"recovery_percent": [90, 110], "closing": False}})
    assert charts(tmp_path) == []
    with opened(tmp_path) as tables:
        kept = tables.rows("SELECT row, counts FROM point WHERE what = 'control' ORDER BY rowid")
    assert kept == [("LCS1", 0), ("LCS3", 0), ("LCS4", 0)]


def test_a_check_that_fails_is_charted_as_it_was_found(tmp_path: Path) -> None:
    rows = [row("CCV1", 0.5, kind="check", expected=100), row("SB1", 0.02, kind="blank")]
    put(tmp_path, 0, rows, method={"check": {"recovery_percent": [90, 110]}, "blank": {"absorbance": 0.005}})
    assert [chart.points[0].value for chart in charts(tmp_path, "check")] == pytest.approx([200])
    (blank,) = charts(tmp_path, "blank")
    assert (blank.points[0].value, blank.points[0].low, blank.points[0].high) == pytest.approx((0.02, -0.005, 0.005))


def test_the_chart_of_displayed_blanks_is_in_the_unit_they_are_told_in(tmp_path: Path) -> None:
    shown: dict[str, Any] = {"instrument": {"reads": "concentration", "step": 0.1}, "calibration": {"model": "direct"}}
    put(tmp_path, 0, [row("SB1", 0.5, kind="blank")], method={"blank": {"concentration": 2.0}}, standard=[], **shown)
    (blank,) = charts(tmp_path, "blank")
    assert (blank.series.unit, blank.points[0].high) == ("mg/L of extract", 2.0)


@pytest.mark.parametrize(
    "other",
    [
        {"instrument": {"name": "another", "step": 0.001}},
        {"solvent": {"name": "S-316"}},
        {"method": {"name": "another"}},
        {"calibration": {"cell_mm": 50}},
    ],
)
def test_what_cannot_be_compared_makes_a_chart_of_its_own(tmp_path: Path, other: dict[str, Any]) -> None:
    rows = [row("CCV1", 0.5, kind="check", expected=100), control("LCS1", 100)]
    put(tmp_path, 0, rows)
    put(tmp_path, 1, rows, **other)
    assert sorted(len(chart.points) for chart in charts(tmp_path, "check")) == [1, 1]
    procedure = charts(tmp_path)
    assert [len(chart.points) for chart in procedure] == ([1, 1] if "method" in other else [2])
    changed = [change.what for chart in procedure for change in chart.changes]
    assert changed == ([] if "method" in other else ["photometer, cell or solvent"])


def test_the_fractions_are_charted_apart(tmp_path: Path) -> None:
    put(tmp_path, 0, [control("LCS1", 100), control("LCS2", 90, silica_gel=True)])
    assert {chart.series.fraction: chart.points[0].row for chart in charts(tmp_path)} == {
        "oil_grease": "LCS1",
        "petroleum": "LCS2",
    }


def test_slope_and_lowest_level_of_each_finished_curve(tmp_path: Path) -> None:
    put(tmp_path, 0, [])
    (slope,), (lowest,) = charts(tmp_path, "slope"), charts(tmp_path, "lowest-level")
    assert slope.points[0].value == pytest.approx(0.0025)
    assert lowest.points[0].value == pytest.approx(0, abs=1e-9)
    assert (slope.points[0].row, slope.series.model, slope.points[0].low) == ("C1", "line none", None)


def test_only_the_latest_points_are_shown_in_order_of_time_across_zones(tmp_path: Path) -> None:
    for day, name in ((2, "a"), (0, "b"), (1, "c"), (3, "d")):
        put(tmp_path, day, [control("LCS1", 100 + day)], name=name)
    (chart,) = charts(tmp_path, latest=3)
    assert [point.path for point in chart.points] == ["c.toml", "a.toml", "d.toml"]
    assert chart.of == 4


@pytest.mark.parametrize(("at", "count"), [("9999-12-31T23:59:59-14:00", [1]), ("0001-01-01T00:00:00+14:00", [])])
def test_a_time_at_the_end_of_the_calendar_is_no_other_case(tmp_path: Path, at: str, count: list[int]) -> None:
    """Before its curve was read, a control has no recovery to chart."""
    put(tmp_path, 0, [control("LCS1", 100, at=datetime.fromisoformat(at))])
    assert [len(chart.points) for chart in charts(tmp_path)] == count


def test_the_spread_of_replicates_is_in_the_unit_its_rule_judges_it_in(tmp_path: Path) -> None:
    put(tmp_path, 0, [row("A", 0.100, 0.110)], method={"batch": {"replicate_percent": 10}})
    (chart,) = charts(tmp_path, "replicates")
    assert chart.series.unit == "A"
    assert chart.points[0].value == pytest.approx(0.005)


def test_a_limit_that_follows_the_amount_or_the_reading_is_no_change_of_the_methods(tmp_path: Path) -> None:
    limits = {"reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100}
    for day, (amount, absorbance) in enumerate([(1000, 0.1), (950, 0.3)]):
        rows = [row("MB1", 0.001, kind="method-blank", amount=amount), row("A", absorbance, absorbance)]
        put(tmp_path, day, rows, method={"batch": {"replicate_percent": 10}, "limits": limits})
    made = [*charts(tmp_path, "method-blank"), *charts(tmp_path, "replicates")]
    assert [len({point.high for point in chart.points}) for chart in made] == [2, 2]
    assert [list(chart.changes) for chart in made] == [[], []]


def test_the_noise_of_float_arithmetic_is_no_change_of_a_figure(tmp_path: Path) -> None:
    """One standard through zero, as a span: the error there is 0, and what float arithmetic makes of it no figure."""
    for day in range(12):
        put(
            tmp_path,
            day,
            [],
            standard=standards(xs=[30 + day], ys=[0.0731 + day / 1000], at=at(1440 * day)),
            calibration={"model": "line-through-zero"},
        )
    values = {point.value for point in charts(tmp_path, "lowest-level")[0].points}
    assert values == {0}


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (0.009, "off the mean, but all points of its limits are equal: with sigma 0 not judged"),
        (0.001, "provisional"),
    ],
)
def test_a_figure_off_points_that_are_all_equal_is_not_in_control(tmp_path: Path, now: float, said: str) -> None:
    """Sigma is 0: no rule of a distance from the mean applies, and a blank nine times as high met none."""
    for day in range(13):
        put(tmp_path, day, [row("SB1", 0.001 if day < 12 else now, kind="blank")])
    with opened(tmp_path) as tables:
        (series,) = [each for each in all_series(tables) if each.what == "blank"]
        points = points_of(tables, series, 100)
    assert status(chart(series, points, 13, judged_from=12)) == said
