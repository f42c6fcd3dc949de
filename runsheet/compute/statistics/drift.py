"""A slow change of a figure across runs: the cumulative sum, and the slope over time.

Owns: `cusum`, `trend`. Invariant: pure; both read points in their order of time and neither says what changed.

Sources: tabular CUSUM, NIST/SEMATECH e-Handbook 6.3.2.3 (from memory); the slope is an ordinary least-squares line over
time, its interval by Student t.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from runsheet.compute.statistics.student_t import two_sided

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

K, H = 0.5, 5.0
"""Slack and decision interval in sigma (e-Handbook 6.3.2.3: half a sigma, and 4 to 5, are usual)."""
TREND_FROM = 6
"""Points a slope is told from (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Signal:
    """A cumulative sum beyond its decision interval."""

    at: int
    """Place of the point, from 0."""
    began: int
    """Place of the first point of the sum: where the change is thought to have begun."""
    side: Literal["above", "below"]
    sigmas: float
    """The sum, in sigma."""


def sums(values: Sequence[float], mean: float, k: float) -> Iterator[tuple[float, float]]:
    """The upper and the lower cumulative sum at each point, in the unit of the values; `k` is the slack in it."""
    high = low = 0.0
    for value in values:
        high, low = max(0.0, high + value - mean - k), max(0.0, low + mean - k - value)
        yield high, low


def cusum(values: Sequence[float], mean: float, sigma: float, k: float = K, h: float = H) -> tuple[Signal, ...]:
    """Every point whose upper or lower sum is beyond `h` sigma; none where sigma is 0."""
    if sigma <= 0:
        return ()
    found, began = [], [0, 0]
    for at, both in enumerate(sums(values, mean, k * sigma)):
        for side, total in enumerate(both):
            if total <= 0:
                began[side] = at + 1
            elif total > h * sigma:
                found.append(Signal(at, began[side], "below" if side else "above", total / sigma))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Trend:
    """How fast a figure moves."""

    per_day: float
    """In its own unit."""
    low: float
    high: float
    """The two-sided interval of it."""
    confidence: float

    @property
    def is_one(self) -> bool:
        """Whether the interval leaves no change out."""
        return self.low > 0 or self.high < 0


def trend(days: Sequence[float], values: Sequence[float], confidence: float = 0.95) -> Trend | None:
    """The slope of values over days; None for fewer than six points, or points of one day."""
    n = len(values)
    if n < TREND_FROM:
        return None
    day, value = math.fsum(days) / n, math.fsum(values) / n
    ssx = math.fsum((each - day) ** 2 for each in days)
    if ssx <= 0:
        return None
    slope = math.fsum((x - day) * (y - value) for x, y in zip(days, values, strict=True)) / ssx
    rest = math.fsum((y - value - slope * (x - day)) ** 2 for x, y in zip(days, values, strict=True))
    half = two_sided(confidence, n - 2) * math.sqrt(rest / (n - 2) / ssx)
    return Trend(slope, slope - half, slope + half, confidence)
