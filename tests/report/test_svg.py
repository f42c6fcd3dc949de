"""The axes of a drawn plot: round numbers, few of them, all within."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.report import svg
from runsheet.show.plot import Plot


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (-10, 210, [0, 50, 100, 150, 200]),
        (-0.5, 32.5, [0, 10, 20, 30]),
        (94.7, 106, [96, 98, 100, 102, 104, 106]),
        (-0.0033, 0.0026, [-0.003, -0.002, -0.001, 0, 0.001, 0.002]),
    ],
)
def test_round_numbers(low: float, high: float, expected: list[float]) -> None:
    assert svg.ticks(low, high) == pytest.approx(expected, abs=1e-12)


@given(st.floats(-1e6, 1e6), st.floats(1e2, 1e9))
def test_some_and_not_many_all_within_and_evenly_spaced(low: float, width: float) -> None:
    high = low + width
    found = svg.ticks(low, high)
    assert 2 <= len(found) <= svg.TICKS
    slack = width * 1e-6
    assert all(low - slack <= tick <= high + slack for tick in found)
    assert all(math.isclose(b - a, found[1] - found[0], rel_tol=1e-3) for a, b in itertools.pairwise(found))


def test_a_plot_of_one_place_is_drawn() -> None:
    assert "<circle" in svg.draw(Plot(((1.0, 1.0, "o"),)))
    assert 'r="2" fill="#000"' in svg.draw(Plot(((1.0, 1.0, "."),)))
