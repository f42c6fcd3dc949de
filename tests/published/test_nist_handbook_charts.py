"""Individuals charts: the NIST/SEMATECH e-Handbook's example, and two of a textbook."""

from __future__ import annotations

import pytest

from runsheet.compute.statistics.control_charts import Individuals, individuals, violations

FLOWRATE = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
VISCOSITY = [33.75, 33.05, 34.00, 33.81, 33.46, 34.02, 33.68, 33.27, 33.49, 33.20, 33.62, 33.00, 33.54, 33.12, 33.84]
LOAN_COSTS = [310, 288, 297, 298, 307, 303, 294, 297, 308, 306, 294, 299, 297, 299, 314, 295, 293, 306, 301, 304]


def chart(values: list[float]) -> Individuals:
    made = individuals(values)
    assert made is not None
    return made


def test_nist_sematech_e_handbook_6_3_2_2() -> None:
    made = chart(FLOWRATE)
    assert made.n == 10
    assert made.mean == pytest.approx(50.81, abs=5e-9)
    assert made.moving_range == pytest.approx(1.8778, abs=5e-5)
    assert made.action == pytest.approx((45.8159, 55.8041), abs=5e-5)
    assert violations(FLOWRATE, made.mean, made.sigma, [1]) == ()  # none outside the limits, it says


def test_montgomery_paint_viscosity_from_memory() -> None:
    """Montgomery, Introduction to Statistical Quality Control, primer paint viscosity; from memory."""
    made = chart(VISCOSITY)
    assert made.mean == pytest.approx(33.52, abs=5e-3)
    assert made.moving_range == pytest.approx(0.48, abs=5e-3)
    assert made.action == pytest.approx((32.24, 34.80), abs=5e-3)
    assert made.range_upper == pytest.approx(1.57, abs=5e-3)


def test_montgomery_loan_costs_from_memory() -> None:
    """Montgomery, as above, costs of processing loan applications; from memory."""
    made = chart([float(cost) for cost in LOAN_COSTS])
    assert made.mean == pytest.approx(300.5, abs=5e-9)
    assert made.moving_range == pytest.approx(7.79, abs=5e-3)
    assert made.action == pytest.approx((279.78, 321.22), abs=5e-3)
    assert made.range_upper == pytest.approx(25.45, abs=5e-3)
