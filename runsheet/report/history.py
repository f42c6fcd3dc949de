"""What a folder of runs says, as blocks.

Owns: the words and tables of control charts and of a search. Invariant: figures of the history only.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from runsheet.compute.statistics.control_charts import RULES
from runsheet.figures import counted, figure, minute
from runsheet.history import baselines, findings, search
from runsheet.history.charts import ENOUGH, LATEST, PROVISIONAL, day, only_apart, wrong_baselines
from runsheet.history.rows import SERIES
from runsheet.report.blocks import Block, Facts, Figure, Heading, Items, Paragraph, Table
from runsheet.show.client_results import ANALYTES
from runsheet.show.plot import Plot

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.compute.statistics.control_charts import Individuals
    from runsheet.compute.statistics.drift import Trend
    from runsheet.history.cache import Tables
    from runsheet.history.charts import Change, Chart
    from runsheet.history.rows import PointRow, ResultRow
    from runsheet.history.search import Hit, Place, Recalled

ABOUT_ZERO = ("blank", "method-blank", "lowest-level", "duplicate", "replicates")
"""What has a mean about zero, or is a range: its slope is told in its own unit."""
MOST = 12
"""Violations named one by one; the others are counted."""


def blocks(tables: Tables, charts: Sequence[Chart], what: str | None = None) -> Iterator[Block]:
    """Say what is wrong with the folder, a line for each chart, then each chart; `what` is the one kind asked for."""
    yield Heading(f"History of {tables.folder.name or tables.folder}", 1)
    yield Paragraph(f"{findings.counted(tables)}.")
    told = (*findings.findings(tables), *wrong_baselines(tables))
    if told:
        yield Heading("Findings")
        yield Items(told)
    alone = tuple(
        f"{series.title}: {counted(count, 'point')}, held, superseded or not judged"
        for series, count in only_apart(tables)
        if what in (None, series.what)
    )
    if alone:
        yield Heading("Without a point that counts")
        yield Items(alone)
    if not charts:
        yield Paragraph(f"No run has a figure of {SERIES[what]} to chart." if what else "No run has a figure to chart.")
        return
    yield Heading("Charts")
    yield Table(
        ("chart", "points", "mean", "sigma", "latest", "violations", "now"),
        tuple(_line(chart) for chart in charts),
        (True, False, False, False, False, False, True),
    )
    yield Paragraph(
        "Individuals charts: sigma is the mean moving range / 1.128, action limits are mean +- 3 sigma, warning limits "
        "mean +- 2 sigma (NIST/SEMATECH e-Handbook 6.3.2.2); of ranges 0 and 3.267 mean ranges (6.3.2.1); run rules "
        "by Nelson (1984); cumulative sums with a slack of 0.5 sigma, beyond 5 sigma (6.3.2.3). Limits are those of a "
        "frozen baseline where there is one, else of the points shown, and then whatever drifts is in them. What is "
        "held or superseded, or says nothing by the rule about its row, is shown apart (.) and gives no limits. A "
        "chart out of its limits says that something changed, not what."
    )
    for chart in charts:
        yield Heading(chart.series.title)
        yield from one(chart)


def _line(chart: Chart) -> tuple[str, ...]:
    limits = chart.limits
    return (
        chart.series.title,
        str(len(chart.points)) if chart.of == len(chart.points) else f"{len(chart.points)} of {chart.of}",
        figure(limits.mean if limits else chart.points[0].value),
        figure(limits.sigma, 3) if limits else "",
        figure(chart.points[-1].value),
        str(len(chart.violations)),
        status(chart),
    )


def status(chart: Chart) -> str:
    """Say in a few words how a chart stands."""
    if not chart.judged:
        return f"not judged: {chart.limits.n if chart.limits else 1} of {ENOUGH} points"
    if (sums := chart.cusum) and sums[-1].at == len(chart.points) - 1 and not chart.latest:
        return f"cumulative sum {sums[-1].side} the mean since {chart.points[sums[-1].began].at[:10]}"
    if chart.latest:
        return "; ".join(dict.fromkeys(found.words for found in chart.latest))
    if chart.beside_equal_points:
        return "off the mean, but all points of its limits are equal: with sigma 0 not judged"
    if chart.latest_range_beyond:
        return "moving range beyond its limit"
    return "provisional" if chart.provisional else "in control"


def one(chart: Chart) -> Iterator[Block]:
    """Say one chart: its limits, its plot, its violations."""
    yield Facts(tuple(_facts(chart)))
    if chart.limits is not None:
        yield Figure(
            "o a point, x one that violates a rule, . one held, superseded or not judged; lines at the mean, 2 and 3 "
            "sigma, and upright where something changed",
            plot(chart),
        )
    if changes := tuple(chart.changes):
        yield Paragraph("What changed, and may be the cause of what the chart shows from there:")
        rows = tuple(_change(chart, each) for each in changes)
        yield Table(("from", "document", "row", "what", "was", "is"), rows[-MOST:], (True,) * 6, keys=4)
        if len(rows) > MOST:
            yield Paragraph(f"Earlier, not listed: {counted(len(rows) - MOST, 'change')}.")
    if chart.violations:
        shown = chart.violations[-MOST:]
        rows = tuple((*_point(chart.points[v.at]), str(v.rule), v.words) for v in shown)
        yield Table(
            ("document", "row", "read", "lot", "value", "rule", "the point is"),
            rows,
            (True,) * 4 + (False, False, True),
            keys=2,
        )
        if len(shown) < len(chart.violations):
            yield Paragraph(f"Earlier, not listed: {counted(len(chart.violations) - len(shown), 'violation')}.")


def of_run(charts: Iterable[Chart], unread: int = 0) -> Iterator[Block]:
    """Say the charts of one run's figures, for its report; that there is none, where the runs before it are too few.

    So many documents of the folder are `unread`, and in none of them.
    """
    told = tuple(charts)
    if unread:
        yield Paragraph(f"{findings.not_read(unread)}.")
    if not told:
        yield Paragraph(f"None: no figure of this run has {ENOUGH} points or more from the runs before it.")
    for chart in told:
        yield Heading(f"{chart.series.title}: {status(chart)}", 3)
        yield from one(chart)


def _change(chart: Chart, change: Change) -> tuple[str, ...]:
    point = chart.points[change.at]
    return point.at[:10], point.path, point.row, change.what, change.old, change.new


def _point(point: PointRow) -> tuple[str, ...]:
    return point.path, point.row, minute(point.at), point.lot, figure(point.value)


def _facts(chart: Chart) -> Iterator[tuple[str, str]]:
    first, last = chart.points[0].at[:10], chart.points[-1].at[:10]
    more = f", the latest of {chart.of}" if chart.of > len(chart.points) else ""
    yield "Points", f"{len(chart.points)}{more}, {first} to {last}"
    if chart.apart:
        yield "Apart", f"{counted(len(chart.apart), 'result')} held, superseded or not judged, in no limit"
    yield from _baseline(chart)
    if chart.limits is not None:
        yield from _limits(chart, chart.limits)
    if sums := chart.cusum:
        told = [f"{s.side} the mean from {chart.points[s.began].at[:10]}" for s in (sums[0], sums[-1])]
        since = told[0] if told[0] == told[1] else f"first {told[0]}, last {told[1]}"
        yield "Cumulative sum", f"beyond 5 sigma at {counted(len(sums), 'point')}, {since}"
    if trend := chart.trend:
        yield "Slope", _slope(chart, trend)
    low, high = chart.method_limits
    if low is not None and high is not None:
        yield "The method's limits", f"{_pair((low, high))} {chart.series.unit}"
    if chart.own is not None:
        yield "Own limits", f"{_pair(chart.own)} {chart.series.unit}, mean +- 3 s; {_may(chart)}"


def _baseline(chart: Chart) -> Iterator[tuple[str, str]]:
    if frozen := chart.baseline:
        days = [point.at[:10] for point in frozen.point if point.cause is None]
        words = f"{counted(len(days), 'point')}, {days[0]} to {days[-1]}" if days else "no point"
        yield "Baseline", f"{words}, frozen by {frozen.by}, {frozen.at:%Y-%m-%d}: {frozen.why}"
        if left := [f"{p.path} {p.row}: {p.cause}" for p in frozen.point if p.cause]:
            yield "Left out of it", "; ".join(left)
    elif chart.of >= baselines.LEAST and chart.judged_from is None:
        them = "them" if chart.of <= LATEST else f"the latest {LATEST} of them"
        yield "Baseline", f"none: {chart.of} points are there, and runsheet baseline freezes {them}"


def _limits(chart: Chart, limits: Individuals) -> Iterator[tuple[str, str]]:
    unit = chart.series.unit
    before = "" if chart.baseline or limits.n == len(chart.points) else f", of the {limits.n} points before this run"
    of = ", of the baseline" if chart.baseline else before
    yield "Mean", f"{figure(limits.mean)} {unit}, mean moving range {figure(limits.moving_range, 3)}{of}"
    yield "Warning limits", f"{_pair(limits.warning)} {unit}"
    yield "Action limits", f"{_pair(limits.action)} {unit}"
    beyond = sum(chart.ranges_beyond)
    yield "Moving range", f"at most {figure(limits.range_upper, 3)} {unit}; {beyond or 'none'} beyond it"
    if chart.provisional:
        yield "Provisional", f"the limits stand on fewer than {PROVISIONAL} points"


def _may(chart: Chart) -> str:
    if chart.within:
        return f"no limits to work by: the cause of {counted(chart.within, 'violation')} is still in them"
    return "may replace the method's (SW-846 8000D)"


WEEK = 7


def _slope(chart: Chart, trend: Trend) -> str:
    """Say how fast the figure moves, in percent of its mean where it has one that is not about zero."""
    mean = chart.limits.mean if chart.limits else 0.0
    percent = chart.series.what not in ABOUT_ZERO and mean > 0
    scale = WEEK * (100 / mean if percent else 1)
    unit = "%" if percent else chart.series.unit
    if not trend.is_one:
        low, high = sorted((trend.low * scale, trend.high * scale))
        return f"none that can be told from zero: {figure(low, 2)} to {figure(high, 2)} {unit} a week, 95 %"
    low, high = sorted((abs(trend.low * scale), abs(trend.high * scale)))
    way = "rising" if trend.per_day > 0 else "falling"
    return f"{way} {figure(abs(trend.per_day * scale), 2)} {unit} a week, 95 % {figure(low, 2)} to {figure(high, 2)}"


def _pair(limits: tuple[float, float]) -> str:
    return f"{figure(limits[0])} to {figure(limits[1])}"


def plot(chart: Chart) -> Plot:
    """Draw a chart's points over their dates, with its mean, warning and action limits, and where something changed."""
    bad = {found.at for found in chart.violations}
    everything = (*chart.points, *chart.apart)
    zero = datetime.fromisoformat(min(point.moment for point in everything)).date()
    begin = day(zero)
    points = tuple((day(p.moment) - begin, p.value, "x" if at in bad else "o") for at, p in enumerate(chart.points))
    apart = tuple((day(p.moment) - begin, p.value, ".") for p in chart.apart)
    levels = () if chart.limits is None else (chart.limits.mean, *chart.limits.warning, *chart.limits.action)
    changes = tuple(dict.fromkeys(points[change.at][0] for change in chart.changes))
    curve = tuple((x, y) for x, y, _ in points)
    return Plot((*apart, *points), curve, levels, "date", chart.series.unit, changes, zero)


