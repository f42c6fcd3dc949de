"""Thirty runs with a planted drift, an outlier, a lot, an analyst and a photometer changed: all of it is told."""

from __future__ import annotations

import errno
import itertools
import os
from dataclasses import replace
from statistics import NormalDist
from typing import TYPE_CHECKING

import pytest

from runsheet.command import main
from runsheet.history import baselines, uncertainty
from runsheet.history.charts import Chart, all_charts, chart, limits_of, wrong_baselines
from runsheet.report import history, text
from runsheet.run.disk import files
from tests.history.folder import control, opened, put

if TYPE_CHECKING:
    from pathlib import Path

BASE, DRIFT_FROM, RUNS = 24, 30, 44
OUTLIER, LOT, ANALYST, PHOTOMETER = 26, 27, 28, 29
QUIET = [NormalDist().inv_cdf((n * 7 % 24 + 0.5) / 24) for n in range(24)]
"""Normal quantiles in a shuffled order: a process in control, with no luck in it."""


def value(day: int) -> float:
    made = 100 + 2 * QUIET[day % len(QUIET)]
    if day == OUTLIER:
        made += 15
    return made - 0.9 * (day - DRIFT_FROM) if day > DRIFT_FROM else made


@pytest.fixture
def planted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    folder = tmp_path / "runs"
    for day in range(RUNS):
        made = control("LCS1", value(day), lot="K-2" if day >= LOT else "K-1")
        analyst = "B. Okoro" if day >= ANALYST else "M. Tarn"
        instrument = {"name": "second" if day >= PHOTOMETER else "first", "reads": "absorbance", "step": 0.001}
        put(folder, day, [made], run={"id": f"R{day}", "analyst": analyst}, instrument=instrument)
    return folder


def freeze(folder: Path, *more: str) -> int:
    days = sorted(folder.glob("day-*.toml"))
    with opened(folder) as tables:
        to = all_charts(tables, what="control")[0].points[BASE - 1].at[:10]
    assert len(days) >= BASE
    return main.main(
        ["baseline", str(folder), "--of", "control", "--by", "R. Holt", "--why", "first quarter", "--to", to, *more]
    )


def only(folder: Path) -> Chart:
    with opened(folder) as tables:
        (made,) = all_charts(tables, what="control")
    return made


def test_the_drift_is_flagged_within_six_runs_of_its_start_by_the_frozen_baseline(planted: Path) -> None:
    assert freeze(planted) == 0
    made = only(planted)
    assert made.baseline is not None
    assert len(made.baseline.values) == BASE
    drifting = {signal.at for signal in made.cusum if signal.side == "below"}
    drifting |= {found.at for found in made.violations if found.at > DRIFT_FROM}
    assert min(drifting) <= DRIFT_FROM + 6
    assert min(at for at in drifting) > DRIFT_FROM, "nothing before it began"
    assert set(range(DRIFT_FROM + 7, RUNS)) <= drifting, "and it lasts"


def test_without_one_the_drift_is_in_the_limits_and_that_is_said(planted: Path) -> None:
    made = only(planted)
    assert made.limits is not None
    wide = made.limits.action[0]
    freeze(planted)
    frozen = only(planted).limits
    assert frozen is not None
    assert frozen.action[0] > wide
    assert frozen.mean == pytest.approx(100, abs=0.5)


def test_the_outlier_and_each_change_are_named(planted: Path) -> None:
    freeze(planted)
    made = only(planted)
    assert next(found.at for found in made.violations if found.rule == 1) == OUTLIER
    changes = {change.what: (change.at, change.old, change.new) for change in made.changes}
    assert changes["lot"] == (LOT, "K-1", "K-2")
    assert changes["analyst"] == (ANALYST, "M. Tarn", "B. Okoro")
    assert changes["photometer, cell or solvent"][0] == PHOTOMETER
    assert history.plot(made).changes == tuple(
        float(at) + history.plot(made).points[0][0] for at in (LOT, ANALYST, PHOTOMETER)
    )
    told = text.write(history.one(made))
    assert "may replace the method's" in " ".join(told.split()), "what drifts later is not in the baseline's own limits"
    assert "last below the mean from" in " ".join(told.split())
    for words in ("frozen by R. Holt", "first quarter", "K-1", "B. Okoro", "second", "falling"):
        assert words in told


def test_nothing_is_silently_left_out(planted: Path) -> None:
    rows = [control("LCS1", 80, report=False, reason="read again"), control("LCS2", 100)]
    put(planted, 60, rows, name="again")
    freeze(planted)
    made = only(planted)
    assert [(point.path, point.row) for point in made.apart] == [("again.toml", "LCS1")]
    assert made.of == RUNS + 1
    assert "1 result held, superseded or not judged, in no limit" in " ".join(text.write(history.one(made)).split())
    lonely = [control("LCS9", 80, silica_gel=True, report=False, reason="spilt")]
    put(planted, 61, lonely, name="alone")
    with opened(planted) as tables:
        told = " ".join(text.write(history.blocks(tables, all_charts(tables))).split())
    assert "control recovery, petroleum hydrocarbons" in told
    assert "1 point, held, superseded or not judged" in told


