"""Control charts on the tables of a history.

Owns: which points make one chart, its limits, and what its points violate. Invariant: limits come from the points
shown, or from those before a run that is judged; on few points a chart says that they are provisional.

Charts are made for each method, fraction, instrument, cell and solvent apart, slopes also for each model. Checks and
blanks are charted as they were found; controls and spikes not while held or superseded. The latest 100 points give
the limits, unless more are asked for; below 20 they are called provisional.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.statistics import control_charts
from runsheet.history.rows import SERIES, PointRow

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runsheet.compute.statistics.control_charts import Individuals, Violation
    from runsheet.history.cache import Tables

NEVER = "~"
"""Sorts after every time."""
LATEST = 100
"""Points a chart shows, and takes its limits from, unless more are asked for."""
PROVISIONAL = control_charts.OWN_LIMITS_FROM
"""Points below which a chart's limits are provisional."""
RECOVERIES = ("control", "spike", "check", "second-source")
FRACTIONS = {"oil_grease": "oil and grease", "petroleum": "petroleum hydrocarbons", "": ""}


def named(what: str, fraction: str, method: str, model: str, instrument: str, cell: str, solvent: str) -> str:
    """Name what some results share; what is empty is left out."""
    width = f"{cell} mm" if cell else ""
    return ", ".join(filter(None, (what, FRACTIONS.get(fraction, fraction), method, model, instrument, width, solvent)))


class Series(NamedTuple):
    """What all points of one chart share."""

    what: str
    method: str
    fraction: str
    instrument: str
    cell: str
    solvent: str
    model: str
    unit: str

    @property
    def short(self) -> str:
        """Name it by what it charts."""
        of = (FRACTIONS.get(self.fraction, self.fraction), self.model)
        return ", ".join(filter(None, (SERIES.get(self.what, self.what), *of)))

    @property
    def title(self) -> str:
        """Name it in full."""
        of = (self.method, self.model, self.instrument, self.cell, self.solvent)
        return named(SERIES.get(self.what, self.what), self.fraction, *of)


SHARED = ", ".join(Series._fields)


@dataclass(frozen=True, slots=True)
class Chart:
    """One control chart."""

    series: Series
    points: tuple[PointRow, ...]
    """In order of time, the latest last."""
    of: int
    """How many points there are in all."""
    limits: Individuals | None
    """None for a single point."""
    violations: tuple[Violation, ...]
    own: tuple[float, float] | None
    """The laboratory's own limits, mean -+ 3 s, from 20 points on; for recoveries only (SW-846 8000D)."""
    judged_from: int | None = None
    """Number of the first point that is judged; None where the last one is."""

    @property
    def method_limits(self) -> tuple[float | None, float | None]:
        """The method's limits in the latest run."""
        return self.points[-1].low, self.points[-1].high

    @property
    def provisional(self) -> bool:
        """Whether there are too few points for limits to stand on."""
        return self.limits is None or self.limits.n < PROVISIONAL

    @property
    def latest(self) -> tuple[Violation, ...]:
        """What the last point violates, or those of the run that is judged."""
        first = len(self.points) - 1 if self.judged_from is None else self.judged_from
        return tuple(found for found in self.violations if found.at >= first)


def all_charts(
    tables: Tables, latest: int = LATEST, rules: Iterable[int] = control_charts.DEFAULT, what: str | None = None
) -> list[Chart]:
    """The charts of a folder, each of its `latest` points, in the order of `SERIES`."""
    order = {name: at for at, name in enumerate(SERIES)}
    found = [series for series in all_series(tables) if what in (None, series.what)]
    found.sort(key=lambda series: (order.get(series.what, len(order)), series))
    return [chart(series, *points_of(tables, series, latest), rules) for series in found]


def all_series(tables: Tables) -> list[Series]:
    """Every series that has a point that counts."""
    query = f"SELECT DISTINCT {SHARED} FROM point WHERE counts = 1 AND path NOT IN (SELECT path FROM twice)"  # noqa: S608
    return [Series(*map(str, row)) for row in tables.rows(query)]


def chart(
    series: Series,
    points: Sequence[PointRow],
    of: int,
    rules: Iterable[int] = control_charts.DEFAULT,
    judged_from: int | None = None,
) -> Chart:
    """Make one chart of points in order of time.

    Its limits are those of the points before number `judged_from`, of all of them without.
    """
    values = [point.value for point in points]
    limits = control_charts.individuals(values[:judged_from])
    violations = () if limits is None else control_charts.violations(values, limits.mean, limits.sigma, rules)
    own = control_charts.own_limits(values[:judged_from]) if series.what in RECOVERIES else None
    return Chart(series, tuple(points), of, limits, violations, own, judged_from)


def points_of(
    tables: Tables, series: Series, latest: int, but: str = "", before: str = NEVER
) -> tuple[list[PointRow], int]:
    """The latest points of a series in order of time, and how many there are.

    None of the document `but`, and only those read `before` a time in UTC.
    """
    where = " AND ".join(f"{name} = ?" for name in Series._fields)
    among = (
        f"FROM point WHERE {where} AND moment < ? AND counts = 1 AND path <> ? AND path NOT IN (SELECT path FROM twice)"  # noqa: S608
    )
    asked = (*series, before, but)
    count = tables.rows(f"SELECT count(*) {among}", *asked)[0][0]
    rows = tables.rows(f"SELECT * {among} ORDER BY moment DESC, path DESC, rowid DESC LIMIT ?", *asked, latest)
    return [PointRow(*row) for row in reversed(rows)], int(str(count))  # type: ignore[arg-type]
