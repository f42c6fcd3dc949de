"""Own limits are offered only where no cause of a violation is in the points they stand on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.command import main
from runsheet.history import charts
from runsheet.report import history
from runsheet.report.blocks import Facts
from tests.history.folder import control, opened, put

if TYPE_CHECKING:
    from pathlib import Path


def offered(made: charts.Chart) -> str:
    """Say what the chart says of own limits."""
    (facts,) = [block for block in history.one(made) if isinstance(block, Facts)]
    return dict(facts.pairs)["Own limits"]


def test_a_violation_of_the_run_that_is_judged_is_not_in_the_own_limits(tmp_path: Path) -> None:
    for day in range(20):
        put(tmp_path, day, [control("LCS1", 100 + day % 2 * 2)])
    put(tmp_path, 30, [control("LCS1", 150)])
    with opened(tmp_path) as tables:
        ((series, of),) = [found for found in charts.all_series(tables).items() if found[0].what == "control"]
        points = charts.points_of(tables, series, 100)
    judged = charts.chart(series, points, of, judged_from=20)
    assert [found.at for found in judged.latest] == [20]
    assert "may replace the method's" in offered(judged)
    # With it among them the mean rises: it, and the ninth to the twentieth in a row below the mean, violate a rule.
    assert "the cause of 13 violations is still in them" in offered(charts.chart(series, points, of))


def test_a_violation_in_a_baseline_older_than_the_points_shown_is_still_in_its_limits(tmp_path: Path) -> None:
    """The baseline's points were looked for among those shown, where none of them was, and so none violated a rule."""
    for day in range(35):
        put(tmp_path, day, [control("LCS1", 130 if day == 10 else 100 + day % 2 * 2)])
    given = ["--of", "control", "--by", "R. Holt", "--why", "begun", "--to", "2026-03-31"]
    assert main.main(["baseline", str(tmp_path), *given]) == 0
    with opened(tmp_path) as tables:
        every, few = (charts.all_charts(tables, latest, what="control")[0] for latest in (100, 12))
    assert few.points[0].moment > "2026-03-31T23"
    assert "is still in them" in offered(every)  # the outlier, and the run below the mean that it raises
    assert offered(few) == offered(every)
