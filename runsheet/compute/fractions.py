"""Oil and grease, petroleum hydrocarbons, and the polar part between them.

Owns: the difference of a sample's two fractions and its uncertainty. Invariant: what both fractions share cancels; what
each has for itself does not.

Fractions are listed and compared where both are reported in one unit and on one basis. In the polar part's
uncertainty, volumes, precision and bias scale the difference (one bottle, one extraction); the standards and the
curve's covariance do too when both were read from one curve; the readings and each dilution are independent.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from runsheet.compute import limits
from runsheet.compute.compare import finite
from runsheet.compute.photometry import step_signal
from runsheet.compute.readings import relative_parts
from runsheet.compute.results import FractionsResult

if TYPE_CHECKING:
    from runsheet.compute.comparison import Reported
    from runsheet.compute.results import RowResult
    from runsheet.run.model import Run


def fractions(reported: Reported, run: Run) -> tuple[FractionsResult, ...]:
    """The polar part of every sample with both fractions reported, in the same unit and on the same basis.

    It is limited and rounded as a result of the oil-and-grease row. Called once the rows have all their flags.
    """
    return tuple(_difference(sample, whole, part, run) for sample, whole, part in reported.both_fractions())


SHARED_FLAGS = frozenset("BEHQY")
"""Flags of either row that the difference has too."""


def _difference(sample: str, whole: RowResult, part: RowResult, run: Run) -> FractionsResult:
    one, other = whole.result or 0.0, part.result or 0.0
    polar = one - other
    variance = _variance(whole, part, run)
    coverages = [row.coverage for row in (whole, part) if row.coverage is not None]
    expanded = None if variance is None or not coverages else finite(max(coverages) * math.sqrt(max(variance, 0.0)))
    below = limits.low(polar, whole, estimates=run.method.estimates is not False)
    flags = {*below, *(SHARED_FLAGS & {*whole.flags, *part.flags})}
    printed = {
        "oil_grease": whole.reported,
        "petroleum": part.reported,
        "polar": None if finite(polar) is None else limits.written(polar, whole, flags, run.method),
    }
    return FractionsResult(sample, one, other, polar, expanded, whole.unit or "", printed, tuple(sorted(flags)))


def _variance(whole: RowResult, part: RowResult, run: Run) -> float | None:
    """The variance of the polar part.

    Volumes, precision and bias belong to the one bottle and its one extract, and so scale the difference; the standards
    do too where both were read from one curve, whose covariance is shared as well. The readings are independent.
    """
    curves = _curve_variance(whole, part, run)
    if curves is None:
        return None
    one, other = whole.result or 0.0, part.result or 0.0
    same_curve = whole.calibration is part.calibration
    total = curves
    for name, percent in relative_parts(run.method.uncertainty).items():
        shared = (one - other) * (one - other)
        if name == "dilution":  # each row was diluted, or not, by itself
            shared = sum(row.result * row.result for row in (whole, part) if row.result and _diluted(row))
        elif name == "standards" and not same_curve:
            shared = one * one + other * other
        total += percent * percent / 10000 * shared
    return finite(total)


def _diluted(row: RowResult) -> bool:
    return row.amounts is not None and row.amounts.dilution > 1


def _curve_variance(whole: RowResult, part: RowResult, run: Run) -> float | None:
    """The variance from readings and curve; from one curve its error in both largely cancels."""
    curve = whole.calibration.curve if whole.calibration else None
    shared = curve is not None and whole.calibration is part.calibration and curve.covariance is not None
    if not shared or curve is None:
        terms = [(row.u_extract, row.factor) for row in (whole, part)]
        if any(u is None or factor is None for u, factor in terms):
            return None
        parts = [(u or 0.0) * (factor or 0.0) for u, factor in terms]
        return sum(part * part for part in parts)
    total, gradient = 0.0, [0.0] * curve.p
    for row, sign in ((whole, 1), (part, -1)):
        if row.extract is None or row.factor is None or row.mean is None or not curve.slope(row.extract):
            return None
        scale = sign * row.factor / curve.slope(row.extract)
        step = step_signal(float(run.instrument.step or 0), run.instrument.reads, row.mean)
        total += scale * scale * curve.reading_variance(row.extract, len(row.signals), step)
        gradient = [g + scale * f for g, f in zip(gradient, curve.gradient(row.extract), strict=True)]
    return total + curve.variance(tuple(gradient), tuple(gradient))
