"""DIN 32645, its worked example of ten levels (figures from memory), recomputed with scipy.

Critical value, detection and quantification of the unweighted line, alpha = beta = 0.01, k = 3.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from tests.make import Table, extract, fit, rows

X = [0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50]
Y = [3060, 3522, 3707, 4280, 5058, 5510, 5703, 6205, 7156, 7178]


def limits(confidence: float) -> Table:
    (found,) = fit(X, Y, confidence=confidence)["calibrations"]
    detection: Table = found["detection"]
    return detection


def test_as_printed() -> None:
    found = limits(0.99)
    assert round(found["critical"], 4) == 0.0698
    assert round(found["detection"], 2) == 0.14
    assert round(found["quantification"], 3) == 0.212


def test_half_width_at_one_reading() -> None:
    found = rows(fit(X, Y, [extract("A", 3500)], confidence=0.99))["A"]
    assert round(found["U"], 5) == 0.07434


@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99, 0.999])
def test_agrees_with_scipy(confidence: float) -> None:
    line, x = scipy.stats.linregress(X, Y), np.array(X)
    n, mean, sxx = len(X), x.mean(), ((x - x.mean()) ** 2).sum()
    s = math.sqrt(((np.array(Y) - line.intercept - line.slope * x) ** 2).sum() / (n - 2))
    critical = s / line.slope * scipy.stats.t.ppf(confidence, n - 2) * math.sqrt(1 + 1 / n + mean**2 / sxx)
    reach = 3 * s / line.slope * scipy.stats.t.ppf((1 + confidence) / 2, n - 2)
    root = scipy.optimize.brentq(lambda q: q - reach * math.sqrt(1 + 1 / n + (q - mean) ** 2 / sxx), 0, 10, xtol=1e-15)
    found = limits(confidence)
    assert [found["critical"], found["detection"]] == pytest.approx([critical, 2 * critical], rel=1e-10)
    assert found["quantification"] == pytest.approx(root, rel=1e-10)


@pytest.mark.parametrize("calibration", [{"weighting": "1/x"}, {"model": "line-through-zero"}, {"model": "quadratic"}])
def test_only_of_the_unweighted_line(calibration: Table) -> None:
    (found,) = fit(X, Y, **calibration)["calibrations"]
    assert found["detection"] is None
