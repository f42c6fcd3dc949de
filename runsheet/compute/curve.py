"""The fit of a calibration curve and its inverse.

Owns: least squares for the fitted models, and one general formula for the concentration of a reading and its standard
uncertainty. Invariant: floats and tuples only; a fit of a few points needs no library, and a key no import.

Sources: weighted least squares and inverse prediction, Miller & Miller, Statistics and Chemometrics for Analytical
Chemistry, chapter 5; diagnostics, EPA SW-846 8000D.

A rise that rounding alone could make (1e-12 of the largest signal over the range) is none.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from operator import mul

from runsheet.compute.compare import finite

WEIGHTS = {"none": 0, "1/x": 1, "1/x2": 2}
"""The power of 1/x each weighting stands for."""

POWERS = {"mean-factor": (1,), "line-through-zero": (1,), "line": (0, 1), "quadratic": (0, 1, 2)}
"""The powers of x each model fits."""

ROUNDING = 1e-12
"""What part of the largest signal a rise over the range must exceed to be one."""

Matrix = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Curve:
    """A fitted calibration curve, y = sum of coefficients times powers of x.

    x is mg/L in the extract solvent, y the net absorbance.
    """

    model: str
    coefficients: tuple[float, ...]
    """By rising power from the intercept, in the units of x and y."""
    powers: tuple[int, ...]
    scale: float
    """x is divided by this before it is fitted: a raw large x loses digits in a quadratic."""
    covariance: Matrix | None
    """Of the scaled coefficients; None with as many points as coefficients."""
    n: int
    p: int
    s: float | None
    """Residual standard deviation, weights scaled to mean 1."""
    r2: float | None
    low: float
    high: float
    """Lowest and highest fitted level above 0."""
    size: float
    """Largest net signal, either sign."""
    weight_power: int
    weight_unit: float
    """The factor that scales the weights to mean 1."""

    @property
    def middle(self) -> float:
        """The middle of the range, mg/L."""
        return (self.low + self.high) / 2

    def signal(self, x: float) -> float:
        """The signal y at a concentration."""
        y = 0.0
        for coefficient in reversed(self.coefficients):
            y = y * x + coefficient
        return y

    def slope(self, x: float) -> float:
        """The slope dy/dx at a concentration."""
        if self.model != "quadratic":
            return self.coefficients[1]
        return self.coefficients[1] + 2 * self.coefficients[2] * x

    @property
    def rises(self) -> bool:
        """Whether the slope is above 0 in the whole range; it is linear in x, so the two ends tell."""
        # A slope that rounding alone could make is none: equal readings fit one of some 1e-18.
        least = ROUNDING * self.size / self.high
        return self.slope(self.low) > least and self.slope(self.high) > least

    @property
    def r(self) -> float | None:
        """The correlation: the root of r2, with the sign of the slope in the middle of the range."""
        if self.r2 is None or self.r2 < 0:
            return None
        return math.copysign(math.sqrt(self.r2), self.slope(self.middle))

    def concentration(self, y: float) -> float | None:
        """The concentration of a net reading; for a quadratic the root nearest the middle of the range.

        None where there is no real root.
        """
        a, b = self.coefficients[0] - y, self.coefficients[1]
        c = self.coefficients[2] if self.model == "quadratic" else 0.0
        if c == 0:
            return finite((y - self.coefficients[0]) / b) if b else None  # not -a / b: what reads nothing is no -0
        inside = b * b - 4 * a * c
        if not inside >= 0:
            return None
        # The form that does not subtract nearly equal numbers, whichever the sign of b.
        q = -(b + math.copysign(math.sqrt(inside), b)) / 2
        roots = [root for root in (q / c, a / q if q else None) if root is not None and math.isfinite(root)]
        return min(roots, key=lambda root: abs(root - self.middle), default=None)

    def gradient(self, x: float) -> tuple[float, ...]:
        """The derivative of y in each scaled coefficient at a concentration."""
        part = x / self.scale
        if self.model == "line":
            return 1.0, part
        return (1.0, part, part * part) if self.model == "quadratic" else (part,)

    def variance(self, left: tuple[float, ...], right: tuple[float, ...]) -> float:
        """The covariance left' V right of two linear combinations of the scaled coefficients."""
        total = 0.0
        for a, row in zip(left, self.covariance or (), strict=True):
            total += a * sum(map(mul, row, right))
        return total

    def reading_variance(self, x: float, m: int, step: float) -> float:
        """The variance of the mean of m readings at x: their own scatter, or the display's step where larger.

        Below the lowest level the weight stays that of the lowest level.
        """
        scatter = (self.s or 0.0) * (self.s or 0.0) / (m * self.weight_unit)
        for _ in range(self.weight_power):
            scatter *= max(x, self.low)
        return max(scatter, step * step / 12)

    def u(self, x: float, m: int, step: float) -> float | None:
        """The standard uncertainty of a concentration from m readings with display step `step` (absorbance)."""
        slope = self.slope(x)
        if self.covariance is None or not slope:
            return None
        f = self.gradient(x)
        variance = self.reading_variance(x, m, step) + self.variance(f, f)
        return finite(math.sqrt(variance) / abs(slope)) if variance >= 0 else None


