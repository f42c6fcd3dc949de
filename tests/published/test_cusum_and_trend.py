"""The cumulative sum of the NIST/SEMATECH e-Handbook 6.3.2.3, from memory, and slopes beside scipy."""

from __future__ import annotations

import math

import numpy as np
import pytest
import scipy

from runsheet.compute.statistics import drift

MEANS = [
    324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150,
    328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
]  # fmt: skip
"""Twenty group means about a target of 325; k 0.3175 and h 4.1959 there. From memory."""
HIGH = [
    0.00, 0.00, 0.00, 0.00, 0.03, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00, 0.00,
    3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04,
]  # fmt: skip
"""The upper sums it prints, to two digits."""


def test_nist_sematech_e_handbook_6_3_2_3_from_memory() -> None:
    found = list(drift.sums(MEANS, 325, 0.3175))
    assert [high for high, _ in found] == pytest.approx(HIGH, abs=0.011)
    signals = drift.cusum(MEANS, 325, 1.0, 0.3175, 4.1959)
    assert (signals[0].at, signals[0].began, signals[0].side) == (13, 12, "above")  # the 14th is the first beyond h
    assert [signal.at for signal in signals if signal.side == "above"] == list(range(13, 20))


@pytest.mark.parametrize("side", [1, -1])
def test_a_shift_is_found_and_where_it_began(side: int) -> None:
    values = [0.3 * (-1) ** n for n in range(20)] + [side * (1.5 + 0.3 * (-1) ** n) for n in range(10)]
    first = drift.cusum(values, 0, 1.0)[0]
    assert (first.began, first.side) == (20, "above" if side > 0 else "below")
    assert 20 <= first.at <= 26
    assert drift.cusum(values[:20], 0, 1.0) == ()
    assert drift.cusum(values, 0, 0.0) == ()


def test_the_slope_and_its_interval_beside_scipy() -> None:
    random = np.random.default_rng(7)
    for n in (6, 12, 40):
        days = np.sort(random.uniform(0, 200, n))
        values = 100 - 0.03 * days + random.standard_normal(n)
        made, theirs = drift.trend(days.tolist(), values.tolist()), scipy.stats.linregress(days, values)
        assert made is not None
        half = scipy.stats.t.ppf(0.975, n - 2) * theirs.stderr
        assert made.per_day == pytest.approx(theirs.slope, rel=1e-9)
        assert [made.low, made.high] == pytest.approx([theirs.slope - half, theirs.slope + half])
        assert made.is_one == (not math.isclose(half, 0) and abs(theirs.slope) > half)


def test_few_points_or_one_day_have_no_slope() -> None:
    assert drift.trend([1, 2, 3, 4, 5], [1, 2, 3, 4, 5]) is None
    assert drift.trend([1] * 8, list(range(8))) is None
