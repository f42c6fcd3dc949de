"""The run rules of Nelson (1984), Journal of Quality Technology 16, 237-239, each from its definition.

The definitions were read; series and windows are made up. That ties break a run is this project's reading.
"""

from __future__ import annotations

import itertools
import random
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.compute.statistics.control_charts import RULES, violations
from tests.make import examples

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

EVERY = tuple(RULES)
Series = list[float]


def met(rule: int, values: Sequence[float], centre: float = 0, sigma: float = 1) -> list[int]:
    return [found.at for found in violations(values, centre, sigma, [rule])]


# A series that meets its rule at its last point and nowhere before, and where to put what breaks it: a tie, or a point
# on the line. Rule 7 counts one on its line as within, so there it is one just beyond.
MEETS: dict[int, tuple[Series, int, float]] = {
    1: ([0.5, -0.5, 3.1], 2, 3.0),
    2: ([-0.5, 0.5, 1.5, 0.2, 0.4, 0.1, 2.5, 0.3, 0.7, 0.6], 5, 0.0),
    3: ([0.5, -1.0, -0.6, -0.2, 0.1, 0.4, 0.9], 3, -0.6),
    4: ([0.1, *[0.5, -0.5, 0.6, -0.4] * 3, 0.5], 6, 0.5),
    5: ([-2.5, 2.1, 0.3, 2.4], 3, 2.0),
    6: ([1.2, 0.4, 1.3, 2.8, 1.4], 3, 1.0),
    7: ([1.5, *[0.9, -0.9, 0.0, 0.2, -0.3] * 3], 8, -1.01),
    8: ([0.2, 1.1, 1.2, -1.3, 2.2, 1.4, -1.1, 1.9, 1.6], 4, 1.0),
}


@pytest.mark.parametrize("rule", EVERY)
def test_each_rule_is_met_at_the_point_that_completes_it(rule: int) -> None:
    values, _, _ = MEETS[rule]
    assert met(rule, values) == [len(values) - 1]


@pytest.mark.parametrize("rule", EVERY)
def test_each_rule_fails_one_point_short(rule: int) -> None:
    values, _, _ = MEETS[rule]
    first = {1: 2, 4: 0, 5: 1, 6: 0}.get(rule, 1)
    assert met(rule, values[:first] + values[first + 1 :]) == []


@pytest.mark.parametrize("rule", EVERY)
def test_each_rule_is_broken_by_a_tie(rule: int) -> None:
    values, place, tie = MEETS[rule]
    assert met(rule, [*values[:place], tie, *values[place + 1 :]]) == []


@pytest.mark.parametrize("rule", EVERY)
def test_each_rule_reads_both_sides_alike(rule: int) -> None:
    values, _, _ = MEETS[rule]
    assert met(rule, [-value for value in values]) == [len(values) - 1]
    assert met(rule, [70 + 5 * value for value in values], 70, 5) == [len(values) - 1]


def test_eight_on_one_side_are_not_rule_eight_although_the_run_has_both() -> None:
    values = [-1.5, *[1.5] * 8]
    assert met(8, values) == [7]
    assert met(7, [1.0] * 15) == [14]


def test_the_completing_point_takes_part() -> None:
    assert met(5, [2.5, 2.5, 0.0]) == [1]
    assert met(5, [2.5, 0.0, 0.0, 2.5]) == []
    assert met(5, [2.5, -2.5, 2.5, -2.5]) == [2, 3]
    assert met(6, [1.5, 1.5, 1.5, 1.5, 0.0]) == [3]
    assert met(6, [1.5, 1.5, 0.0, 0.0, 1.5, 1.5]) == []