def rules() -> Block:
    """Say the run rules by their numbers."""
    return Facts(tuple((f"rule {number}", rule.words) for number, rule in RULES.items()))


# --- searching --------------------------------------------------------------------------------------------------


def found(
    tables: Tables,
    text: str,
    runs: Sequence[tuple[str, str, str, str]],
    hits: Sequence[Hit],
    places: Sequence[Place],
    recalled: Sequence[Recalled] = (),
) -> Iterator[Block]:
    """Say where a text was found: runs, samples, lots with the results that depend on each; and what was not read."""
    yield Heading(f"Where {text!r} is", 1)
    yield Paragraph(f"Searched: {findings.counted(tables)}.")
    told = (*findings.findings(tables), *search.gone(tables))
    if told:
        yield Items(told)
    if runs:
        yield Heading("Runs")
        yield Table(
            ("run", "document", "title", "state, by the document without its log"), tuple(runs), (True,) * 4, keys=2
        )
    if hits:
        yield Heading("Samples and rows")
        rows = tuple((hit.run, hit.result.path, *_result(hit.result)) for hit in hits)
        yield Table(("run", "document", *RESULT), rows, (True, True, *LEFT), keys=3)
    if places:
        yield from _lots(places)
    if recalled:
        yield from _recalled(recalled)
    if not (runs or hits or places or recalled):
        yield Paragraph(
            "In none of these: no run, title, sample, client's id, site, row or lot of this name, and no issued result "
            "that stands on it; persons, photometers and cells are looked for in what issued results stand on, and "
            "nowhere else. * stands for anything, as in OF-*."
        )


