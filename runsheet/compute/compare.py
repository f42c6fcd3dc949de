"""Comparing a figure with a limit.

Owns: the one tolerance every verdict is taken with, and where the noise of floats begins. Invariant: figures within
1e-9 relative are equal, so that 0.014 - 0.009 is within 0.005 although the binary floats disagree.
"""

from __future__ import annotations

import math

TOLERANCE = 1e-9
DECIMALS = 10
"""Of a figure that is drawn or charted. What is beyond them is noise of float arithmetic, such as the error of 1e-14 %
of a curve that goes through its standards: it would be drawn as large as the plot, and limits made of it would find
violations that are none."""


def equal(a: float, b: float) -> bool:
    """Whether two figures agree to the tolerance."""
    return abs(a - b) <= TOLERANCE * max(abs(a), abs(b))


def below(a: float, b: float) -> bool:
    """Whether `a` is less than `b`, beyond the tolerance."""
    return a < b and not equal(a, b)


def at_most(a: float, b: float) -> bool:
    """Whether `a` is `b` or less."""
    return a <= b or equal(a, b)


def inside(value: float, low: float | None, high: float | None) -> bool:
    """Whether a figure lies within inclusive limits; an absent limit does not apply."""
    return (low is None or at_most(low, value)) and (high is None or at_most(value, high))


def quiet(value: float) -> float:
    """A figure without the noise of floats."""
    return round(value, DECIMALS)


def finite(value: float | None) -> float | None:
    """The figure, or None for one that is no number: what cannot be computed is absent, not infinite."""
    return value if value is not None and math.isfinite(value) else None


def optional(value: object) -> float | None:
    """A number of the document as a float, None where there is none."""
    return None if value is None else float(value)  # type: ignore[arg-type]


def pair(limits: tuple[object, object] | None) -> tuple[float | None, float | None]:
    """A low and a high limit as floats, or two Nones."""
    return (None, None) if limits is None else (optional(limits[0]), optional(limits[1]))
