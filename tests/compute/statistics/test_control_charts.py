"""Charts: limits, how a run is told, and what must hold of any figures. The rules: published/test_nelson_1984.py."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.compute.statistics.control_charts import (
    DEFAULT,
    RULES,
    Violation,
    at_last,
    individuals,
    own_limits,
    violations,
)

EVERY = tuple(RULES)
Series = list[float]


def test_a_long_run_is_told_at_each_point_with_its_true_length() -> None:
    found = violations([-1.0, *[0.5, 0.4] * 6], 0, 1, [2])
    assert [(one.at, list(one.points)) for one in found] == [
        (9, list(range(1, 10))),
        (10, list(range(1, 11))),
        (11, list(range(1, 12))),
        (12, list(range(1, 13))),
    ]
    assert [one.words for one in found] == [
        f"the {nth} in a row above the mean" for nth in ("ninth", "tenth", "eleventh", "twelfth")
    ]


def test_the_last_point_alone() -> None:
    values = [-1.0, *[0.5, 0.4] * 6]
    assert at_last(values, 0, 1) == violations(values, 0, 1)[-1:]
    assert at_last([*values, -0.1], 0, 1) == ()
    assert at_last([], 0, 1) == ()


@pytest.mark.parametrize(
    ("length", "nth"),
    [(20, "twentieth"), (21, "21st"), (22, "22nd"), (33, "33rd"), (24, "24th"), (111, "111th"), (112, "112th")],
)
def test_ordinals(length: int, nth: str) -> None:
    (found,) = at_last([0.5] * length, 0, 1, [2])
    assert found.words == f"the {nth} in a row above the mean"


def test_falling_and_below() -> None:
    assert [found.words for found in violations([5, 4, 3, 2, 1, 0, -4], 0, 1, [1, 3])] == [
        "more than 3 sigma above the mean",
        "more than 3 sigma above the mean",
        "the sixth in a row falling",
        "more than 3 sigma below the mean",
        "the seventh in a row falling",
    ]


def test_default_rules() -> None:
    """Common practice, no source."""
    assert DEFAULT == (1, 2, 3, 5)
    alternating = [0.5 - i % 2 for i in range(14)]
    assert violations(alternating, 0, 1) == ()
    assert violations(alternating, 0, 1, EVERY) != ()


def test_sigma_0_leaves_the_rules_that_need_none() -> None:
    up = [1.0, 2, 3, 4, 5, 6, 7, 8, 9]
    assert {found.rule for found in violations(up, 0, 0, EVERY)} == {2, 3}
    assert violations([88.8] * 30, 88.8, 0, EVERY) == ()


def test_no_such_rule() -> None:
    with pytest.raises(KeyError):
        violations([1], 0, 1, [9])


@pytest.mark.parametrize("value", [0.1, 88.8, -1e300, 5e-324, 0.0])
def test_equal_values_are_ties_with_no_scatter(value: float) -> None:
    for n in range(2, 60):
        chart = individuals([value] * n)
        assert chart is not None
        assert (chart.mean, chart.sigma, chart.s) == (value, 0, 0)
        assert violations([value] * n, chart.mean, chart.sigma, EVERY) == ()


def test_rounding_makes_no_side() -> None:
    """0.1 + 0.2 - 0.3 is 5.6e-17: values about 0 whose mean is 0 but for the last digit."""
    values = [0.1, 0.2, -0.3, *[0.0] * 9]
    chart = individuals(values)
    assert chart is not None
    assert chart.mean != 0
    assert violations(values, chart.mean, chart.sigma, [2]) == ()


def test_fewer_than_two_values_are_no_chart() -> None:
    assert individuals([]) is None
    assert individuals([5.0]) is None


@given(values=st.lists(st.integers(-15, 15).map(lambda n: n / 4), max_size=40))
def test_every_violation_stands_on_points_up_to_its_own(values: Series) -> None:
    found = violations(values, 0, 1, EVERY)
    assert list(found) == sorted(found, key=lambda one: (one.at, one.rule))
    for one in found:
        assert one.points[-1] == one.at
        assert list(one.points) == sorted(set(one.points))
        assert one.points[0] >= 0
    last = len(values) - 1
    assert at_last(values, 0, 1, EVERY) == tuple(one for one in found if one.at == last)


ANY = st.floats(allow_nan=False, allow_infinity=False)


@given(values=st.lists(ANY, max_size=30), centre=ANY, sigma=ANY)
def test_no_figures_raise(values: Series, centre: float, sigma: float) -> None:
    assert all(isinstance(found, Violation) for found in violations(values, centre, sigma, EVERY))
    chart = individuals(values)
    assert (chart is None) == (len(values) < 2)
    own_limits(values)


@given(values=st.lists(st.integers(-(10**9), 10**9).map(lambda n: n / 1000), min_size=2, max_size=60))
def test_mean_and_scatter_against_numpy(values: Series) -> None:
    chart = individuals(values)
    assert chart is not None
    size = float(np.max(np.abs(values)))
    assert chart.mean == pytest.approx(float(np.mean(values)), rel=1e-12, abs=1e-12 * size)
    assert chart.s == pytest.approx(float(np.std(values, ddof=1)), rel=1e-12, abs=1e-12 * size)
    assert chart.moving_range == pytest.approx(float(np.mean(np.abs(np.diff(values)))), rel=1e-12)
    assert chart.action[1] - chart.mean == pytest.approx(3 * chart.sigma, rel=1e-9, abs=1e-9 * size)
    assert chart.warning[0] - chart.mean == pytest.approx(-2 * chart.sigma, rel=1e-9, abs=1e-9 * size)


RECOVERIES = [92, 97, 88, 101, 95, 90, 99, 93, 96, 91, 94, 98, 89, 100, 95, 92, 97, 93, 96, 94]


def test_own_limits_from_twenty_points() -> None:
    """SW-846 8000D (read)."""
    assert own_limits(RECOVERIES[:19]) is None
    found = own_limits(RECOVERIES)
    s = float(np.std(RECOVERIES, ddof=1))
    assert found == pytest.approx((94.5 - 3 * s, 94.5 + 3 * s), rel=1e-12)


def test_own_lower_limit_of_a_recovery_is_never_below_10_percent() -> None:
    """SW-846 8000D (read)."""
    wide = [20.0, 120.0] * 10
    low, high = own_limits(wide) or (None, None)
    assert low == 10
    assert high == pytest.approx(70 + 3 * float(np.std(wide, ddof=1)))
    assert own_limits(wide, floor=None) == pytest.approx((140 - (high or 0), high))