def _recalled(found: Sequence[Recalled]) -> Iterator[Block]:
    """The issued results that stand on what was looked for, as a list for letters."""
    reports = {each.result.number for each in found}
    results = {
        (each.result.path, each.result.row, each.result.fraction) for each in found
    }  # in two reports, one result
    stand = "stands" if len(results) == 1 else "stand"
    told = f"{counted(len(results), 'client result')} in {counted(len(reports), 'report')}"
    yield Heading(f"Issued: {told} {stand} on it")
    titles = ("client", "report", "row", "sample", "client's id", "issued", "analyte", "reported", "as")
    yield Table(titles, tuple(map(_letter, found)), (True,) * 7 + (False, True), keys=3)
    yield Paragraph(
        "By the documents as they are now. Results that were never issued are not in this list, and QC neither; what "
        "hangs on a lot in all runs stands under Lots."
    )


def _letter(each: Recalled) -> tuple[str, ...]:
    r = each.result
    number = f"{r.number}, replaced by {r.replaced}" if r.replaced else r.number
    reported = " ".join(filter(None, (r.reported or "none", r.unit, r.basis, r.flags)))
    analyte = ANALYTES.get(r.fraction, r.fraction)
    return r.client, number, r.row, r.sample, r.client_id, r.at[:10], analyte, reported, "; ".join(each.uses)