def test_a_point_left_out_has_its_cause_and_what_was_changed_by_hand_gives_no_limits(planted: Path) -> None:
    assert freeze(planted, "--leave-out", "day-003.toml:LCS1=spiking solution spoilt") == 0
    made = only(planted)
    assert made.baseline is not None
    assert len(made.baseline.values) == BASE - 1
    assert "day-003.toml LCS1: spiking solution spoilt" in " ".join(text.write(history.one(made)).split())
    path = planted / baselines.NAME
    written = path.read_text(encoding="utf-8")
    path.write_text(written.replace("R. Holt", "B. Okoro"), encoding="utf-8")
    assert only(planted).baseline is not None, "who signs is no point; the points are what is digested"
    path.write_text(written.replace("day-004.toml", "day-040.toml"), encoding="utf-8")
    assert only(planted).baseline is None
    assert "changed by hand: not used" in baselines.read(planted).problems[0]


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--leave-out", "day-099.toml:LCS1=spoilt"], "day-099.toml:LCS1 is none of the points to freeze"),
        (["--leave-out", "day-043.toml:LCS1=spoilt"], "day-043.toml:LCS1 is none of the points to freeze"),
        (["--to", "2020-01-01"], "no chart has points enough"),
        (["--fraction", "petroleum"], "no point of control recovery, petroleum hydrocarbons counts"),
    ],
    ids=["of no run", "after the last day", "too few", "no chart"],
)
def test_what_cannot_be_frozen_writes_nothing_and_says_why(
    planted: Path, more: list[str], why: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert freeze(planted, *more) == 2
    assert why in capsys.readouterr().err
    assert not (planted / baselines.NAME).exists()


def test_the_latest_points_up_to_a_day_are_frozen_not_those_of_the_latest_that_are_before_it(planted: Path) -> None:
    assert freeze(planted, "--points", "20") == 0
    baseline = only(planted).baseline
    assert baseline is not None
    assert [point.path for point in baseline.point] == [f"day-{day:03}.toml" for day in range(BASE - 20, BASE)]


def test_a_baseline_is_of_the_days_of_its_points_that_count_and_named_as_its_chart(
    planted: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert freeze(planted, "--leave-out", "day-000.toml:LCS1=spiking solution spoilt") == 0
    assert "control recovery, oil and grease: 23 points are its baseline now" in capsys.readouterr().err
    assert "23 points, 2026-03-12 to 2026-04-03, frozen by" in " ".join(text.write(history.one(only(planted))).split())


def test_of_many_points_it_is_said_how_many_are_frozen(planted: Path) -> None:
    with opened(planted) as tables:
        (made,) = all_charts(tables, what="control")
    few = " ".join(text.write(history.one(made)).split())
    assert f"none: {RUNS} points are there, and runsheet baseline freezes them" in few
    many = " ".join(text.write(history.one(replace(made, of=130))).split())
    assert "none: 130 points are there, and runsheet baseline freezes the latest 100 of them" in many


@pytest.mark.parametrize("more", [["--why", "7"], ["--leave-out", "day-003.toml:LCS1=3"], ["--leave-out", "x=spoilt"]])
def test_a_reason_is_in_words(planted: Path, more: list[str]) -> None:
    with pytest.raises(SystemExit):
        freeze(planted, *more)


def test_frozen_limits_are_those_of_the_frozen_values_by_brute_force(planted: Path) -> None:
    freeze(planted)
    made = only(planted)
    values = [value(day) for day in range(BASE)]
    moving = sum(abs(b - a) for a, b in itertools.pairwise(values)) / (BASE - 1) / 1.128
    mean = sum(values) / BASE
    assert made.limits is not None
    assert list(made.limits.action) == pytest.approx([mean - 3 * moving, mean + 3 * moving], rel=1e-6)


def test_fewer_than_ten_points_are_not_judged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    for day in range(7):
        put(tmp_path / "runs", day, [control("LCS1", 100 if day < 6 else 200)])
    made = only(tmp_path / "runs")
    assert history.status(made) == "not judged: 7 of 10 points"
    assert made.violations == ()  # the last is far beyond 3 sigma of so few


def test_ranges_have_no_lower_limit_and_no_sum() -> None:
    from runsheet.history.charts import Series

    made = limits_of(Series("duplicate", "", "petroleum", "", "", "", "", "%"), [2.0, 4.0, 6.0])
    assert made is not None
    assert made.action == pytest.approx((0, 3.267 * 4))
    assert made.mean + 3 * made.sigma == pytest.approx(made.action[1])
    assert chart(Series("duplicate", "", "petroleum", "", "", "", "", "%"), [], 0).cusum == ()


def test_a_baseline_of_no_chart_is_told(planted: Path) -> None:
    """As after the method got another name: the chart goes on without it, and nobody would know why."""
    assert freeze(planted) == 0
    path = planted / baselines.NAME
    with opened(planted) as tables:
        assert list(wrong_baselines(tables)) == []
        path.write_text(path.read_text(encoding="utf-8").replace("method = ", 'method = "other"#'), encoding="utf-8")
        (told,) = wrong_baselines(tables)
        tables.unread = 1  # it may be of that one
        assert list(wrong_baselines(tables)) == []
    of = "baselines.toml: that of control recovery, oil and grease by R. Holt"
    assert told == f"{of} is of no chart of these runs: it judges nothing"


def test_baselines_that_cannot_be_read_are_not_said_to_be_unwritable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(_disk: files.Disk, path: Path, *_: int) -> bytes:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))

    monkeypatch.setattr(files.Disk, "read", closed)
    assert baselines.read(tmp_path).problems == ("baselines.toml: reading is not permitted",)
    assert uncertainty.rounds(tmp_path)[1] == ["rounds.toml: reading is not permitted"]
