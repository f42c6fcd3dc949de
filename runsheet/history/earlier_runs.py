"""What the history says of a run that is open.

Owns: judging a run's points by what their series were before it. Invariant: the limits come from earlier runs only, or
from a frozen baseline, so that a point does not move the limits it is judged by; a history too short says nothing.

An open run is judged by the points read before its first reading, ten or more (common practice, no source). The
warning never fails a run and is not in the contract's rules: `check` and `results` do not know it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.results import Finding
from runsheet.compute.statistics import control_charts
from runsheet.history import baselines
from runsheet.history.charts import LATEST, Series, all_series, limits_of, points_of
from runsheet.history.rows import SERIES

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from runsheet.compute.statistics.control_charts import Individuals
    from runsheet.history.baselines import Baseline
    from runsheet.history.cache import Tables
    from runsheet.history.rows import PointRow

RULE = "history"
"""What its findings are called among the verdicts."""
EXPLAINED = (
    "A figure is no surprise beside those of earlier runs: run rules of Nelson (1984) on an individuals chart "
    "(NIST/SEMATECH e-Handbook 6.3.2.2). It warns that something changed, and never fails a run; G shows the charts."
)
ENOUGH = 10
"""Points before a run from which on it is judged by them (common practice, no source)."""


class SeriesBefore(NamedTuple):
    """What a series was before a run."""

    points: tuple[PointRow, ...]
    limits: Individuals
    baseline: Baseline | None
    """The frozen points that gave the limits; None: `points` did."""


def past(tables: Tables, but: str, before: str, latest: int = LATEST) -> dict[Series, SeriesBefore]:
    """What every series was before a time in UTC, without the run's own document `but`.

    Series with fewer than `ENOUGH` points are left out.
    """
    found = {}
    frozen = baselines.read(tables.folder).baselines
    for series in all_series(tables):
        earlier = points_of(tables, series, latest, but, before)
        baseline = baselines.of(frozen, series)
        limits = limits_of(series, baseline.values if baseline else [point.value for point in earlier])
        if limits is not None and limits.n >= ENOUGH:
            found[series] = SeriesBefore(tuple(earlier), limits, baseline)
    return found


def series_of(point: PointRow) -> Series:
    """The series a point belongs to."""
    return Series(*(getattr(point, name) for name in Series._fields))


def own(points: Iterable[PointRow], known: dict[Series, SeriesBefore]) -> Iterator[tuple[Series, list[PointRow]]]:
    """A run's points that count, by the series they belong to; only series with a past."""
    mine: dict[Series, list[PointRow]] = {}
    for point in points:
        if point.counts:
            mine.setdefault(series_of(point), []).append(point)
    return ((series, here) for series, here in mine.items() if series in known)


def warnings(points: Iterable[PointRow], known: dict[Series, SeriesBefore]) -> Iterator[Finding]:
    """Judge a run's points by what their series were before it: each rule a point completes is a warning."""
    for series, here in own(points, known):
        before, limits, baseline = known[series]
        values = [point.value for point in (*before, *here)]
        for found in control_charts.violations(values, limits.mean, limits.sigma):
            if found.at >= len(before):
                point = here[found.at - len(before)]
                low, high = limits.action
                over = f"{limits.n} points {'of its baseline' if baseline else 'before this run'}"
                why = f"{SERIES[series.what]}: {found.words}, over {over} (rule {found.rule})"
                yield Finding(RULE, (point.row,), point.value, low, high, "warn", why)
