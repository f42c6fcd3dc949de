"""What a folder of runs says, as blocks.

Owns: the words and tables of control charts and of a search. Invariant: figures of the history only.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from runsheet.compute.statistics.control_charts import RULES
from runsheet.figures import counted, figure, minute
from runsheet.history import findings
from runsheet.history.charts import PROVISIONAL
from runsheet.report.blocks import Block, Facts, Figure, Heading, Items, Paragraph, Table
from runsheet.show.plot import Plot

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.history.cache import Tables
    from runsheet.history.charts import Chart
    from runsheet.history.rows import PointRow, ResultRow
    from runsheet.history.search import Hit, Place

MOST = 12
"""Violations named one by one; the others are counted."""


def blocks(tables: Tables, charts: Sequence[Chart]) -> Iterator[Block]:
    """Say what is wrong with the folder, a line for each chart, then each chart."""
    yield Heading(f"History of {tables.folder.name or tables.folder}", 1)
    yield Paragraph(f"{findings.counted(tables)}.")
    told = tuple(findings.findings(tables))
    if told:
        yield Heading("Findings")
        yield Items(told)
    if not charts:
        yield Paragraph("No run has a figure to chart.")
        return
    yield Heading("Charts")
    yield Table(
        ("chart", "points", "mean", "sigma", "latest", "violations", "now"),
        tuple(_line(chart) for chart in charts),
        (True, False, False, False, False, False, True),
    )
    yield Paragraph(
        "Individuals charts: sigma is the mean moving range / 1.128, action limits are mean +- 3 sigma, warning limits "
        "mean +- 2 sigma (NIST/SEMATECH e-Handbook 6.3.2.2); run rules by Nelson (1984). Held and superseded results "
        "are not charted. A chart out of its limits says that something changed, not what."
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
    if chart.limits is None:
        return "one point"
    if chart.latest:
        return "; ".join(dict.fromkeys(found.words for found in chart.latest))
    return "provisional" if chart.provisional else "in control"


def one(chart: Chart) -> Iterator[Block]:
    """Say one chart: its limits, its plot, its violations."""
    yield Facts(tuple(_facts(chart)))
    if chart.limits is not None:
        yield Figure("o a point, x one that violates a rule; lines at the mean, 2 and 3 sigma", plot(chart))
    if chart.violations:
        shown = chart.violations[-MOST:]
        rows = tuple((*_point(chart.points[v.at]), str(v.rule), v.words) for v in shown)
        yield Table(
            ("document", "row", "read", "lot", "value", "rule", "the point is"),
            rows,
            (True,) * 4 + (False, False, True),
        )
        if len(shown) < len(chart.violations):
            yield Paragraph(f"Earlier, not listed: {counted(len(chart.violations) - len(shown), 'violation')}.")


def of_run(charts: Iterable[Chart]) -> Iterator[Block]:
    """Say the charts of one run's figures, for its report."""
    for chart in charts:
        yield Heading(f"{chart.series.title}: {status(chart)}", 3)
        yield from one(chart)


def _point(point: PointRow) -> tuple[str, ...]:
    return point.path, point.row, minute(point.at), point.lot, figure(point.value)


def _facts(chart: Chart) -> Iterator[tuple[str, str]]:
    limits, unit = chart.limits, chart.series.unit
    first, last = chart.points[0].at[:10], chart.points[-1].at[:10]
    more = f", the latest of {chart.of}" if chart.of > len(chart.points) else ""
    yield "Points", f"{len(chart.points)}{more}, {first} to {last}"
    if limits is not None:
        of = "" if limits.n == len(chart.points) else f", of the {limits.n} points before this run"
        yield "Mean", f"{figure(limits.mean)} {unit}, mean moving range {figure(limits.moving_range, 3)}{of}"
        yield "Warning limits", f"{_pair(limits.warning)} {unit}"
        yield "Action limits", f"{_pair(limits.action)} {unit}"
        values = [point.value for point in chart.points]
        beyond = sum(abs(b - a) > limits.range_upper for a, b in itertools.pairwise(values))
        yield "Moving range", f"at most {figure(limits.range_upper, 3)} {unit}; {beyond or 'none'} beyond it"
    if limits is not None and chart.provisional:
        yield "Provisional", f"the limits stand on fewer than {PROVISIONAL} points"
    low, high = chart.method_limits
    if low is not None and high is not None:
        yield "The method's limits", f"{_pair((low, high))} {unit}"
    if chart.own is not None:
        may = "may replace the method's (SW-846 8000D)"
        within = [found for found in chart.violations if chart.judged_from is None or found.at < chart.judged_from]
        if within:
            may = f"no limits to work by: the cause of {counted(len(within), 'violation')} is still in them"
        yield "Own limits", f"{_pair(chart.own)} {unit}, mean +- 3 s; {may}"


def _pair(limits: tuple[float, float]) -> str:
    return f"{figure(limits[0])} to {figure(limits[1])}"


def plot(chart: Chart) -> Plot:
    """Draw a chart's points in their order over its mean, warning and action limits."""
    bad = {found.at for found in chart.violations}
    points = tuple((float(at + 1), p.value, "x" if at in bad else "o") for at, p in enumerate(chart.points))
    limits = chart.limits
    levels = () if limits is None else (limits.mean, *limits.warning, *limits.action)
    line = tuple((x, y) for x, y, _ in points)
    return Plot(points, line, levels, "points in order of time", chart.series.unit)


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
) -> Iterator[Block]:
    """Say where a text was found: runs, samples, lots with the results that depend on each; and what was not read."""
    yield Heading(f"Where {text!r} is", 1)
    yield Paragraph(f"Searched: {findings.counted(tables)}.")
    told = tuple(findings.findings(tables))
    if told:
        yield Items(told)
    if runs:
        yield Heading("Runs")
        yield Table(("run", "title", "document", "state"), tuple(runs), (True,) * 4)
    if hits:
        yield Heading("Samples and rows")
        rows = tuple((hit.run, hit.result.path, *_result(hit.result)) for hit in hits)
        yield Table(("run", "document", *RESULT), rows, (True, True, *LEFT))
    if places:
        yield from _lots(places)
    if not (runs or hits or places):
        yield Paragraph("In none of these: no run, sample, row or lot of this name; * stands for anything, as in OF-*.")


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
            its[0].last[:10],
            its[-1].last[:10],
            str(sum(place.samples for place in its)),
            str(sum(len(place.touched) - place.samples for place in its)),
        )
        for lot, its in by.items()
    )
    titles = ("lot", "runs", "from", "to", "results of samples", "of QC and studies")
    yield Table(titles, rows, (True, False, True, True, False, False))
    for place in places:
        yield Heading(f"Lot {place.lot} in run {place.run}: {', '.join(place.uses)}")
        yield Paragraph(f"{place.path}, last read {place.last[:10]}.")
        if place.touched:
            yield Table(RESULT, tuple(_result(result) for result in place.touched), LEFT)
        else:
            yield Paragraph("No result depends on it.")


RESULT = ("row", "kind", "sample", "client's id", "site", "read", "reported", "unit", "flags", "state")
LEFT = (True, True, True, True, True, True, False, True, True, True)


def _result(result: ResultRow) -> tuple[str, ...]:
    kind = result.kind.replace("-", " ")
    read = minute(result.at)
    where = (result.sample, result.client_id, result.site)
    return result.row, kind, *where, read, result.reported, result.unit, result.flags, result.state
