"""Propagation of distributions by a Monte Carlo method (JCGM 101:2008), beside the first-order uncertainty.

Owns: the draws, the shortest coverage interval, and whether a first-order U is validated. Invariant: the quantities
drawn are those of the first-order formula and no others, so that what differs is the linearisation and the shape of the
distributions; a run gives the same figures each time, since the draws begin at one seed.

Sources: JCGM 101:2008, clauses 6.4 (distributions), 7.7 (shortest interval), 8 (validation), from memory; its clause 9
is recomputed in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from runsheet.compute.calibration import confidence
from runsheet.compute.photometry import step_signal
from runsheet.compute.readings import relative_parts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from runsheet.compute.curve import Curve
    from runsheet.compute.results import CalibrationResult, RowResult, Sheet

    Draws = NDArray[np.float64]

SEED = 101
DRAWS = 100_000
LEAST = 1000
"""Draws below which the ends of a 95 % interval say little."""


@dataclass(frozen=True, slots=True)
class Propagated:
    """What the draws of one result come to, in the result's unit."""

    id: str
    draws: int
    mean: float | None
    """None where the distribution drawn from has none: t of one degree of freedom, as of two displayed figures."""
    u: float | None
    """Standard deviation of the draws; None where the distribution has none, with up to two degrees of freedom."""
    low: float
    high: float
    """The shortest interval that holds the coverage probability."""
    probability: float
    tolerance: float
    """Numerical tolerance of u written with one digit (clause 7.9.2); of U / k where the draws have no u."""
    validated: bool | None
    """Whether both ends of result +/- U agree with the interval within the tolerance; None without a U, `too_few`, or
    where they do not by no more than the draws may be off by chance."""

    @property
    def too_few(self) -> bool:
        """Whether not one draw lies outside an interval of this probability: its ends are then as the draws fell."""
        return (1 - self.probability) * self.draws < 1 - 1e-6


def propagate(sheet: Sheet, draws: int = DRAWS, only: str | None = None) -> list[Propagated]:
    """Draw every reported result of a sheet, or only that of one row, so many times."""
    random = np.random.default_rng(SEED)
    curves: dict[str, Draws | None] = {}
    found = []
    for row in sheet.rows:
        if row.result is None or not row.is_reported or row.calibration is None or only not in (None, row.id):
            continue
        sigma = _sigma(row.calibration, random, draws)
        if row.calibration.id not in curves:
            curves[row.calibration.id] = _refitted(row.calibration, sigma, random)
        values = _results(row, sheet, curves[row.calibration.id], sigma, random)
        if values is not None:
            found.append(_summed(row, values, _freedom(row, sheet)))
    return found


def shortest(values: Draws, probability: float) -> tuple[float, float]:
    """The shortest interval that holds a probability of the draws (JCGM 101, 7.7); all of them where too few."""
    ordered = np.sort(values)
    inside = min(round(probability * len(ordered)), len(ordered) - 1)
    widths = ordered[inside:] - ordered[: len(ordered) - inside]
    at = int(np.argmin(widths))
    return float(ordered[at]), float(ordered[at + inside])


def tolerance(u: float, digits: int = 1) -> float:
    """Half a unit in the last of so many significant digits of a standard uncertainty (JCGM 101, 7.9.2)."""
    if not u > 0 or not math.isfinite(u):
        return 0.0
    return 0.5 * 10.0 ** (math.floor(math.log10(u)) - digits + 1)


def validated(first: tuple[float, float], drawn: tuple[float, float], delta: float) -> bool:
    """Whether both ends of a first-order interval agree with the drawn one within a tolerance (JCGM 101, 8.1)."""
    return all(abs(one - other) <= delta for one, other in zip(first, drawn, strict=True))


PARTS = 10
"""Parts of the draws whose intervals tell how far one may be off (as the batches of clause 7.9.4)."""
CHANCE = 3
"""Standard deviations of an end within which a difference may be chance (common practice, no source)."""


def chance(values: Draws, probability: float) -> float:
    """How far an end of the shortest interval may be off by the luck of the draws.

    Its ends settle with the cube root of the number of draws (of the shortest half: Andrews and others 1972, from
    memory).
    """
    ends = [shortest(part, probability) for part in np.array_split(values, PARTS)]
    return float(CHANCE * np.std(ends, axis=0, ddof=1).max() / np.cbrt(PARTS))


# --- what is drawn ------------------------------------------------------------------------------------------------


def _sigma(calibration: CalibrationResult, random: np.random.Generator, draws: int) -> Draws:
    """The residual standard deviation: known from n - p degrees of freedom, so it is drawn too (6.4.9)."""
    curve = calibration.curve
    if curve is None or curve.s is None:
        return np.zeros(draws)
    freedom = curve.n - curve.p
    return np.asarray(curve.s * np.sqrt(freedom / random.chisquare(freedom, draws)))


