"""Control charts on the tables of a history.

Owns: which points make one chart, its limits, and what its points violate. Invariant: limits come from a frozen
baseline, else from the points shown, or from those before a run that is judged; on few points a chart says so.

Charts of the procedure (controls, spikes, duplicates, method blanks, replicates) are made for each method and fraction
over all photometers, with what changed named; those of a photometer (checks, solvent blanks, slopes) for each
instrument, cell and solvent apart, slopes also for each model. Checks and blanks are charted as they were found; what
is held or superseded, or no verdict by the rule about its row (another material without a response factor, over range,
a spike too small, a pair of two bases or below detection), is shown apart and counted. A baseline that a person froze
gives the limits and is not moved by the points it judges (phase I and II of any textbook, common practice); without one
the latest 100 points do, and whatever drifts is in them. Below 20 points limits are called provisional, below 10
nothing is judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.compare import at_most
from runsheet.compute.statistics import control_charts, drift
from runsheet.history import baselines
from runsheet.history.rows import SERIES, SHARED, PointRow

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.compute.statistics.control_charts import Individuals, Violation
    from runsheet.compute.statistics.drift import Signal, Trend
    from runsheet.history.baselines import Baseline
    from runsheet.history.cache import Tables

NEVER = "~"
"""Sorts after every time."""
LATEST = 100
"""Points a chart shows, and takes its limits from, unless more are asked for."""
PROVISIONAL = control_charts.OWN_LIMITS_FROM
"""Points below which a chart's limits are provisional."""
RANGES = ("duplicate", "replicates")
"""Ranges of two, which have no lower limit."""
OF_A_ROW = ("method-blank", "replicates")
"""Whose limit is of the row, by its amounts or its reading: where it is another one, the method may be the same."""
ENOUGH = 10
"""Points from which on a chart is judged (common practice, no source)."""
RECOVERIES = ("control", "spike", "check", "second-source")
FRACTIONS = {"oil_grease": "oil and grease", "petroleum": "petroleum hydrocarbons", "": ""}


def named(what: str, fraction: str, method: str, model: str, instrument: str, cell: str, solvent: str) -> str:
    """Name what some results share; what is empty is left out."""
    width = f"{cell} mm" if cell else ""
    return ", ".join(filter(None, (what, FRACTIONS.get(fraction, fraction), method, model, instrument, width, solvent)))


def named_kind(what: str, fraction: str) -> str:
    """Name a kind of chart, of one fraction or of any."""
    return named(SERIES[what], fraction, "", "", "", "", "")


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


