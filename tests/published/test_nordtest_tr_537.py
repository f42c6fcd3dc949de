"""Uncertainty from a laboratory's own work: the examples of Nordtest TR 537, from memory, recomputed.

ISO 11352 combines the same parts; its own examples were not at hand.
"""

from __future__ import annotations

import numpy as np
import pytest

from runsheet.compute.statistics import own_work
from runsheet.compute.statistics.own_work import Bias, Uncertainty


def test_ammonium_in_water_by_controls_and_six_rounds() -> None:
    biases = [2.4, 2.7, 1.9, 1.4, 1.8, 2.9]
    bias = own_work.bias_of_rounds(biases, [8.8] * 6, [33] * 6)
    assert bias.size == pytest.approx(2.25, abs=0.005)
    assert bias.reference == pytest.approx(1.53, abs=0.005)
    assert bias.u == pytest.approx(2.72, abs=0.005)
    made = Uncertainty(1.67, None, bias)
    assert made.precision == 1.67
    assert made.combined == pytest.approx(3.19, abs=0.005)
    assert made.expanded == pytest.approx(6.4, abs=0.05)


def test_one_certified_material() -> None:
    """Twelve results of one material, 3.48 % off, s 2.24 %, certified to u 2.21 %: u(bias) 4.2 %."""
    assert Bias(3.48, 2.21, 2.24 / 12**0.5).u == pytest.approx(4.17, abs=0.005)


def test_six_recoveries() -> None:
    """Recoveries 95, 98, 97, 96, 99 and 96 %: RMS 3.44 %; with u(Crecovery) 1.0 % u(bias) is 3.6 %."""
    size = own_work.rms([95 - 100, 98 - 100, 97 - 100, 96 - 100, 99 - 100, 96 - 100])
    assert size == pytest.approx(3.44, abs=0.005)
    assert Bias(size, 1.0).u == pytest.approx(3.6, abs=0.05)


def test_the_parts_of_random_pairs_and_controls_come_back() -> None:
    """A million pairs of a known relative s give it back: the mean range of two is 1.128 sigma."""
    random = np.random.default_rng(1)
    pairs = 100 + 5 * random.standard_normal((200_000, 2))
    rpds = 100 * np.abs(pairs[:, 0] - pairs[:, 1]) / pairs.mean(axis=1)
    assert own_work.of_duplicates(rpds.tolist()) == pytest.approx(5, rel=0.01)
    controls = (97 + 3 * random.standard_normal(50_000)).tolist()
    assert own_work.of_controls(controls) == pytest.approx(100 * 3 / 97, rel=0.02)
    bias = own_work.bias_of_one(controls, 1.0)
    assert bias.size == pytest.approx(-3, abs=0.05)
    assert bias.reference == 1


def test_what_nothing_tells_is_none_and_never_zero() -> None:
    assert own_work.of_controls([100.0] * 9) is None
    assert own_work.of_duplicates([1.0] * 7) is None
    assert Uncertainty(None, 2.0, Bias(1, 1)).precision is None
    assert Uncertainty(2.0, None, None).combined is None
    assert Uncertainty(None, None, Bias(1, 1)).expanded is None