def _lots(places: Sequence[Place]) -> Iterator[Block]:
    """Say where each lot was used, in short and then run by run."""
    yield Heading("Lots")
    by: dict[str, list[Place]] = {}
    for place in places:
        by.setdefault(place.lot, []).append(place)
    rows = tuple(
        (
            lot,
            str(len(its)),
            *_first_and_last([place.read[:10] for place in its if place.read]),
            str(sum(place.samples for place in its)),
            str(sum(len(place.touched) - place.samples for place in its)),
        )
        for lot, its in by.items()
    )
    titles = ("lot", "runs", "from", "to", "results of samples", "of QC and studies")
    yield Table(titles, rows, (True, False, True, True, False, False))
    for place in places:
        yield Heading(f"Lot {place.lot} in run {place.run}: {', '.join(place.uses)}")
        yield Paragraph(f"{place.path}, {f'last read {place.read[:10]}' if place.read else 'no reading has a time'}.")
        if place.touched:
            yield Table(RESULT, tuple(_result(result) for result in place.touched), LEFT)
        else:
            yield Paragraph("No result depends on it.")


def _first_and_last(days: Sequence[str]) -> tuple[str, str]:
    return (days[0], days[-1]) if days else ("", "")


RESULT = ("row", "kind", "sample", "client's id", "site", "read", "reported", "unit", "flags", "state")
LEFT = (True, True, True, True, True, True, False, True, True, True)


def _result(result: ResultRow) -> tuple[str, ...]:
    kind = result.kind.replace("-", " ")
    read = minute(result.at)
    where = (result.sample, result.client_id, result.site)
    unit = f"{result.unit} {result.basis}".strip()
    return result.row, kind, *where, read, result.reported, unit, result.flags, result.state
