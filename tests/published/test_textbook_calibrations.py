"""Other published straight lines, recomputed here with scipy; data and printed figures from memory.

- Skoog, West, Holler & Crouch, Fundamentals of Analytical Chemistry: isooctane by gas chromatography.
- EURACHEM/CITAC CG 4, Quantifying Uncertainty in Analytical Measurement, example A5: cadmium from ceramic ware.
- Anscombe 1973, The American Statistician 27: four sets of data with one line.
"""

from __future__ import annotations

import pytest
import scipy

from tests.make import extract, fit, rows

ISOOCTANE = [0.352, 0.803, 1.08, 1.38, 1.75], [1.09, 1.78, 2.60, 3.03, 4.01]
CADMIUM = (
    [x for x in (0.1, 0.3, 0.5, 0.7, 0.9) for _ in range(3)],
    [0.028, 0.029, 0.029, 0.084, 0.083, 0.081, 0.135, 0.131, 0.133, 0.180, 0.181, 0.183, 0.215, 0.230, 0.216],
)
ANSCOMBE_X = [10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5]
ANSCOMBE = [
    (ANSCOMBE_X, [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68]),
    (ANSCOMBE_X, [9.14, 8.14, 8.74, 8.77, 9.26, 8.10, 6.13, 3.10, 9.13, 7.26, 4.74]),
    (ANSCOMBE_X, [7.46, 6.77, 12.74, 7.11, 7.81, 8.84, 6.08, 5.39, 8.15, 6.42, 5.73]),
    ([8, 8, 8, 8, 8, 8, 8, 19, 8, 8, 8], [6.58, 5.76, 7.71, 8.84, 8.47, 7.04, 5.25, 12.50, 5.56, 7.91, 6.89]),
]


@pytest.mark.parametrize("data", [ISOOCTANE, CADMIUM, *ANSCOMBE], ids=["isooctane", "cadmium", *"1234"])
def test_line_agrees_with_scipy(data: tuple[list[float], list[float]]) -> None:
    (found,) = fit(*data)["calibrations"]
    reference = scipy.stats.linregress(*data)
    assert found["coefficients"] == pytest.approx([reference.intercept, reference.slope], rel=1e-12)
    assert [found["r"], found["r2"]] == pytest.approx([reference.rvalue, reference.rvalue**2], rel=1e-12)


def test_isooctane_as_printed() -> None:
    result = fit(*ISOOCTANE, [extract("one", 2.65), extract("four", 2.65, 2.65, 2.65, 2.65)])
    (found,), by_id = result["calibrations"], rows(result)
    assert [round(value, 4) for value in found["coefficients"]] == [0.2567, 2.0925]
    assert round(found["s"], 3) == 0.144
    assert round(by_id["one"]["extract"], 3) == 1.144
    assert [round(by_id[name]["u_extract"], 3) for name in ("one", "four")] == [0.076, 0.046]


def test_cadmium_as_printed() -> None:
    """The extract is measured twice; c0 = 0.26 mg/L, u(c0) = 0.018 mg/L."""
    result = fit(*CADMIUM, [extract("A", 0.0712, 0.0716)])
    (found,), row = result["calibrations"], rows(result)["A"]
    assert [round(value, 4) for value in found["coefficients"]] == [0.0087, 0.2410]
    assert (round(found["s"], 6), round(found["r"], 3), found["n"], found["levels"]) == (0.005486, 0.997, 15, 5)
    assert (round(row["extract"], 2), round(row["u_extract"], 3)) == (0.26, 0.018)


@pytest.mark.parametrize("data", ANSCOMBE, ids=list("1234"))
def test_anscombe_as_printed(data: tuple[list[float], list[float]]) -> None:
    (found,) = fit(*data)["calibrations"]
    assert [round(value, 2) for value in found["coefficients"]] == [3.00, 0.50]
    assert round(found["r2"], 2) == 0.67
    assert 9 * found["s"] ** 2 == pytest.approx(13.75, abs=0.03)
