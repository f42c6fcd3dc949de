"""Fits and inverse predictions against statsmodels, numpy and a delta method of their own, on random data.

Every figure is read from `results --as json`, so the whole way from document to output is compared.
"""

from __future__ import annotations

import itertools
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import scipy

from tests.make import Table, extract, fit, rows

if TYPE_CHECKING:
    from collections.abc import Callable

POWERS = {"mean-factor": [1], "line-through-zero": [1], "line": [0, 1], "quadratic": [0, 1, 2]}
WEIGHT = {"none": 0, "1/x": 1, "1/x2": 2}
MODELS = [*itertools.product(["line-through-zero", "line", "quadratic"], WEIGHT), ("mean-factor", "none")]
SEEDS = range(4)


class Case:
    """Random standards, the program's fit of them and the reference's."""

    def __init__(self, model: str, weighting: str, seed: int) -> None:
        import statsmodels.api as sm

        rng = np.random.default_rng(seed)
        self.n, self.powers = int(rng.integers(6, 13)), POWERS[model]
        self.x = np.round(np.sort(rng.uniform(5, 250, self.n)), 3)
        truth = [0.003 * (0 in self.powers), 0.0025, -1e-6 * (2 in self.powers)]
        self.y = np.round(sum(c * self.x**k for k, c in enumerate(truth)) + rng.normal(0, 0.002, self.n), 6)
        power = 2 if model == "mean-factor" else WEIGHT[weighting]
        self.raw_weight: Callable[[Any], Any] = lambda x: np.maximum(x, self.x.min()) ** -float(power)
        self.mean_weight = self.raw_weight(self.x).mean()
        self.design = np.column_stack([self.x**k for k in self.powers])
        self.reference = sm.WLS(self.y, self.design, weights=self.raw_weight(self.x) / self.mean_weight).fit()
        self.readings = {"low": [0.004], "inside": [0.21, 0.25, 0.23], "high": [0.55]}
        queue = [extract(name, *values) for name, values in self.readings.items()]
        self.result = fit(self.x.tolist(), self.y.tolist(), queue, model=model, weighting=weighting, confidence=0.9)

    @property
    def found(self) -> Table:
        (calibration,) = self.result["calibrations"]
        assert isinstance(calibration, dict)
        return calibration


@cache
def made(model: str, weighting: str, seed: int) -> Case:
    return Case(model, weighting, seed)


@pytest.fixture(params=itertools.product(MODELS, SEEDS), ids=lambda param: f"{'-'.join(param[0])}-{param[1]}")
def case(request: pytest.FixtureRequest) -> Case:
    (model, weighting), seed = request.param
    return made(model, weighting, seed)


def test_fit_agrees_with_statsmodels(case: Case) -> None:
    """statsmodels takes the uncorrected sum of squares where there is no constant, as NIST does."""
    found, reference = case.found, case.reference
    coefficients = [found["coefficients"][k] for k in case.powers]
    assert coefficients == pytest.approx(reference.params, rel=1e-9)
    assert found["coefficients"][0] == 0 or 0 in case.powers
    assert found["s"] == pytest.approx(reference.mse_resid**0.5, rel=1e-9)
    assert found["r2"] == pytest.approx(reference.rsquared, rel=1e-12)
    assert found["r"] == pytest.approx(reference.rsquared**0.5, rel=1e-12)
    assert (found["n"], found["range"]) == (case.n, [case.x.min(), case.x.max()])


def test_inverse_agrees_with_the_delta_method(case: Case) -> None:
    """The inverse is differentiated numerically in the reading and in every coefficient; statsmodels gives V."""
    beta, k = case.reference.params, scipy.stats.t.ppf(0.95, case.n - len(case.powers))
    for name, readings in case.readings.items():
        y0, row = float(np.mean(readings)), rows(case.result)[name]
        x0 = inverse(case, beta, y0)
        steps = np.maximum(np.abs(beta) * 1e-6, 1e-12 * np.abs(beta).max())
        gradient = [
            (inverse(case, beta + step, y0) - inverse(case, beta - step, y0)) / (2 * step[i])
            for i, step in enumerate(np.diag(steps))
        ]
        by_reading = (inverse(case, beta, y0 + 1e-6) - inverse(case, beta, y0 - 1e-6)) / 2e-6
        weight = case.raw_weight(x0) / case.mean_weight
        own = case.reference.mse_resid / (len(readings) * weight) * by_reading**2
        variance = own + np.array(gradient) @ case.reference.cov_params() @ np.array(gradient)
        assert row["extract"] == pytest.approx(x0, rel=1e-8)
        assert row["u_extract"] == pytest.approx(variance**0.5, rel=1e-5)
        assert row["U"] == pytest.approx(k * row["u_extract"], rel=1e-10)


