"""JCGM 101:2008, Evaluation of measurement data, Supplement 1, clause 9: its worked examples.

The figures are from memory, each recomputed with four million draws; the shortest interval and the validation are ours.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from runsheet.compute.statistics.monte_carlo import shortest, tolerance, validated

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Draws = NDArray[np.float64]

M = 1_000_000
ROOT3 = 3**0.5


def rectangle(random: np.random.Generator, u: float) -> Draws:
    """A rectangular quantity of mean 0 and standard uncertainty u."""
    return random.uniform(-u * ROOT3, u * ROOT3, M)


def mass(random: np.random.Generator) -> Draws:
    """Clause 9.3: the deviation of a weight from its nominal mass, mg."""
    reference, difference = random.normal(100_000, 0.050, M), random.normal(1.234, 0.020, M)
    air, weight, standard = random.uniform(1.10, 1.30, M), random.uniform(7000, 9000, M), random.uniform(7950, 8050, M)
    made: Draws = (reference + difference) * (1 + (air - 1.2) * (1 / weight - 1 / standard)) - 100_000
    return made


@pytest.mark.parametrize(
    ("draw", "mean", "u", "interval", "first"),
    [
        pytest.param(lambda r: sum(r.standard_normal(M) for _ in range(4)), 0, 2.00, (-3.92, 3.92), 3.92, id="9.2.2"),
        pytest.param(lambda r: sum(rectangle(r, 1) for _ in range(4)), 0, 2.00, (-3.88, 3.88), 3.92, id="9.2.3"),
        pytest.param(
            lambda r: sum(rectangle(r, 1) for _ in range(3)) + rectangle(r, 10),
            0, 10.1, (-17.0, 17.0), 19.9, id="9.2.4",
        ),
        pytest.param(mass, 1.2341, 0.0754, (1.0834, 1.3825), 0.1055, id="9.3"),
    ],
)  # fmt: skip
def test_clause_9(
    draw: Callable[[np.random.Generator], Draws], mean: float, u: float, interval: tuple[float, float], first: float
) -> None:
    values = draw(np.random.default_rng(9))
    assert values.mean() == pytest.approx(mean, abs=u / 100)
    assert values.std(ddof=1) == pytest.approx(u, rel=0.005)
    assert shortest(values, 0.95) == pytest.approx(interval, abs=u / 20)
    # The supplement takes two digits in 9.2 and one in 9.3; first order holds only where no rectangle dominates.
    ends = (mean - first, mean + first)
    assert validated(ends, interval, tolerance(u, 1 if u < 1 else 2)) is (u == 2.00)


def test_the_mass_calibration_to_its_printed_digits() -> None:
    values = mass(np.random.default_rng(93))
    assert round(float(values.mean()), 3) == 1.234
    assert round(float(values.std(ddof=1)), 3) == 0.075
    assert shortest(values, 0.95) == pytest.approx((1.0834, 1.3825), abs=0.002)


@pytest.mark.parametrize(
    ("u", "digits", "delta"), [(0.0754, 1, 0.005), (0.0754, 2, 0.0005), (10.1, 1, 5), (2.0, 2, 0.05)]
)
def test_numerical_tolerance(u: float, digits: int, delta: float) -> None:
    """Clause 7.9.2: u = c x 10^l with c of so many digits; the tolerance is half of 10^l."""
    assert tolerance(u, digits) == pytest.approx(delta)