def _refitted(calibration: CalibrationResult, sigma: Draws, random: np.random.Generator) -> Draws | None:
    """The coefficients of the curve fitted anew in every draw, by rising power of the scaled x: shape (p, draws)."""
    curve = calibration.curve
    if curve is None:
        return None
    points = [(s.x, s.y) for s in calibration.standards if s.used and s.x > 0 and s.y is not None]
    xs = [x for x, _ in points] + [0.0] * (curve.n - len(points))
    root = np.sqrt([curve.weight_unit * max(x, curve.low) ** -curve.weight_power for x in xs])
    design = np.array([[(x / curve.scale) ** k for k in curve.powers] for x in xs])
    fitted = np.array([curve.signal(x) for x in xs])
    drawn = fitted[:, None] + sigma * random.standard_normal((len(xs), len(sigma))) / root[:, None]
    # The fit is linear in y: one matrix makes the coefficients of every draw.
    return np.asarray(np.linalg.pinv(root[:, None] * design) @ (root[:, None] * drawn))


def _results(
    row: RowResult, sheet: Sheet, coefficients: Draws | None, sigma: Draws, random: np.random.Generator
) -> Draws | None:
    """The result of a row in every draw."""
    if row.net is None or row.factor is None or row.mean is None or row.calibration is None or row.extract is None:
        return None
    instrument = sheet.run.instrument
    step = step_signal(float(instrument.step or 0), instrument.reads, row.mean)
    curve = row.calibration.curve
    if row.calibration.direct:
        extract = row.net + _displayed(row, step, random, len(sigma))
    elif curve is None or coefficients is None or curve.s is None:
        return None
    else:
        extract = _inverse(curve, coefficients, row.net + _read(row, curve, sigma, step, random), row.extract)
    relative = relative_parts(sheet.run.method.uncertainty)
    if row.amounts is None or row.amounts.dilution <= 1:
        relative.pop("dilution", None)
    for percent in relative.values():
        extract = extract * (1 + percent / 100 * random.standard_normal(len(sigma)))
    return np.asarray(extract * row.factor)


def _read(row: RowResult, curve: Curve, sigma: Draws, step: float, random: np.random.Generator) -> Draws:
    """The deviation of a mean reading: its scatter, or the display's step where that is larger (a rectangle)."""
    weight = curve.weight_unit * max(row.extract or 0.0, curve.low) ** -curve.weight_power
    scatter = 1 / math.sqrt(len(row.signals) * weight)
    if (curve.s or 0.0) * scatter >= step / math.sqrt(12):
        return np.asarray(sigma * scatter * random.standard_normal(len(sigma)))
    return random.uniform(-step / 2, step / 2, len(sigma))


def _displayed(row: RowResult, step: float, random: np.random.Generator, draws: int) -> Draws:
    """The deviation of a displayed concentration: t from its own readings, or the display's step where larger."""
    if scatter := _scatter(row, step):
        return np.asarray(scatter * random.standard_t(len(row.signals) - 1, draws))
    return random.uniform(-step / 2, step / 2, draws)


def _scatter(row: RowResult, step: float) -> float:
    """The standard deviation of a displayed row's mean by its own readings; 0 where the display's step is larger."""
    m, mean = len(row.signals), row.mean or 0.0
    scatter = math.sqrt(sum((value - mean) ** 2 for value in row.signals) / (m - 1) / m) if m > 1 else 0.0
    return scatter if scatter >= step / math.sqrt(12) else 0.0


def _freedom(row: RowResult, sheet: Sheet) -> float:
    """The degrees of freedom of what was drawn as t."""
    curve = row.calibration.curve if row.calibration else None
    if curve is not None:
        return curve.n - curve.p
    return len(row.signals) - 1 if _scatter(row, float(sheet.run.instrument.step or 0)) else math.inf


def _inverse(curve: Curve, coefficients: Draws, net: Draws, near: float) -> Draws:
    """The concentration of a net signal on the curve of each draw; of a quadratic the root nearest the middle."""
    if curve.model != "quadratic":
        a, b = (coefficients[0], coefficients[1]) if curve.model == "line" else (0.0, coefficients[0])
        return np.asarray((net - a) / b * curve.scale)
    a, b, c = coefficients[0] - net, coefficients[1], coefficients[2]
    with np.errstate(all="ignore"):
        q = -(b + np.copysign(np.sqrt(b * b - 4 * a * c), b)) / 2
        roots = np.stack([q / c, a / q]) * curve.scale
    far = np.abs(roots - curve.middle)
    chosen = np.where(np.nan_to_num(far[0], nan=np.inf) <= np.nan_to_num(far[1], nan=np.inf), roots[0], roots[1])
    return np.where(np.isfinite(chosen), chosen, near)


def _summed(row: RowResult, values: Draws, freedom: float) -> Propagated:
    """What the draws come to.

    Of a distribution without a mean or a standard deviation the draws have one all the same, another each time: by
    that, every U would be validated.
    """
    probability = confidence(row.calibration.calibration) if row.calibration else 0.95
    mean = float(values.mean()) if freedom > 1 else None
    u = float(values.std(ddof=1)) if freedom > 2 else None
    low, high = shortest(values, probability)
    first = row.expanded / row.coverage if row.expanded and row.coverage else 0.0
    delta = tolerance(first if u is None else u)
    agrees = None
    if row.expanded and row.result is not None:
        ends = (row.result - row.expanded, row.result + row.expanded)
        agrees = validated(ends, (low, high), delta)
        if not agrees and validated(ends, (low, high), delta + chance(values, probability)):
            agrees = None  # other draws might
    made = Propagated(row.id, len(values), mean, u, low, high, probability, delta, agrees)
    return replace(made, validated=None) if made.too_few else made
