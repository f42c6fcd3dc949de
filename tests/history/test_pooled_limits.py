"""Pooled and frozen limits beside limits worked out the long way: random runs on two photometers, computed with numpy.

The individuals chart is the e-Handbook's (6.3.2.2): mean -+ 3 x mean moving range / 1.128.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pytest

from runsheet.command import main
from runsheet.history.charts import Chart, all_charts
from tests.effort import tries
from tests.history.folder import control, opened, put
from tests.make import SLOPE, row

if TYPE_CHECKING:
    from pathlib import Path

PHOTOMETERS = ("first", "second")
NAMED = 26
"""Of so many days on, from some of which a baseline is taken."""


class Told(NamedTuple):
    """What a random day holds: its control's recovery, or none that counts, and its check standard's."""

    photometer: str
    control: float
    counts: bool
    check: float


def days(folder: Path, seed: int) -> list[Told]:
    """Write random runs, and say what is in them."""
    rng, made = random.Random(seed), []  # noqa: S311 - repeatable
    for day in range(rng.randint(NAMED, 34)):
        told = Told(
            rng.choice(PHOTOMETERS),
            round(rng.gauss(98, 4) + (25 if rng.random() < 0.05 else 0), 3),
            rng.random() < 0.85,
            round(rng.gauss(100, 2), 3),
        )
        fields: dict[str, Any] = {} if told.counts else {"report": False, "reason": "read again"}
        rows = [
            row("CCV1", SLOPE * told.check, kind="check", expected=100),
            control("LCS1", told.control, **fields),
        ]
        put(folder, day, rows, instrument={"name": told.photometer, "reads": "absorbance", "step": 0.001})
        made.append(told)
    return made


def charts_of(folder: Path, what: str) -> list[Chart]:
    with opened(folder) as tables:
        return all_charts(tables, what=what)


def agree(chart: Chart, given: list[float], judged: list[float]) -> None:
    """The chart's limits are those of the values given; the points of rule 1 are those outside them."""
    mean, sigma = np.mean(given), np.mean(np.abs(np.diff(given))) / 1.128
    assert chart.limits is not None
    assert (chart.limits.n, chart.of) == (len(given), len(judged))
    assert chart.limits.mean == pytest.approx(mean, rel=1e-9)
    assert chart.limits.sigma == pytest.approx(sigma, rel=1e-9)
    assert chart.limits.action == pytest.approx((mean - 3 * sigma, mean + 3 * sigma), rel=1e-9)
    assert [point.value for point in chart.points] == pytest.approx(judged, rel=1e-9)
    outside = [at for at, value in enumerate(judged) if abs(value - mean) > 3 * sigma]
    assert [found.at for found in chart.violations if found.rule == 1] == outside


@pytest.mark.parametrize("seed", range(tries(12)))
def test_limits_are_those_worked_out_the_long_way(
    seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "runs"
    made = days(folder, seed)
    (pooled,) = charts_of(folder, "control")
    recoveries = [day.control for day in made if day.counts]
    agree(pooled, recoveries, recoveries)
    assert [point.value for point in pooled.apart] == pytest.approx([d.control for d in made if not d.counts], rel=1e-9)

    apart = {chart.series.instrument: chart for chart in charts_of(folder, "check")}
    assert set(apart) == {day.photometer for day in made}
    for name, chart in apart.items():
        checks = [day.check for day in made if day.photometer == name]
        agree(chart, checks, checks)

    spoilt = next(at for at, day in enumerate(made) if day.counts)
    taken = [day.control for at, day in enumerate(made[:NAMED]) if day.counts and at != spoilt]
    to = pooled.points[[day.counts for day in made[:NAMED]].count(True) - 1].at[:10]
    asked = ["--of", "control", "--by", "R. Holt", "--why", "begun", "--to", to]
    asked += ["--leave-out", f"day-{spoilt:03}.toml:LCS1=bottle broken"]
    code = main.main(["baseline", str(folder), *asked])
    if len(taken) < 20:
        assert code == 2
        assert f"{len(taken)} points; a baseline needs 20" in capsys.readouterr().err
    else:
        assert code == 0
        (frozen,) = charts_of(folder, "control")
        agree(frozen, taken, recoveries)
