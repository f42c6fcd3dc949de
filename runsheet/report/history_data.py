"""Charts and studies of a folder for another program, as JSON.

Owns: `charts`, `studies`. Invariant: the same figures as the pages show, unrounded, null where there is none.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from runsheet.history import findings
from runsheet.history.charts import wrong_baselines
from runsheet.report import history

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.compute.statistics.control_charts import Individuals
    from runsheet.history.cache import Tables
    from runsheet.history.charts import Chart
    from runsheet.history.rows import PointRow
    from runsheet.history.studies import Capability, Detection


def charts(tables: Tables, made: Sequence[Chart]) -> dict[str, Any]:
    """Every chart with its limits, violations, sums, slope and changes."""
    told = [*findings.findings(tables), *wrong_baselines(tables)]
    return {"format": 1, "findings": told, "charts": [_chart(chart) for chart in made]}


def _chart(chart: Chart) -> dict[str, Any]:
    trend, frozen = chart.trend, chart.baseline
    return {
        **chart.series._asdict(),
        "status": history.status(chart),
        "judged": chart.judged,
        "of": chart.of,
        "limits": _limits(chart.limits),
        "own": list(chart.own) if chart.own else None,
        "baseline": frozen and {"by": frozen.by, "at": frozen.at.isoformat(), "points": len(frozen.values)},
        "points": [_point(point) for point in chart.points],
        "apart": [_point(point) for point in chart.apart],
        "violations": [{"rule": v.rule, "at": v.at, "words": v.words} for v in chart.violations],
        "cusum": [{"at": s.at, "began": s.began, "side": s.side, "sigmas": s.sigmas} for s in chart.cusum],
        "slope": trend and asdict(trend),
        "changes": [change._asdict() for change in chart.changes],
    }


def _limits(limits: Individuals | None) -> dict[str, Any] | None:
    if limits is None:
        return None
    pairs = {"warning": list(limits.warning), "action": list(limits.action)}
    return {"n": limits.n, "mean": limits.mean, "sigma": limits.sigma, "moving_range": limits.moving_range, **pairs}


def _point(point: PointRow) -> dict[str, Any]:
    names = ("path", "row", "at", "value", "low", "high", "lot", "analyst", "setting")
    return {name: getattr(point, name) for name in names}


def studies(tables: Tables, found: Sequence[Detection], shown: Sequence[Capability]) -> dict[str, Any]:
    """Every detection study and demonstration of capability, and what was not read for them."""
    return {
        "format": 1,
        "findings": list(findings.findings(tables)),
        "detection": [_detection(each) for each in found],
        "capability": [_capability(each) for each in shown],
    }


def _detection(each: Detection) -> dict[str, Any]:
    study = each.study
    return {
        **each.group._asdict(),
        "mdl": study.mdl,
        "mdl_s": study.mdl_s,
        "mdl_b": study.mdl_b,
        "offered": each.offered,
        "complete": study.complete,
        "missing": list(study.missing),
        "advice": list(study.advice),
        "due": study.due.isoformat() if study.due else None,
        "overdue": study.overdue,
        "left_out": _left_out(each.left_out),
    }


def _capability(each: Capability) -> dict[str, Any]:
    result = each.result
    return {
        **each.group._asdict(),
        "analyst": each.analyst,
        "n": result.n,
        "mean": result.mean,
        "s": result.s,
        "passes": result.passes,
        "missing": list(result.missing),
        "failures": list(result.failures),
        "left_out": _left_out(each.left_out),
    }


def _left_out(rows: Sequence[tuple[str, str, str]]) -> list[dict[str, str]]:
    return [{"path": path, "row": row, "why": why} for path, row, why in rows]
