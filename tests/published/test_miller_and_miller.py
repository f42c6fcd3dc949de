"""Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, chapter 5.

The fluorescence calibration: the book's rounded figures from memory, the long ones computed with scipy. Its x = 0 is
fitted as a point, which is what `zero_standard = "point"` does.

The weighted example weighs points by 1/sd^2 of its replicates and has a point at x = 0; no weighting of the document
says that, so it cannot be reached. What is compared is its own weightings on the other five points.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
import scipy

from tests.make import Table, extract, fit, rows

X = [0, 2, 4, 6, 8, 10, 12]
Y = [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7]


def fluorescence(*queue: Table) -> Table:
    return fit(X, Y, queue, zero_standard="point")


def test_line() -> None:
    (found,) = fluorescence()["calibrations"]
    assert [round(value, 2) for value in found["coefficients"]] == [1.52, 1.93]
    assert round(found["r"], 4) == 0.9989
    assert found["s"] == pytest.approx(0.4329, abs=6e-5)  # the book rounds on its way there
    assert (found["n"], found["levels"], found["range"]) == (7, 6, [2, 12])
    assert [found["zero"], *found["coefficients"]] == pytest.approx(
        [2.1, 1.517857142857143, 1.930357142857143], rel=1e-13
    )


class Inverse(NamedTuple):
    y: float
    book: list[float]
    """x0, s_x0 and the limit, which the book takes from the rounded s_x0."""
    computed: list[float]
    """x0 and s_x0."""


SINGLE = [
    Inverse(2.9, [0.72, 0.26, 0.68], [0.71600370027752, 0.26456977096991]),
    Inverse(13.5, [6.21, 0.24, 0.62], [6.20721554116559, 0.23975422270299]),
    Inverse(23.0, [11.13, 0.26, 0.68], [11.12858464384829, 0.26319325925465]),
]


@pytest.mark.parametrize("known", SINGLE)
def test_single_readings_and_their_95_percent_limits(known: Inverse) -> None:
    found = rows(fluorescence(extract("A", known.y)))["A"]
    got = [found["extract"], found["u_extract"]]
    assert got == pytest.approx(known.computed, rel=1e-13)
    assert [round(value, 2) for value in got] == known.book[:2]
    assert found["U"] == pytest.approx(known.book[2], abs=0.006)
    assert found["U"] == pytest.approx(scipy.stats.t.ppf(0.975, 5) * known.computed[1], rel=1e-12)


@pytest.mark.parametrize(("y", "book_s"), [(2.9, 0.18), (13.5, 0.14), (23.0, 0.18)])
def test_mean_of_four_readings(y: float, book_s: float) -> None:
    found = rows(fluorescence(extract("A", y - 0.5, y + 0.5, y - 0.3, y + 0.3)))["A"]
    assert round(found["u_extract"], 2) == book_s


@pytest.mark.parametrize(("weighting", "power"), [("none", 0), ("1/x", 1), ("1/x2", 2)])
def test_weighted_example_under_the_weightings_of_the_document(weighting: str, power: int) -> None:
    import statsmodels.api as sm

    x, y = np.array([2.0, 4, 6, 8, 10]), np.array([0.158, 0.301, 0.472, 0.577, 0.739])
    (found,) = fit(x.tolist(), y.tolist(), weighting=weighting)["calibrations"]
    reference = sm.WLS(y, sm.add_constant(x), weights=x**-power / (x**-power).mean()).fit()
    assert found["coefficients"] == pytest.approx(reference.params, rel=1e-12)
    assert found["s"] == pytest.approx(reference.mse_resid**0.5, rel=1e-12)
    assert found["r2"] == pytest.approx(reference.rsquared, rel=1e-12)
