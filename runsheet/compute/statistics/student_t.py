"""Quantiles of Student's t distribution.

Owns: `one_sided` and `two_sided`. Invariant: agrees with a reference library to 1e-10 relative (see the tests);
importing one at run time would cost more than the whole start of the program.

Sources: regularised incomplete beta function and its continued fraction, Abramowitz & Stegun 26.5.8 and 26.7.1;
ratio of gamma functions, NIST DLMF 5.11.13 (from memory; checked against the reference library).
"""

from __future__ import annotations

import functools
import math


@functools.lru_cache(maxsize=1024)
def one_sided(probability: float, df: float) -> float:
    """The t with P(T <= t) = `probability` at `df` degrees of freedom.

    Raises ValueError for a probability not within 0 and 1 or degrees of freedom not above 0.
    """
    if not 0 < probability < 1 or df <= 0:
        raise ValueError(f"no quantile of t at probability {probability}, {df} degrees of freedom")
    if probability < 0.5:
        return -_two_tailed(1 - 2 * probability, 2 * probability, df)
    return _two_tailed(2 * probability - 1, 2 * (1 - probability), df)


@functools.lru_cache(maxsize=1024)
def two_sided(confidence: float, df: float) -> float:
    """The t with P(|T| <= t) = `confidence` at `df` degrees of freedom.

    Raises ValueError for a confidence not within 0 and 1 or degrees of freedom not above 0.
    """
    if not 0 < confidence < 1 or df <= 0:
        raise ValueError(f"no quantile of t at confidence {confidence}, {df} degrees of freedom")
    return _two_tailed(confidence, 1 - confidence, df)


def _two_tailed(centre: float, tails: float, df: float) -> float:
    """Solve P(|T| <= t) = `centre`, by whichever of `centre` and `tails` is small, so that neither loses digits."""
    if centre < 1e-9:  # the density is flat here, and its logarithm below would have nothing to work on
        return max(centre, 0.0) / (2 * _gamma_ratio(df / 2) / math.sqrt(df * math.pi))

    def excess(t: float) -> float:
        return _tails(t, df) - tails if tails < 0.5 else centre - _centre(t, df)

    high = 1.0
    while excess(high) > 0:
        high *= 2
    low, t = 0.0, high / 2
    for _ in range(200):
        off, density = excess(t), 2 * _density(t, df)
        low, high = (t, high) if off > 0 else (low, t)
        # Far out the tail falls by decades: Newton's step on its logarithm is the one that lands.
        step = (
            off / density
            if tails >= 0.5 or off <= 0
            else math.log1p(off / tails) * (off + tails) / density
            if density
            else math.inf
        )
        new = t + step if low < t + step < high else (low + high) / 2
        if abs(new - t) <= 1e-15 * t:
            return new
        t = new
    return t


def _gamma_ratio(a: float) -> float:
    """The ratio gamma(a + 1/2) / gamma(a); from 50 on by its series, where a difference of logarithms loses digits."""
    if a < 50:
        return math.exp(math.lgamma(a + 0.5) - math.lgamma(a))
    u = 1 / a
    return math.sqrt(a) * (1 - u / 8 + u**2 / 128 + 5 * u**3 / 1024 - 21 * u**4 / 32768 - 399 * u**5 / 262144)


def _density(t: float, df: float) -> float:
    return _gamma_ratio(df / 2) / math.sqrt(df * math.pi) * math.exp(-(df + 1) / 2 * math.log1p(t * t / df))


def _tails(t: float, df: float) -> float:
    """P(|T| > t)."""
    if t * t * (df + 2) < 3 * df:
        return 1 - _centre(t, df)
    return _front(t, df) / (df / 2) * _fraction(df / (df + t * t), df / 2, 0.5)


def _centre(t: float, df: float) -> float:
    """P(|T| <= t)."""
    if t * t * (df + 2) > 3 * df:
        return 1 - _tails(t, df)
    return _front(t, df) / 0.5 * _fraction(t * t / (df + t * t), 0.5, df / 2)


def _front(t: float, df: float) -> float:
    """x^a (1 - x)^b / B(a, b) of the incomplete beta function, the same for either tail."""
    inside = -df / 2 * math.log1p(t * t / df) + math.log(t) - math.log(df + t * t) / 2
    return _gamma_ratio(df / 2) / math.sqrt(math.pi) * math.exp(inside)


def _fraction(x: float, a: float, b: float) -> float:
    """Continued fraction of the incomplete beta function, by Lentz's method."""
    tiny = 1e-300
    c, d = 1.0, 1 - (a + b) * x / (a + 1)
    d = 1 / (d or tiny)
    value = d
    for m in range(1, 3000):
        for numerator in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1 + numerator * d
            c = 1 + numerator / c
            d, c = 1 / (d or tiny), c or tiny
            value *= d * c
        if abs(d * c - 1) < 1e-16:
            break
    return value
