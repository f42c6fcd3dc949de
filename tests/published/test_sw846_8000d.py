"""EPA SW-846 8000D (read): RSE, level errors, and what is identical among the models.

The data are made up; the figures were computed with scipy.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import Table, fit

X = [2, 5, 10, 20, 40]
Y = [0.043, 0.101, 0.203, 0.398, 0.801]


def calibration(**fields: Any) -> Table:
    (found,) = fit(X, Y, **fields)["calibrations"]
    assert isinstance(found, dict)
    return found


def test_line() -> None:
    found = calibration(model="line")
    assert found["coefficients"] == pytest.approx([0.0020392281594571737, 0.019945504664970314], rel=1e-12)
    assert found["r"] == pytest.approx(0.9999813465508748, rel=1e-14)
    assert found["rse_percent"] == pytest.approx(1.72430506996, rel=1e-11)
    assert found["standards"][0]["error_percent"] == pytest.approx(2.68171332, rel=1e-8)


def test_line_weighted_1_x() -> None:
    found = calibration(model="line", weighting="1/x")
    assert found["coefficients"] == pytest.approx([0.0027899705014749264, 0.01989675516224189], rel=1e-12)  # fractions
    assert found["rse_percent"] == pytest.approx(1.10758556, rel=1e-8)


def test_line_through_zero() -> None:
    found = calibration(model="line-through-zero")
    assert found["coefficients"] == pytest.approx([0, 0.02001925787], rel=1e-9)
    assert found["rse_percent"] == pytest.approx(3.80285941, rel=1e-8)


def test_mean_factor_has_rsd_equal_to_rse_and_is_the_1_x2_line_through_zero() -> None:
    mean, line = calibration(model="mean-factor"), calibration(model="line-through-zero", weighting="1/x2")
    assert mean["coefficients"] == pytest.approx([0, 0.020385], rel=1e-13)
    assert mean["rsd_percent"] == pytest.approx(3.15018057, rel=1e-8)
    assert mean["rse_percent"] == pytest.approx(mean["rsd_percent"], rel=1e-12)
    assert mean["weighting"] == "1/x2"
    for name in ("coefficients", "n", "s", "r2", "rse_percent", "range"):
        assert mean[name] == pytest.approx(line[name], rel=1e-13), name
    assert line["rsd_percent"] is None


@pytest.mark.parametrize(("model", "p"), [("mean-factor", 1), ("line-through-zero", 1), ("line", 2), ("quadratic", 3)])
def test_rse_divides_by_points_less_coefficients(model: str, p: int) -> None:
    found = calibration(model=model)
    errors = [standard["error_percent"] for standard in found["standards"]]
    assert found["rse_percent"] == pytest.approx((sum(e**2 for e in errors) / (len(X) - p)) ** 0.5, rel=1e-13)
    assert errors == pytest.approx([100 * (s["back"] - s["x"]) / s["x"] for s in found["standards"]], rel=1e-12)
