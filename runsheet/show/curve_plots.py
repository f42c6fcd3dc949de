"""The plots a report and the screen show, as data.

Owns: which points and lines a calibration plot and its residuals have. Invariant: figures of the sheet only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import quiet
from runsheet.show.plot import Plot

if TYPE_CHECKING:
    from runsheet.compute.results import CalibrationResult, StandardResult

STEPS = 60


def _mark(standard: StandardResult) -> str:
    return "o" if standard.used else "x"


def calibration(result: CalibrationResult) -> Plot | None:
    """Plot the standards over their curve; None before a standard is read."""
    points = tuple((s.x, s.y, _mark(s)) for s in result.standards if s.y is not None)
    if not points:
        return None
    curve, high = result.curve, max(x for x, _, _ in points)
    line = tuple((high * i / STEPS, curve.signal(high * i / STEPS)) for i in range(STEPS + 1)) if curve else ()
    shown = "displayed mg/L" if result.direct else "net absorbance"
    return Plot(points, line, x_title="mg/L in the solvent", y_title=shown)


def residuals(result: CalibrationResult) -> Plot | None:
    """Plot each standard's net signal less the curve's; None before there is a curve."""
    points = tuple((s.x, quiet(s.residual), _mark(s)) for s in result.standards if s.residual is not None)
    if not points or result.curve is None:
        return None
    return Plot(points, levels=(0.0,), x_title="mg/L in the solvent", y_title="residual")