class Change(NamedTuple):
    """Something that is other from one point on: it may be the cause of what the chart shows from there."""

    at: int
    """Place of the first point with it, from 0."""
    what: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Chart:
    """One control chart."""

    series: Series
    points: tuple[PointRow, ...]
    """Those that give limits or are judged by them, in order of time, the latest last."""
    of: int
    """How many of them there are in all."""
    limits: Individuals | None
    """None for a single point."""
    violations: tuple[Violation, ...]
    own: tuple[float, float] | None
    """The laboratory's own limits, mean -+ 3 s, from 20 points on; for recoveries only (SW-846 8000D)."""
    judged_from: int | None = None
    """Number of the first point that is judged; None where the last one is."""
    apart: tuple[PointRow, ...] = ()
    """Held and superseded figures, and those that are no verdict, of the same time: shown, and in no limit."""
    baseline: Baseline | None = None
    """The points a person froze to give the limits; None: they come from the points shown."""
    within: int = 0
    """Violations among the points that give the limits, be they shown or not."""

    @property
    def method_limits(self) -> tuple[float | None, float | None]:
        """The method's limits in the latest run."""
        return self.points[-1].low, self.points[-1].high

    @property
    def provisional(self) -> bool:
        """Whether there are too few points for limits to stand on."""
        return self.limits is None or self.limits.n < PROVISIONAL

    @property
    def judged(self) -> bool:
        """Whether there are points enough to judge by."""
        return self.limits is not None and self.limits.n >= ENOUGH

    @property
    def _now(self) -> int:
        """Place of the first point that says how the chart stands: of the last one, or of the run that is judged."""
        return len(self.points) - 1 if self.judged_from is None else self.judged_from

    @property
    def latest(self) -> tuple[Violation, ...]:
        """What the last point violates, or those of the run that is judged."""
        return tuple(found for found in self.violations if found.at >= self._now)

    @property
    def beside_equal_points(self) -> bool:
        """Whether the last point, or one of the run, is off the mean where sigma is 0: no rule says what is too far."""
        here, limits = self.points[self._now :], self.limits
        return limits is not None and limits.sigma == 0 and any(point.value != limits.mean for point in here)

    @property
    def ranges_beyond(self) -> tuple[bool, ...]:
        """Of each two neighbouring points, whether they differ by more than the limit of ranges; never with sigma 0."""
        limits, values = self.limits, [point.value for point in self.points]
        if limits is None or limits.range_upper == 0:
            return (False,) * (len(values) - 1)
        return tuple(not at_most(abs(b - a), limits.range_upper) for a, b in pairwise(values))

    @property
    def latest_range_beyond(self) -> bool:
        """Whether the last point, or one of the run that is judged, is that far from the one before it."""
        return any(self.ranges_beyond[max(self._now - 1, 0) :])

    @property
    def changes(self) -> Iterator[Change]:
        """Where analyst, lot, photometer or the method's limits became others."""
        for at, (before, point) in enumerate(pairwise(self.points), 1):
            limits = (_limits(before), _limits(point))
            pairs = (
                ("analyst", before.analyst, point.analyst),
                ("lot", before.lot, point.lot),
                ("photometer, cell or solvent", before.setting, point.setting),
                *(() if self.series.what in OF_A_ROW else (("method's limits", *limits),)),
            )
            yield from (Change(at, what, old or "none", new or "none") for what, old, new in pairs if old != new)

    @property
    def cusum(self) -> tuple[Signal, ...]:
        """Where the cumulative sum from the baseline's mean is beyond its interval; of ranges none is formed."""
        if self.limits is None or not self.judged or self.series.what in RANGES:
            return ()
        return drift.cusum([point.value for point in self.points], self.limits.mean, self.limits.sigma)

    @property
    def trend(self) -> Trend | None:
        """The slope over the points shown."""
        days = [day(point.moment) for point in self.points]
        return drift.trend(days, [point.value for point in self.points])


def _limits(point: PointRow) -> str:
    low, high = point.low, point.high
    return "" if low is None and high is None else f"{_plain(low)} to {_plain(high)}"


def _plain(value: float | None) -> str:
    return "any" if value is None else f"{value:g}"


def day(at: str | date) -> float:
    """A time in UTC, ISO, or a day, in days."""
    if isinstance(at, date):
        return float(at.toordinal())
    moment = datetime.fromisoformat(at)
    return moment.toordinal() + (moment.hour * 3600 + moment.minute * 60 + moment.second) / 86400


def all_charts(
    tables: Tables, latest: int = LATEST, rules: Iterable[int] = control_charts.DEFAULT, what: str | None = None
) -> list[Chart]:
    """The charts of a folder, each of its `latest` points, in the order of `SERIES`."""
    order = {name: at for at, name in enumerate(SERIES)}
    counts = all_series(tables)
    found = [series for series in counts if what in (None, series.what)]
    found.sort(key=lambda series: (order.get(series.what, len(order)), series))
    frozen = baselines.read(tables.folder).baselines
    made = []
    for series in found:
        points, of = points_of(tables, series, latest), counts[series]
        if not points:  # another program took them away since they were counted
            continue
        apart = apart_of(tables, series, points[0].moment if of > len(points) else "")
        made.append(chart(series, points, of, rules, apart=apart, baseline=baselines.of(frozen, series)))
    return made


