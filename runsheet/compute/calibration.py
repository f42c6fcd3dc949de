"""Calibrations: standards to points, points to a judged curve.

Owns: what a standard's x and y are, which limits a calibration is judged by, and what it says in words.
Invariant: one standard row is one point, its readings averaged; every limit present applies and an absent one does not.

Sources: EPA SW-846 8000D (relative standard error, error of each level, minimum levels); DIN 32645 (detection).

A calibration still to be finished is fitted from what is read so far (state todo), so that the analyst watches the
curve grow; rows that name it are computed and held. `point` without a zero standard read fits no point: there is no
reading to fit. `level_error_percent` also covers the lowest level where `lowest_error_percent` is absent. A
calibration that fails fails the run also where no row uses it: then it affects nothing, and an action settles it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet.compute import curve
from runsheet.compute.amounts import concentration
from runsheet.compute.compare import at_most, below, equal, finite
from runsheet.compute.photometry import signals
from runsheet.compute.results import CalibrationResult, DetectionResult, StandardResult
from runsheet.compute.statistics import student_t
from runsheet.figures import against, counted

if TYPE_CHECKING:
    from runsheet.compute.curve import Curve
    from runsheet.run.model import Calibration, CurveLimits, Run, Standard

COEFFICIENTS = {"mean-factor": 1, "line-through-zero": 1, "line": 2, "quadratic": 3, "direct": 0}
LEAST_CONFIDENCE = 0.5
"""Below it a critical level would lie below the blank."""
QUADRATIC_LEVELS = 6
"""EPA SW-846 8000D."""


def judge(run: Run) -> tuple[CalibrationResult, ...]:
    """Fit and judge every calibration of the run."""
    only = run.calibration[0].id if len(run.calibration) == 1 else None
    return tuple(
        _judge(calibration, tuple(s for s in run.standard if (s.calibration or only) == calibration.id), run)
        for calibration in run.calibration
    )


def confidence(calibration: Calibration) -> float:
    """The confidence of a calibration's intervals; 0.95 when absent."""
    return 0.95 if calibration.confidence is None else float(calibration.confidence)


@dataclass(frozen=True, slots=True)
class _Points:
    """A calibration's standards as numbers."""

    means: dict[str, float]
    """Mean signal of each read standard, by id."""
    zero: float
    zero_read: bool
    points: tuple[tuple[float, float], ...]
    """(x, y) of the used, read standards above zero."""


def _points(standards: tuple[Standard, ...], run: Run, *, subtract: bool) -> _Points:
    read = {s.id: signals(s.readings, run.instrument.reads) for s in standards if s.readings}
    means = {name: sum(values) / len(values) for name, values in read.items()}
    zeros = [value for s in standards if _used(s) and concentration(s) == 0 for value in read.get(s.id, ())]
    zero = sum(zeros) / len(zeros) if zeros else 0.0
    points = tuple(
        (x, means[s.id] - (zero if subtract else 0))
        for s in standards
        if _used(s) and s.id in means and (x := concentration(s)) > 0
    )
    return _Points(means, zero, bool(zeros), points)


def _used(standard: Standard) -> bool:
    return standard.use is not False


