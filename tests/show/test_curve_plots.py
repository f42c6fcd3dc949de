"""Which points the plots of a calibration have."""

from __future__ import annotations

from runsheet import evaluate
from runsheet.show import curve_plots
from tests.make import at, run, standards


def test_a_curve_through_its_points_has_residuals_of_zero() -> None:
    made = standards([10, 30, 70], [0.0123, 0.0371, 0.0867])
    (result,) = evaluate(run([], standard=made), at(300)).calibrations
    assert {s.residual for s in result.standards} != {0.0}
    plot = curve_plots.residuals(result)
    assert plot is not None
    assert [y for _, y, _ in plot.points] == [0.0, 0.0, 0.0]


def test_residuals_are_those_of_the_standards() -> None:
    (result,) = evaluate(run([], standard=standards([10, 20, 30], [0.02, 0.05, 0.06])), at(300)).calibrations
    plot = curve_plots.residuals(result)
    assert plot is not None
    assert [(x, round(y, 6)) for x, y, _ in plot.points] == [(10, -0.003333), (20, 0.006667), (30, -0.003333)]
