"""NIST Statistical Reference Datasets, linear regression: certified coefficients, residual sd and R squared.

Norris: read, in the data file that comes with scipy. NoInt1, NoInt2 and Pontius: data and certified values from memory;
they agree with each other to the last digits, which no misremembered figure would.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from tests.make import extract, fit, rows


class Dataset(NamedTuple):
    model: str
    x: list[float]
    y: list[float]
    coefficients: list[float]
    s: float
    r2: float
    digits: float
    """Relative agreement asked for."""


# fmt: off
NORRIS_X = [
    0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0,
    447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3,
    229.2, 669.1, 448.9, 0.5,
]
NORRIS_Y = [
    0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3,
    448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6,
    228.9, 668.4, 449.2, 0.2,
]
PONTIUS_Y = [
    .11019, .21956, .32949, .43899, .54803, .65694, .76562, .87487, .98292, 1.09146, 1.20001, 1.30822, 1.41599,
    1.52399, 1.63194, 1.73947, 1.84646, 1.95392, 2.06128, 2.16844, .11052, .22018, .32939, .43886, .54798,
    .65739, .76596, .87474, .98300, 1.09150, 1.20004, 1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696,
    1.95445, 2.06177, 2.16829,
]
DATASETS = {
    "Norris": Dataset("line", NORRIS_X, NORRIS_Y, [-0.262323073774029, 1.00211681802045],
                      0.884796396144373, 0.999993745883712, 1e-11),
    "NoInt1": Dataset("line-through-zero", list(range(60, 71)), list(range(130, 141)), [0, 2.07438016528926],
                      3.56753034006338, 0.999365492298663, 1e-13),
    "NoInt2": Dataset("line-through-zero", [4, 5, 6], [3, 4, 4], [0, 0.727272727272727],
                      0.369274472937998, 0.993348115299335, 1e-14),
    "Pontius": Dataset("quadratic", [150000.0 * n for n in range(1, 21)] * 2, PONTIUS_Y,
                       [0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14],
                       0.205177424076185e-3, 0.999999900178537, 1e-11),
}
# fmt: on


@pytest.mark.parametrize("name", DATASETS)
def test_certified_values(name: str) -> None:
    data = DATASETS[name]
    (found,) = fit(data.x, data.y, model=data.model)["calibrations"]
    assert found["coefficients"] == pytest.approx(data.coefficients, rel=data.digits, abs=0)
    assert found["s"] == pytest.approx(data.s, rel=data.digits * 10)
    assert found["r2"] == pytest.approx(data.r2, rel=1e-14)


@pytest.mark.parametrize("y", [1.0, 500.0, 950.0])
def test_norris_certified_deviations_of_the_coefficients_give_the_uncertainty(y: float) -> None:
    """var(x0) b^2 = s^2 + f' V f, V from the certified standard deviations; cov(b0, b1) = -xbar var(b1)."""
    sd0, sd1, s, (b0, b1) = (
        0.232818234301152,
        0.429796848199937e-3,
        DATASETS["Norris"].s,
        DATASETS["Norris"].coefficients,
    )
    found = rows(fit(NORRIS_X, NORRIS_Y, [extract("A", y)]))["A"]
    x = (y - b0) / b1
    variance = s**2 + sd0**2 + x**2 * sd1**2 - 2 * x * sd1**2 * sum(NORRIS_X) / len(NORRIS_X)
    assert found["extract"] == pytest.approx(x, rel=1e-12)
    assert found["u_extract"] == pytest.approx(variance**0.5 / b1, rel=1e-12)