def all_series(tables: Tables) -> dict[Series, int]:
    """Every series that has a point that counts, with how many."""
    rows = tables.rows(f"SELECT * FROM series WHERE counted > 0 ORDER BY {SHARED}")  # noqa: S608 - our own names
    return {Series(*map(str, row)): int(str(counted)) for *row, counted, _ in rows}


def wrong_baselines(tables: Tables) -> Iterator[str]:
    """What is wrong with the folder's baselines, and which of them are of no chart: a method's name was changed.

    While documents are not read, their charts are not known.
    """
    found = baselines.read(tables.folder)
    yield from found.problems
    if tables.unread or not found.baselines:
        return
    known = all_series(tables)  # a look at every figure of the folder
    for each in found.baselines:
        if not any(baselines.of([each], series) for series in known):
            of = named_kind(each.what, each.fraction) if each.what in SERIES else each.what
            yield f"{baselines.NAME}: that of {of} by {each.by} is of no chart of these runs: it judges nothing"


def only_apart(tables: Tables) -> list[tuple[Series, int]]:
    """Every series whose points are all held, superseded or not judged, with how many they are."""
    rows = tables.rows(f"SELECT * FROM series WHERE counted = 0 ORDER BY {SHARED}")  # noqa: S608 - our own names
    return [(Series(*map(str, row)), int(str(apart))) for *row, _, apart in rows]


def chart(
    series: Series,
    points: Sequence[PointRow],
    of: int,
    rules: Iterable[int] = control_charts.DEFAULT,
    judged_from: int | None = None,
    *,
    apart: Sequence[PointRow] = (),
    baseline: Baseline | None = None,
) -> Chart:
    """Make one chart of points in order of time.

    Its limits are those of the baseline, else of the points before number `judged_from`, of all of them without.
    """
    values = [point.value for point in points]
    given = baseline.values if baseline else values[:judged_from]
    limits = limits_of(series, given)
    judged = limits is not None and limits.n >= ENOUGH  # fewer are shown, and none of them is called out of limits
    rules = tuple(rules)
    violations = control_charts.violations(values, limits.mean, limits.sigma, rules) if limits and judged else ()
    inside = control_charts.violations(given, limits.mean, limits.sigma, rules) if limits and judged else ()
    own = control_charts.own_limits(given) if series.what in RECOVERIES else None
    return Chart(series, tuple(points), of, limits, violations, own, judged_from, tuple(apart), baseline, len(inside))


def limits_of(series: Series, values: Sequence[float]) -> Individuals | None:
    """The limits that values give to a chart; None for fewer than two."""
    return control_charts.ranges(values) if series.what in RANGES else control_charts.individuals(values)


def apart_of(tables: Tables, series: Series, since: str) -> list[PointRow]:
    """The held, superseded and not judged points of a series from a time in UTC on."""
    where = " AND ".join(f"{name} = ?" for name in Series._fields)
    query = (
        f"SELECT * FROM point WHERE {where} AND moment >= ? AND counts = 0 "  # noqa: S608 - our own names
        "AND path NOT IN (SELECT path FROM twice) ORDER BY moment, path, rowid"
    )
    return [PointRow(*row) for row in tables.rows(query, *series, since)]  # type: ignore[arg-type]


def points_of(tables: Tables, series: Series, latest: int, but: str = "", before: str = NEVER) -> list[PointRow]:
    """The latest points of a series in order of time.

    None of the document `but`, and only those read `before` a time in UTC.
    """
    where = " AND ".join(f"{name} = ?" for name in Series._fields)
    among = (
        f"FROM point WHERE {where} AND moment < ? AND counts = 1 AND path <> ? AND path NOT IN (SELECT path FROM twice)"  # noqa: S608
    )
    asked = (*series, before, but, latest)
    rows = tables.rows(f"SELECT * {among} ORDER BY moment DESC, path DESC, rowid DESC LIMIT ?", *asked)
    return [PointRow(*row) for row in reversed(rows)]  # type: ignore[arg-type]