@pytest.mark.parametrize(
    ("rule", "points", "words"),
    [
        (1, [2], "more than 3 sigma above the mean"),
        (2, range(1, 10), "the ninth in a row above the mean"),
        (3, range(1, 7), "the sixth in a row rising"),
        (4, range(14), "the fourteenth in a row alternating up and down"),
        (5, [1, 3], "2 of 3 in a row more than 2 sigma above the mean"),
        (6, [0, 2, 3, 4], "4 of 5 in a row more than 1 sigma above the mean"),
        (7, range(1, 16), "the fifteenth in a row within 1 sigma of the mean"),
        (8, range(1, 9), "the eighth in a row more than 1 sigma from the mean, on both sides of it"),
    ],
)
def test_points_and_words(rule: int, points: Sequence[int], words: str) -> None:
    (found,) = violations(MEETS[rule][0], 0, 1, [rule])
    assert (found.rule, list(found.points), found.words) == (rule, list(points), words)


# A second statement of each rule: whether the window of the last points, and nothing else, meets it.


def up_down(window: Series) -> list[str]:
    return ["u" if b > a else "d" if b < a else "=" for a, b in itertools.pairwise(window)]


WINDOWS: dict[int, tuple[int, Callable[[Series], bool]]] = {
    1: (1, lambda w: abs(w[0]) > 3),
    2: (9, lambda w: min(w) > 0 or max(w) < 0),
    3: (6, lambda w: len(set(w)) == 6 and w in (sorted(w), sorted(w, reverse=True))),
    4: (14, lambda w: "".join(up_down(w)) in ("ud" * 6 + "u", "du" * 6 + "d")),
    5: (3, lambda w: any(sum(x * side > 2 for x in w) >= 2 and w[-1] * side > 2 for side in (1, -1))),
    6: (5, lambda w: any(sum(x * side > 1 for x in w) >= 4 and w[-1] * side > 1 for side in (1, -1))),
    7: (15, lambda w: max(map(abs, w)) <= 1),
    8: (8, lambda w: min(map(abs, w)) > 1 and min(w) < 0 < max(w)),
}


def expected(rule: int, values: Series) -> list[int]:
    """Try the window that ends at each point; the rules of two of three and four of five may lack their first."""
    size, meets = WINDOWS[rule]
    short = {5: 1, 6: 1}.get(rule, 0)
    padded = [0.0] * short + values
    return [end - short - 1 for end in range(size, len(padded) + 1) if meets(padded[end - size : end])]


# Quarters are exact in binary, and neighbours and lines are often met.
QUARTERS = st.integers(-15, 15).map(lambda n: n / 4)
RISING = st.lists(st.integers(0, 2), min_size=4, max_size=8).map(lambda steps: list(np.cumsum(steps) / 4.0 - 1.0))
SAW = st.integers(10, 18).map(lambda n: [0.5 - (i % 2) for i in range(n)])
LEVEL = st.tuples(QUARTERS, st.integers(3, 16)).map(lambda pair: [pair[0]] * pair[1])
SMALL = st.lists(st.integers(-4, 4).map(lambda n: n / 4), min_size=10, max_size=20)
LARGE = st.lists(st.sampled_from([-1.5, -1.25, 1.25, 1.5, 1.0]), min_size=5, max_size=12)
PIECES = st.lists(QUARTERS, max_size=6) | RISING | SAW | LEVEL | SMALL | LARGE
SERIES = st.lists(PIECES, max_size=5).map(lambda pieces: [float(value) for piece in pieces for value in piece])


@pytest.mark.parametrize("rule", EVERY)
@given(values=SERIES)
@examples(300)
def test_each_rule_against_its_window(rule: int, values: Series) -> None:
    assert met(rule, values) == expected(rule, values)


@pytest.mark.parametrize("rule", EVERY)
def test_each_rule_against_its_window_on_long_random_series(rule: int) -> None:
    draw = random.Random(rule)  # noqa: S311 - figures, no secret
    hits = 0
    for spread in (0.4, 0.7, 1.0, 2.0):
        for values in ([round(draw.gauss(0.3, spread) * 16) / 16 for _ in range(2000)] for _ in range(3)):
            values[100:120] = [0.5 - i % 2 for i in range(20)]  # what chance seldom makes
            values[200:212] = [1.5 - 3 * (i % 2) for i in range(12)]
            values[300:320] = [0.0625 * (i % 3 - 1) for i in range(20)]
            assert met(rule, values) == expected(rule, values)
            hits += len(met(rule, values))
    assert hits > 10
