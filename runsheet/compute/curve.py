"""The fit of a calibration curve and its inverse.

Owns: least squares for the fitted models, and one general formula for the concentration of a reading and its standard
uncertainty. Invariant: numpy stays inside this module and nothing leaves it but floats and tuples.

Sources: weighted least squares and inverse prediction, Miller & Miller, Statistics and Chemometrics for Analytical
Chemistry, chapter 5; diagnostics, EPA SW-846 8000D.
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
        """Give y at a concentration."""
        y = 0.0
        for coefficient in reversed(self.coefficients):
            y = y * x + coefficient
        return y

    def slope(self, x: float) -> float:
        """Give dy/dx at a concentration."""
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
        """Give the correlation: the root of r2, with the sign of the slope in the middle of the range."""
        if self.r2 is None or self.r2 < 0:
            return None
        return math.copysign(math.sqrt(self.r2), self.slope(self.middle))

    def concentration(self, y: float) -> float | None:
        """Give the concentration of a net reading; for a quadratic the root nearest the middle of the range.

        None where there is no real root.
        """
        a, b = self.coefficients[0] - y, self.coefficients[1]
        c = self.coefficients[2] if self.model == "quadratic" else 0.0
        if c == 0:
            return finite(-a / b) if b else None
        inside = b * b - 4 * a * c
        if not inside >= 0:
            return None
        # The form that does not subtract nearly equal numbers, whichever the sign of b.
        q = -(b + math.copysign(math.sqrt(inside), b)) / 2
        roots = [root for root in (q / c, a / q if q else None) if root is not None and math.isfinite(root)]
        return min(roots, key=lambda root: abs(root - self.middle), default=None)

    def gradient(self, x: float) -> tuple[float, ...]:
        """Give the derivative of y in each scaled coefficient at a concentration."""
        part = x / self.scale
        if self.model == "line":
            return 1.0, part
        return (1.0, part, part * part) if self.model == "quadratic" else (part,)

    def variance(self, left: tuple[float, ...], right: tuple[float, ...]) -> float:
        """Give left' V right, the covariance of two linear combinations of the scaled coefficients."""
        total = 0.0
        for a, row in zip(left, self.covariance or (), strict=True):
            total += a * sum(map(mul, row, right))
        return total

    def reading_variance(self, x: float, m: int, step: float) -> float:
        """Give the variance of the mean of m readings at x: their own scatter, or the display's step where larger.

        Below the lowest level the weight stays that of the lowest level.
        """
        scatter = (self.s or 0.0) * (self.s or 0.0) / (m * self.weight_unit)
        for _ in range(self.weight_power):
            scatter *= max(x, self.low)
        return max(scatter, step * step / 12)

    def u(self, x: float, m: int, step: float) -> float | None:
        """Give the standard uncertainty of a concentration from m readings with display step `step` (absorbance)."""
        slope = self.slope(x)
        if self.covariance is None or not slope:
            return None
        f = self.gradient(x)
        variance = self.reading_variance(x, m, step) + self.variance(f, f)
        return finite(math.sqrt(variance) / abs(slope)) if variance >= 0 else None


@functools.lru_cache(maxsize=256)
def fit(model: str, weighting: str, points: tuple[tuple[float, float], ...], zero: float | None = None) -> Curve | None:
    """Fit a model to points (x, y) with x above 0, and once to (0, `zero`) where that is given.

    `weighting` is none, 1/x or 1/x2; the mean response factor is the line through zero weighted 1/x2. The point at
    zero has the weight of the lowest level. None where the points do not determine the coefficients. Kept by its
    arguments: a reading typed in the queue refits nothing.
    """
    import numpy as np

    powers = POWERS[model]
    power = 2 if model == "mean-factor" else WEIGHTS[weighting]
    low, high = min(x for x, _ in points), max(x for x, _ in points)
    x = np.array([x for x, _ in points] + ([] if zero is None else [0.0]))
    y = np.array([y for _, y in points] + ([] if zero is None else [zero]))
    n, p = len(x), len(powers)
    with np.errstate(all="ignore"):
        raw = np.maximum(x, low) ** -float(power)
        unit = 1 / raw.mean()
        root = np.sqrt(raw * unit)
        design = root[:, None] * np.column_stack([(x / high) ** k for k in powers])
        target = root * y
        if not (np.isfinite(design).all() and np.isfinite(target).all()) or n < p:
            return None
        q, r = np.linalg.qr(design)
        if not np.abs(np.diag(r)).min() > 1e-13 * np.abs(r).max():
            return None
        inverse = np.linalg.inv(r)
        scaled = inverse @ (q.T @ target)
        residual = float(np.square(target - design @ scaled).sum())
        centre = (root**2 * y).sum() / (root**2).sum() if 0 in powers else 0.0
        total = float(np.square(root * (y - centre)).sum())
        s = math.sqrt(residual / (n - p)) if n > p else None
        covariance = None if s is None else s * s * inverse @ inverse.T
        coefficients = [float(scaled[powers.index(k)] / high**k) if k in powers else 0.0 for k in range(powers[-1] + 1)]
    if not all(map(math.isfinite, coefficients)) or not math.isfinite(residual):
        return None
    return Curve(
        model=model,
        coefficients=tuple(coefficients),
        powers=powers,
        scale=high,
        covariance=None if covariance is None else tuple(tuple(map(float, row)) for row in covariance),
        n=n,
        p=p,
        s=s,
        r2=finite(1 - residual / total) if total > 0 else None,
        low=low,
        high=high,
        size=float(np.abs(y).max()),
        weight_power=power,
        weight_unit=float(unit),
    )
