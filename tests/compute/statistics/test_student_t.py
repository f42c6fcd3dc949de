"""Student's t against scipy, over degrees of freedom and probabilities."""

from __future__ import annotations

import pytest
import scipy

from runsheet.compute.statistics.student_t import one_sided, two_sided

DF = [*range(1, 41), 50, 63, 99, 100, 101, 150, 254, 1000, 3162, 10_000, 99_999, 1_000_000, 1.5, 2.5, 7.3]
PROBABILITIES = [0.501, 0.51, 0.55, 0.6, 0.7, 0.75, 0.8, 0.9, 0.95, 0.975, 0.99, 0.995, 0.999, 0.9999]
TAILS = [1e-5, 1e-6, 1e-7, 1e-8, 1e-9]


@pytest.mark.parametrize("df", DF)
def test_agrees_with_scipy(df: float) -> None:
    """Far out the probability itself has lost digits: its own complement says which tail was asked for."""
    for p in [*PROBABILITIES, *(1 - tail for tail in TAILS)]:
        assert one_sided(p, df) == pytest.approx(-float(scipy.stats.t.ppf(1 - p, df)), rel=1e-10), p


@pytest.mark.parametrize("df", DF)
def test_gives_the_probability_back(df: float) -> None:
    for p in [*PROBABILITIES, *(1 - tail for tail in TAILS)]:
        assert float(scipy.stats.t.sf(one_sided(p, df), df)) == pytest.approx(1 - p, rel=1e-10), p


@pytest.mark.parametrize("df", [1, 2, 3, 8, 30, 1e6])
def test_two_sided_and_the_lower_half(df: float) -> None:
    for confidence in (0.001, 0.01, 0.5, 0.68, 0.95, 0.999999):
        exact = float(scipy.stats.t.isf((1 - confidence) / 2, df))
        assert two_sided(confidence, df) == pytest.approx(exact, rel=1e-10), confidence
    # 0.025 and 1 - 0.975 are two floats, some 1e-17 apart.
    assert one_sided(0.025, df) == pytest.approx(-one_sided(0.975, df), rel=1e-13)
    assert one_sided(0.5, df) == 0


@pytest.mark.parametrize(("p", "df"), [(0, 5), (1, 5), (-0.1, 5), (1.1, 5), (0.9, 0), (0.9, -1)])
def test_no_such_quantile(p: float, df: float) -> None:
    for quantile in (one_sided, two_sided):
        with pytest.raises(ValueError, match="no quantile"):
            quantile(p, df)