def _judge(calibration: Calibration, standards: tuple[Standard, ...], run: Run) -> CalibrationResult:
    treatment = calibration.zero_standard or "subtract"
    got = _points(standards, run, subtract=treatment == "subtract")
    as_point = treatment == "point" and got.zero_read and calibration.model not in ("mean-factor", "direct")
    fitted = _fit(calibration, got, as_point=as_point)
    results = tuple(_standard(s, got, fitted, calibration, subtract=treatment == "subtract") for s in standards)
    levels = distinct([x for x, _ in got.points])
    todos = _todos(calibration, standards, len(levels) + as_point)
    rse = _rse(results, COEFFICIENTS[calibration.model]) if fitted else None
    rsd = _rsd(got.points) if calibration.model == "mean-factor" else None
    limits = run.method.calibration
    fails = () if todos else tuple(_fails(calibration, fitted, results, levels, rse, rsd, limits))
    times = [s.at for s in standards if _used(s) and s.at is not None]
    used = [s for s in standards if _used(s)]
    return CalibrationResult(
        calibration=calibration,
        weighting="1/x2" if calibration.model == "mean-factor" else calibration.weighting or "none",
        zero=got.zero,
        curve=fitted,
        standards=results,
        n=fitted.n if fitted else len(got.points),
        levels=len(levels),
        low=levels[0] if levels else None,
        high=levels[-1] if levels else None,
        rse_percent=rse,
        rsd_percent=rsd,
        state="todo" if todos else "fail" if fails else "pass",
        fails=fails,
        warns=tuple(_warns(calibration, len(levels), as_point=as_point)),
        todos=tuple(todos),
        detection=_detection(calibration, fitted, got, as_point=as_point),
        ready=all(s.readings for s in used) and (bool(used) or calibration.model == "direct"),
        finished=max(times, default=None),
    )


def _fit(calibration: Calibration, got: _Points, *, as_point: bool) -> Curve | None:
    needed = COEFFICIENTS.get(calibration.model, 0)
    enough = len(distinct([x for x, _ in got.points])) + as_point >= needed
    if calibration.model == "direct" or not got.points or not enough:
        return None
    zero = got.zero if as_point else None
    return curve.fit(calibration.model, calibration.weighting or "none", got.points, zero)


def _standard(
    s: Standard, got: _Points, fitted: Curve | None, calibration: Calibration, *, subtract: bool
) -> StandardResult:
    x, mean = concentration(s), got.means.get(s.id)
    if mean is None:
        return StandardResult(s, x, None, _used(s))
    y = mean - (got.zero if subtract else 0)
    if calibration.model == "direct":
        back: float | None = y
    else:
        back = fitted.concentration(y) if fitted else None
    error = finite((back - x) / x * 100) if back is not None and x > 0 else None
    residual = None if fitted is None else finite(y - fitted.signal(x))
    return StandardResult(s, x, y, _used(s), back, error, residual)


def distinct(levels: list[float]) -> list[float]:
    """Sort levels, those equal to the tolerance taken once."""
    kept: list[float] = []
    for level in sorted(levels):
        if not kept or not equal(kept[-1], level):
            kept.append(level)
    return kept


def _rse(results: tuple[StandardResult, ...], p: int) -> float | None:
    """Relative standard error, percent (EPA SW-846 8000D); over the used standards above 0."""
    points = [r for r in results if r.used and r.x > 0 and r.y is not None]
    errors = [r.error_percent for r in points if r.error_percent is not None]
    if len(points) <= p or len(errors) < len(points):
        return None
    return finite(math.sqrt(sum(error * error for error in errors) / (len(points) - p)))


def _rsd(points: tuple[tuple[float, float], ...]) -> float | None:
    """Relative standard deviation of the response factors, percent."""
    factors = [y / x for x, y in points]
    if len(factors) < 2:
        return None
    mean = sum(factors) / len(factors)
    spread = math.sqrt(sum((factor - mean) * (factor - mean) for factor in factors) / (len(factors) - 1))
    return finite(spread / abs(mean) * 100) if mean else None


def _todos(calibration: Calibration, standards: tuple[Standard, ...], levels: int) -> list[str]:
    unread = [s.id for s in standards if _used(s) and not s.readings]
    needed = COEFFICIENTS[calibration.model]
    todos = [f"standards not read: {', '.join(unread)}"] if unread else []
    if levels < needed:
        todos.append(f"{calibration.model} needs {counted(needed, 'level')} or more, {levels} so far")
    return todos