def inverse(case: Case, beta: Any, y: float) -> float:
    """Solve the polynomial by numpy; the root nearest the middle of the range."""
    coefficients = np.zeros(max(case.powers) + 1)
    coefficients[case.powers] = beta
    coefficients[0] -= y
    roots = np.roots(coefficients[::-1])
    middle = (case.x.min() + case.x.max()) / 2
    return float(min(roots[np.isreal(roots)].real, key=lambda root: abs(root - middle)))


@pytest.mark.parametrize(("model", "degree"), [("line", 1), ("quadratic", 2)])
@pytest.mark.parametrize("weighting", WEIGHT)
def test_coefficients_agree_with_polyfit(model: str, degree: int, weighting: str) -> None:
    case = Case(model, weighting, 11)
    reference = np.polyfit(case.x, case.y, degree, w=case.x ** (-WEIGHT[weighting] / 2))[::-1]
    assert case.found["coefficients"] == pytest.approx(reference, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_mean_factor_is_the_mean_of_the_factors(seed: int) -> None:
    case = Case("mean-factor", "1/x", seed)
    factors = case.y / case.x
    assert case.found["weighting"] == "1/x2"
    assert case.found["coefficients"] == pytest.approx([0, factors.mean()], rel=1e-12)
    assert case.found["rsd_percent"] == pytest.approx(100 * factors.std(ddof=1) / factors.mean(), rel=1e-12)


@pytest.mark.parametrize("weighting", WEIGHT)
@pytest.mark.parametrize("model", ["line-through-zero", "line", "quadratic"])
def test_zero_as_a_point_is_fitted_once_with_the_lowest_level_s_weight(model: str, weighting: str) -> None:
    """Two zero standards are one point; it counts in n and s, not in levels, range or RSE."""
    import statsmodels.api as sm

    x, y = np.array([10.0, 20, 40, 60, 80, 100]), np.array([0.031, 0.05, 0.108, 0.149, 0.2, 0.248])
    xs, ys = [0, 0, *x.tolist()], [0.002, 0.006, *y.tolist()]
    (found,) = fit(xs, ys, model=model, weighting=weighting, zero_standard="point")["calibrations"]
    raw = np.append(10.0, x) ** -WEIGHT[weighting]
    all_x, all_y = np.append(0, x), np.append(0.004, y)
    design = np.column_stack([all_x**k for k in POWERS[model]])
    reference = sm.WLS(all_y, design, weights=raw / raw.mean()).fit()
    assert [found["coefficients"][k] for k in POWERS[model]] == pytest.approx(reference.params, rel=1e-9)
    assert found["s"] == pytest.approx(reference.mse_resid**0.5, rel=1e-9)
    assert found["r2"] == pytest.approx(reference.rsquared, rel=1e-12)
    assert (found["n"], found["levels"], found["range"], found["zero"]) == (7, 6, [10, 100], 0.004)
    errors = [s["error_percent"] for s in found["standards"] if s["x"] > 0]
    divisor = 6 - len(POWERS[model])
    assert found["rse_percent"] == pytest.approx((sum(e * e for e in errors) / divisor) ** 0.5, rel=1e-12)
    assert any("zero" in why for why in found["why"])


def test_large_x_loses_no_digits_in_a_quadratic() -> None:
    x = [1e6 + 1e4 * n for n in range(8)]
    (found,) = fit(x, [1 + 2e-7 * v + 3e-14 * v * v for v in x], model="quadratic")["calibrations"]
    assert found["coefficients"] == pytest.approx([1, 2e-7, 3e-14], rel=1e-6)