@functools.lru_cache(maxsize=256)
def fit(model: str, weighting: str, points: tuple[tuple[float, float], ...], zero: float | None = None) -> Curve | None:
    """A model fitted to points (x, y) with x above 0, and once to (0, `zero`) where that is given.

    `weighting` is none, 1/x or 1/x2; the mean response factor is the line through zero weighted 1/x2. The point at
    zero has the weight of the lowest level. None where the points do not determine the coefficients. Kept by its
    arguments: a reading typed in the queue refits nothing.
    """
    try:
        return _fit(model, 2 if model == "mean-factor" else WEIGHTS[weighting], points, zero)
    except (OverflowError, ZeroDivisionError, ValueError):  # figures that a float does not hold
        return None


def _fit(model: str, power: int, points: tuple[tuple[float, float], ...], zero: float | None) -> Curve | None:
    powers = POWERS[model]
    low, high = min(x for x, _ in points), max(x for x, _ in points)
    every = [*points, *(() if zero is None else ((0.0, zero),))]
    n, p = len(every), len(powers)
    raw = [max(x, low) ** -power for x, _ in every]
    unit = n / math.fsum(raw)
    root = [math.sqrt(weight * unit) for weight in raw]
    columns = [[w * (x / high) ** k for w, (x, _) in zip(root, every, strict=True)] for k in powers]
    target = [w * y for w, (_, y) in zip(root, every, strict=True)]
    solved = least_squares(columns, target)
    if solved is None:
        return None
    scaled, rest, inverse = solved
    residual = _dot(rest, rest)
    centre = _dot(root, target) / _dot(root, root) if 0 in powers else 0.0
    off = [w * (y - centre) for w, (_, y) in zip(root, every, strict=True)]
    total = _dot(off, off)
    s = math.sqrt(residual / (n - p)) if n > p else None
    coefficients = [scaled[powers.index(k)] / high**k if k in powers else 0.0 for k in range(powers[-1] + 1)]
    if not all(map(math.isfinite, (*coefficients, residual))):
        return None
    return Curve(
        model=model,
        coefficients=tuple(coefficients),
        powers=powers,
        scale=high,
        covariance=None if s is None else tuple(tuple(s * s * _dot(a, b) for b in inverse) for a in inverse),
        n=n,
        p=p,
        s=s,
        r2=finite(1 - residual / total) if total > 0 else None,
        low=low,
        high=high,
        size=max(abs(y) for _, y in every),
        weight_power=power,
        weight_unit=unit,
    )


def least_squares(
    columns: list[list[float]], target: list[float]
) -> tuple[list[float], list[float], list[list[float]]] | None:
    """Coefficients, residuals and the inverse of R of a least-squares problem of a few columns.

    The columns are orthogonalised one after the other, each twice, which keeps them orthogonal to the last digits
    (Bjorck, Numerical Methods for Least Squares Problems, 1996, section 2.4, from memory). None where the columns do
    not determine the coefficients.
    """
    p = len(columns)
    if len(target) < p:
        return None
    basis: list[list[float]] = []
    r = [[0.0] * p for _ in range(p)]
    for k, column in enumerate(columns):
        rest = column
        for _ in range(2):
            for j, q in enumerate(basis):
                part = _dot(q, rest)
                r[j][k] += part
                rest = [a - part * b for a, b in zip(rest, q, strict=True)]
        r[k][k] = math.sqrt(_dot(rest, rest))
        if not r[k][k] > LEAST_PART * max(abs(value) for row in r for value in row):
            return None
        basis.append([value / r[k][k] for value in rest])
    inverse = _inverse(r)
    parts = [_dot(q, target) for q in basis]
    found = [_dot(row, parts) for row in inverse]
    rest = target
    for coefficient, column in zip(found, columns, strict=True):
        rest = [a - coefficient * b for a, b in zip(rest, column, strict=True)]
    # What is left over is fitted once more: the last digits that rounding took from the first solution.
    more = [_dot(row, [_dot(q, rest) for q in basis]) for row in inverse]
    found = [a + b for a, b in zip(found, more, strict=True)]
    for coefficient, column in zip(more, columns, strict=True):
        rest = [a - coefficient * b for a, b in zip(rest, column, strict=True)]
    return found, rest, inverse


LEAST_PART = 1e-13
"""How small a column's own part may be beside the largest before it is taken for rounding."""


def _dot(left: list[float], right: list[float]) -> float:
    return math.fsum(map(mul, left, right))


def _inverse(r: list[list[float]]) -> list[list[float]]:
    """The inverse of an upper triangular matrix."""
    p = len(r)
    made = [[0.0] * p for _ in range(p)]
    for column in range(p):
        made[column][column] = 1 / r[column][column]
        for row in range(column - 1, -1, -1):
            inner = math.fsum(r[row][k] * made[k][column] for k in range(row + 1, column + 1))
            made[row][column] = -inner / r[row][row]
    return made
