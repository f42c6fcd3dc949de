"""The initial demonstration of capability against its criteria."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.compute.statistics.demonstration import (
    INTERIM_8000D,
    OIL_GREASE_1664B,
    PETROLEUM_1664B,
    Criteria,
    Demonstration,
    judge,
)

WITHOUT = "without a recovery: no result, or added_mg is not given"
GOOD = [88.0, 92.0, 95.0, 91.0]


def test_figures() -> None:
    made = judge(GOOD)
    assert (made.n, made.mean) == (4, 91.5)
    assert made.s == pytest.approx(float(np.std(GOOD, ddof=1)), rel=1e-14)
    assert made.passes is True


def test_criteria_as_published() -> None:
    """EPA 1664B Table 1 (read); SW-846 8000D interim recovery (read) with an RSD from memory."""
    assert Criteria(83, 101, 11, None, OIL_GREASE_1664B.source) == OIL_GREASE_1664B
    assert Criteria(83, 116, 28, None, PETROLEUM_1664B.source) == PETROLEUM_1664B
    assert Criteria(70, 130, None, 20, INTERIM_8000D.source) == INTERIM_8000D
    assert all("by analogy" in criteria.source for criteria in (OIL_GREASE_1664B, PETROLEUM_1664B))
    assert "RSD from memory" in INTERIM_8000D.source


def around(mean: float, s: float) -> list[float]:
    """Four recoveries of just this mean and standard deviation."""
    off = s * math.sqrt(3) / 2
    return [mean - off, mean + off, mean - off, mean + off]


@pytest.mark.parametrize(
    ("mean", "s", "criteria", "passes"),
    [
        (83, 5, OIL_GREASE_1664B, True),
        (82.99, 5, OIL_GREASE_1664B, False),
        (101, 5, OIL_GREASE_1664B, True),
        (101.01, 5, OIL_GREASE_1664B, False),
        (90, 11, OIL_GREASE_1664B, True),
        (90, 11.01, OIL_GREASE_1664B, False),
        (116, 28, PETROLEUM_1664B, True),
        (116.1, 28, PETROLEUM_1664B, False),
        (100, 28.1, PETROLEUM_1664B, False),
        (70, 14, INTERIM_8000D, True),
        (70, 14.01, INTERIM_8000D, False),
        (69.99, 1, INTERIM_8000D, False),
        (130, 26, INTERIM_8000D, True),
        (130.1, 1, INTERIM_8000D, False),
    ],
)
def test_a_figure_on_its_limit_is_within_it(mean: float, s: float, criteria: Criteria, passes: bool) -> None:  # noqa: FBT001
    made = judge(around(mean, s), criteria)
    assert made.mean == pytest.approx(mean, rel=1e-12)
    assert made.s == pytest.approx(s, rel=1e-12)
    assert made.passes is passes
    assert bool(made.failures) is not passes


def test_the_words_name_figure_and_limit() -> None:
    assert judge(around(60, 15)).failures == (
        "the mean recovery is 60 %, limits 70-130 %",
        "s is 15 % at a mean of 60 %, at most 20 % of it",
    )
    assert judge(around(90, 12.34), OIL_GREASE_1664B).failures == ("s is 12.3 %, at most 11 %",)


def test_a_mean_of_0_has_no_precision_to_pass() -> None:
    assert len(judge([-5, 5, -5, 5]).failures) == 2


@pytest.mark.parametrize(
    ("recoveries", "missing"),
    [
        ([], ("0 of 4 results: 4 more",)),
        ([91.0], ("1 of 4 results: 3 more",)),
        ([500.0, 1.0, 90.0], ("3 of 4 results: 1 more",)),
        (
            [*GOOD[:3], None],
            ("3 of 4 results: 1 more", f"1 of 4 rows {WITHOUT}"),
        ),
        ([*GOOD, math.nan], (f"1 of 5 rows {WITHOUT}",)),
    ],
)
def test_no_verdict_while_something_is_missing(recoveries: list[float | None], missing: tuple[str, ...]) -> None:
    made = judge(recoveries)
    assert (made.passes, made.missing, made.failures) == (None, missing, ())


def test_all_that_is_handed_over_counts() -> None:
    assert judge([*GOOD, 20.0]).passes is False
    assert judge([*GOOD, 93.0, 94.0]).n == 6


@given(recoveries=st.lists(st.none() | st.floats(), max_size=8))
def test_no_recoveries_raise(recoveries: list[float | None]) -> None:
    made = judge(recoveries)
    assert isinstance(made, Demonstration)
    assert (made.passes is None) == bool(made.missing)


@pytest.mark.parametrize(
    ("recoveries", "said"),
    [
        ([100.9, 101.0, 101.1, 101.004], "the mean recovery is 101.001 %, limits 83-101 %"),
        ([81.0, 103.013, 81.0, 103.013], "s is 12.7 %, at most 11 %"),
        ([92 - 9.5268, 92 + 9.5268, 92 - 9.5268, 92 + 9.5268], "s is 11.001 %, at most 11 %"),
    ],
)
def test_a_figure_that_fails_is_seen_beyond_its_limit(recoveries: list[float], said: str) -> None:
    assert said in judge(recoveries, OIL_GREASE_1664B).failures