def _fails(
    calibration: Calibration,
    fitted: Curve | None,
    results: tuple[StandardResult, ...],
    levels: list[float],
    rse: float | None,
    rsd: float | None,
    limits: CurveLimits | None,
) -> list[str]:
    fails = _level_fails(results, levels, limits)
    if calibration.model == "direct":
        return fails
    if fitted is None:
        return ["the standards do not determine the curve"]
    if fitted.s is None:
        fails.append("as many points as coefficients: nothing is left to judge the fit by")
    if not fitted.rises:
        fails.append("the curve does not rise everywhere in its range")
    if limits is None:
        return fails
    r = fitted.r
    if limits.levels is not None and below(len(levels), float(limits.levels)):
        fails.append(f"{counted(len(levels), 'level')}, at least {limits.levels}")
    if limits.r is not None and (r is None or below(r, float(limits.r))):
        found = "not defined" if r is None else against(r, float(limits.r), ".5f")[0]
        fails.append(f"r {found}, at least {limits.r}")
    for what, value in (("RSE", rse), ("RSD of the factors", rsd)):
        if limits.rse_percent is not None and value is not None and not at_most(value, float(limits.rse_percent)):
            fails.append(
                f"{what} {against(value, float(limits.rse_percent), '.1f')[0]} %, at most {limits.rse_percent}"
            )
    return fails


def _level_fails(results: tuple[StandardResult, ...], levels: list[float], limits: CurveLimits | None) -> list[str]:
    fails = []
    for result in results:
        if limits is None or not result.used or result.x <= 0:
            continue
        lowest = equal(result.x, levels[0]) and limits.lowest_error_percent is not None
        limit = limits.lowest_error_percent if lowest else limits.level_error_percent
        error = result.error_percent
        if limit is not None and (error is None or not at_most(abs(error), float(limit))):
            off = "has no concentration on the curve"
            off = off if error is None else f"is off by {against(error, float(limit), '+.1f')[0]} %"
            fails.append(f"{result.standard.id} {off}, at most {limit} %")
    return fails


def _warns(calibration: Calibration, levels: int, *, as_point: bool) -> list[str]:
    warns = []
    if as_point:
        warns.append("the zero standard is fitted as a point: x = 0 is not a calibration point (8000D)")
    if calibration.model == "line-through-zero" and (calibration.weighting or "none") != "none":
        warns.append("a weighted line through zero other than the mean response factor is not allowed by 8000D")
    if calibration.model == "quadratic" and (levels < QUADRATIC_LEVELS or not calibration.note):
        warns.append("a quadratic needs 6 levels and a reason in its note: curvature is stray light first (8000D)")
    return warns


DIN_K = 3
"""The k of the quantification limit by DIN 32645: a result that is sure to a third of itself."""


def _detection(
    calibration: Calibration, fitted: Curve | None, got: _Points, *, as_point: bool
) -> DetectionResult | None:
    """Detection figures of the unweighted line by DIN 32645: alpha = beta, one reading."""
    if fitted is None or fitted.s is None or not fitted.rises or calibration.model != "line":
        return None
    if (calibration.weighting or "none") != "none" or confidence(calibration) < LEAST_CONFIDENCE:
        return None
    xs = [x for x, _ in got.points] + ([0.0] if as_point else [])
    n, mean = len(xs), sum(xs) / len(xs)
    sxx = sum((x - mean) * (x - mean) for x in xs)
    if not 0 < sxx < math.inf:
        return None
    level, base = confidence(calibration), fitted.s / fitted.coefficients[1]
    critical = base * student_t.one_sided(level, n - 2) * math.sqrt(1 + 1 / n + mean * mean / sxx)
    reach = DIN_K * base * student_t.two_sided(level, n - 2)
    if not all(map(math.isfinite, (critical, reach))):
        return None
    return DetectionResult(critical, 2 * critical, _quantification(reach, 1 + 1 / n, mean, sxx))


def _quantification(reach: float, constant: float, mean: float, sxx: float) -> float | None:
    """Solve L = reach x sqrt(constant + (L - mean)^2 / Sxx), which the standard iterates, as the quadratic it is."""
    a = 1 - reach * reach / sxx
    b = 2 * reach * reach * mean / sxx
    c = -reach * reach * (constant + mean * mean / sxx)
    inside = b * b - 4 * a * c
    if a <= 0 or inside < 0:
        return None
    return finite((-b + math.sqrt(inside)) / (2 * a))
