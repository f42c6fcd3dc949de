"""Rounding for the report.

Owns: significant figures, half to even (ASTM E29), decided on the decimal characters of the unrounded figure.
Invariant: no verdict is ever taken on a rounded figure.
"""

from __future__ import annotations

import functools
from decimal import ROUND_HALF_EVEN, Decimal

Figures = str | int


@functools.lru_cache(maxsize=4096)  # at a key one row's result is another, and a thousand are what they were
def significant(value: float, figures: Figures = "1664") -> str:
    """Round to significant figures and write without an exponent, trailing zeros kept.

    `figures` is a number, or "1664": three from 10 up and two below (EPA 1664B). The figure decides on its unrounded
    value: 9.96 has two and becomes 10.
    """
    exact = Decimal(repr(value))
    if not exact:
        return "0"
    digits = int(figures) if figures != "1664" else 3 if abs(exact) >= 10 else 2
    place = exact.adjusted() - digits + 1
    rounded = _quantize(exact, place)
    if rounded.adjusted() > exact.adjusted():  # 9.96 became 10.0: one figure too many
        rounded = _quantize(exact, place + 1)
    return format(rounded, "f")


def _quantize(exact: Decimal, place: int) -> Decimal:
    return exact.quantize(_unit(place), ROUND_HALF_EVEN)


@functools.cache
def _unit(place: int) -> Decimal:
    """One in a decimal place."""
    return Decimal((0, (1,), place))
