"""The sheet as data, for `results --as json`.

Owns: the names and the shape other programs rely on. Invariant: numbers are not rounded and None stands where there is
no figure; fields may be added, none renamed.

`flags` are ours whatever letters the method prints: the printed ones are in reports, screen and CSV.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from runsheet.compute.compare import finite
from runsheet.show import stands_on

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import CalibrationResult, DueResult, Finding, RowResult, Sheet
    from runsheet.compute.statistics.monte_carlo import Propagated
    from runsheet.problem import Problem
    from runsheet.review.trail import Trail
    from runsheet.show.stands_on import Standing

FORMAT = 1


def as_data(sheet: Sheet, problems: Iterable[Problem] = ()) -> dict[str, Any]:
    """The sheet as plain data; `problems` are the warnings the document was read with."""
    data: dict[str, Any] = _numbers(_parts(sheet, problems))
    return data


def trail(made: Trail) -> dict[str, Any]:
    """What the edit log says of the document, under a key of its own."""
    outside = [asdict(change) for change in made.outside]
    return {"trail": {"state": made.state, "why": made.why, "outside": outside}}


def drawn(made: Iterable[Propagated]) -> dict[str, Any]:
    """What the Monte Carlo draws say of each reported result, under a key of its own."""
    return {"monte_carlo": [_numbers(asdict(each)) for each in made]}


def _numbers(value: Any) -> Any:
    """Put None for every figure that is no number: JSON has none for infinity."""
    if isinstance(value, float):
        return finite(value)
    if isinstance(value, dict):
        return {key: _numbers(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_numbers(item) for item in value]
    return value


def _parts(sheet: Sheet, problems: Iterable[Problem]) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "run": sheet.run.run.id,
        "now": sheet.now.isoformat(),
        "state": sheet.state,
        "setup": [
            {"check": r.setup.check, "state": r.state, "value": r.value, "limit": r.limit, "why": r.why}
            for r in sheet.setup
        ],
        "calibrations": [_calibration(result) for result in sheet.calibrations],
        "rows": [_row(row) for row in sheet.rows],
        "fractions": [
            {
                "sample": f.sample,
                "oil_grease": f.oil_grease,
                "petroleum": f.petroleum,
                "polar": f.polar,
                "U": f.expanded,
                "unit": f.unit,
                "reported": f.reported,
                "flags": list(f.flags),
            }
            for f in sheet.fractions
        ],
        "quality": [_finding(finding) for finding in sheet.quality],
        "due": [_due(result) for result in sheet.due],
        "stands_on": [_standing(made) for made in stands_on.standings(sheet)],
        "problems": [{"level": p.level, "path": p.path, "message": p.message, "line": p.line} for p in problems],
    }


def _finding(finding: Finding) -> dict[str, Any]:
    names = ("rule", "value", "low", "high", "state", "why", "unit", "acted_on")
    return {name: getattr(finding, name) for name in names} | {
        "rows": list(finding.rows),
        "affects": list(finding.affects or ()),
    }


def _standing(made: Standing) -> dict[str, Any]:
    """What one of the client's results stands on."""
    names = ("role", "what", "value", "unit", "verdict", "note", "lot")
    return {
        "row": made.row.id,
        "sample": made.row.sample,
        "fraction": made.row.fraction,
        "reported": made.row.reported,
        "flags": list(made.row.flags),
        "qualifier": made.qualifier,
        "analyst": made.analyst,
        "lots": dict(made.lots),
        "supports": [{n: getattr(each, n) for n in names} | {"ids": list(each.ids)} for each in made.supports],
        "findings": [{"rule": f.rule, "rows": list(f.rows), "state": f.state, "why": f.why} for f in made.findings],
    }


def _calibration(result: CalibrationResult) -> dict[str, Any]:
    curve, detection = result.curve, result.detection
    return {
        "id": result.id,
        "model": result.calibration.model,
        "weighting": result.weighting,
        "zero": result.zero,
        "coefficients": None if curve is None else list(curve.coefficients),
        "n": result.n,
        "levels": result.levels,
        "r": curve and curve.r,
        "r2": curve and curve.r2,
        "s": curve and curve.s,
        "rse_percent": result.rse_percent,
        "rsd_percent": result.rsd_percent,
        "range": None if result.low is None else [result.low, result.high],
        "state": result.state,
        "why": [*result.todos, *result.fails, *result.warns],
        "detection": detection
        and {
            "critical": detection.critical,
            "detection": detection.detection,
            "quantification": detection.quantification,
        },
        "standards": [
            {
                "id": s.standard.id,
                "x": s.x,
                "y": s.y,
                "back": s.on_curve,
                "error_percent": s.error_percent,
                "used": s.used,
            }
            for s in result.standards
        ],
    }


def _row(row: RowResult) -> dict[str, Any]:
    if row.void:
        empty = dict.fromkeys(_FIELDS)
        return empty | {"id": row.id, "kind": row.kind, "state": row.state, "flags": [], "advice": ""}
    return {name: getattr(row, source) for name, source in _FIELDS.items()} | {
        "calibration": row.calibration and row.calibration.id,
        "report": row.row.report is not False,
        "flags": list(row.flags),
    }


_FIELDS = {
    "id": "id",
    "kind": "kind",
    "sample": "sample",
    "fraction": "fraction",
    "batch": "batch",
    "calibration": "calibration",
    "report": "reports",
    "drift": "drift",
    "net": "net",
    "extract": "extract",
    "u_extract": "u_extract",
    "factor": "factor",
    "result": "result",
    "unit": "unit",
    "U": "expanded",
    "detection": "detection",
    "reporting": "reporting",
    "flags": "flags",
    "reported": "reported",
    "recovery_percent": "recovery_percent",
    "rpd_percent": "rpd_percent",
    "state": "state",
    "advice": "advice",
}
"""The fields of a row and where they are found."""


def _due(result: DueResult) -> dict[str, Any]:
    return {
        "what": result.what,
        "state": result.state,
        "readings_left": result.readings_left,
        "minutes_left": result.minutes_left,
    }
