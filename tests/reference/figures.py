"""A run's figures once more, from the words of the run document's rules 1 to 9 alone, with numpy and scipy.

Owns: a second reading of calibrations and rows. Invariant: it uses nothing of the program, so that what both say is not
one mistake twice; and it is written to be read beside the rules, not to be fast.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from datetime import datetime

Table = dict[str, Any]
EVENTS = ("blank", "check")
SOLVENT = (*EVENTS, "second-source")
JOURNEY = ("field-blank", "equipment-blank", "trip-blank")
NOMINAL = ("method-blank", "control", "control-duplicate", "detection-spike", "capability", *JOURNEY)
MATRIX = {"mg/L": "water", "mg/kg": "solid", "mg/100cm2": "wipe", "mg/wipe": "wipe", "mg/L extract": "extract"}
COEFFICIENTS = {"mean-factor": 1, "line-through-zero": 1, "line": 2, "quadratic": 3}
POWERS = {"none": 0, "1/x": 1, "1/x2": 2}


def equal(a: float, b: float) -> bool:
    return abs(a - b) <= 1e-9 * max(abs(a), abs(b))


def at_most(a: float, b: float) -> bool:
    return a <= b or equal(a, b)


def below(a: float, b: float) -> bool:
    return a < b and not equal(a, b)


def absorbance(value: Any, reads: str) -> float:
    """Rule 1."""
    return -math.log10(float(value) / 100) if reads == "transmittance" else float(value)


def number(table: Table, *names: str) -> float | None:
    """A number of a document's table, by the path to it."""
    for name in names[:-1]:
        table = table.get(name) or {}
    found = table.get(names[-1])
    return None if found is None else float(found)


def level(standard: Table) -> float:
    """Its concentration, typed or from its stock, mg/L."""
    if "concentration" in standard:
        return float(standard["concentration"])
    return float(standard["stock"]) * float(standard["aliquot_ml"]) / float(standard["final_ml"])


class Calibration:
    """Rules 2 and 3, for one calibration."""

    def __init__(self, given: Table, document: Table) -> None:
        self.given, self.id, self.direct = given, given["id"], given["model"] == "direct"
        self.reads = document["instrument"]["reads"]
        self.limits: Table = document["method"].get("calibration", {})
        self.standards = [each for each in document["standard"] if each["calibration"] == self.id]
        self.used = [each for each in self.standards if each.get("use", True)]
        zeros = [self.signal(value) for each in self.used if not level(each) for value in each["readings"]]
        self.zero = sum(zeros) / len(zeros) if zeros else 0.0
        how = given.get("zero_standard", "subtract")
        self.subtracts = how == "subtract"
        self.points = [(level(each), self.net(each)) for each in self.used if level(each)]
        self.levels = sorted({x for x, _ in self.points})
        self.range = (self.levels[0], self.levels[-1]) if self.levels else None
        self.finished = max((each["at"] for each in self.used if "at" in each), default=None)
        self.p = COEFFICIENTS.get(given["model"], 0)
        self.at_zero = how == "point" and bool(zeros) and given["model"] != "mean-factor"
        self.n = len(self.points) + self.at_zero
        self.coefficients: list[float] = []
        self.s: float | None = None
        self.r: float | None = None
        self.rse: float | None = None
        self.rsd: float | None = None
        if not self.direct and self.points and len(self.levels) + self.at_zero >= self.p:
            self._fit()

    def signal(self, value: Any) -> float:
        return absorbance(value, self.reads)

    def net(self, standard: Table) -> float:
        values = [self.signal(value) for value in standard["readings"]]
        return sum(values) / len(values) - (self.zero if self.subtracts else 0.0)

    def basis(self, x: Any) -> Any:
        """f(x) of the inverse formula of trade.md section 3, with x scaled by the highest level."""
        part = np.asarray(x, float) / self.levels[-1]
        columns = {1: [part], 2: [part**0, part], 3: [part**0, part, part**2]}[self.p]
        return np.stack(columns, axis=-1)

    def _fit(self) -> None:
        x, y = (np.array(values) for values in zip(*self.points, strict=True))
        power = 2 if self.given["model"] == "mean-factor" else POWERS[self.given.get("weighting", "none")]
        self.power, self.mean_weight = power, float(np.mean(self._weighed(x, power)))
        if self.at_zero:
            x, y = np.append(x, 0.0), np.append(y, self.zero)
            self.mean_weight = float(np.mean(self._weighed(x, power)))
        weights = self._weighed(x, power) / self.mean_weight
        design, root = self.basis(x), np.sqrt(weights)
        scaled = np.linalg.lstsq(design * root[:, None], y * root, rcond=None)[0]
        left = float((weights * (y - design @ scaled) ** 2).sum())
        middle = float((weights * y).sum() / weights.sum()) if self.p > 1 else 0.0
        total = float((weights * (y - middle) ** 2).sum())
        powers = range(1, 2) if self.p == 1 else range(self.p)
        by_power = [value / self.levels[-1] ** k for value, k in zip(scaled, powers, strict=True)]
        self.coefficients = [0.0] * (self.p == 1) + [float(value) for value in by_power]
        r2 = 1 - left / total if total > 0 else None
        if r2 is not None and r2 >= 0:
            self.r = math.copysign(math.sqrt(r2), self.slope((self.levels[0] + self.levels[-1]) / 2))
        if self.n > self.p:
            self.s = math.sqrt(left / (self.n - self.p))
            self.covariance = self.s**2 * np.linalg.inv((design * weights[:, None]).T @ design)
        errors = self.errors()
        if len(self.points) > self.p and None not in errors:
            self.rse = 100 * math.sqrt(sum(each**2 for each in errors if each) / (len(self.points) - self.p))
        if self.given["model"] == "mean-factor" and len(self.points) > 1:
            factors = [y / x for x, y in self.points]
            self.rsd = float(np.std(factors, ddof=1) / np.mean(factors) * 100)

    def _weighed(self, x: Any, power: int) -> Any:
        """Weights before they are scaled; at and below the lowest level that of the lowest level."""
        return 1 / np.maximum(x, self.levels[0]) ** power

    def slope(self, x: float) -> float:
        b, c = [*self.coefficients, 0.0][1:3]
        return b + 2 * c * x

    @cached_property
    def rises(self) -> bool:
        return bool(self.coefficients) and all(self.slope(x) > 0 for x in (self.levels[0], self.levels[-1]))

    def inverse(self, y: float) -> float | None:
        """Rule 6."""
        if self.direct:
            return y
        a, b, c = [*self.coefficients, 0.0][:3]
        if not c:
            return (y - a) / b if b else None
        inside = b * b - 4 * c * (a - y)
        if inside < 0:
            return None
        large = -(b + math.copysign(math.sqrt(inside), b)) / 2  # so that no digits are lost where it is nearly a line
        roots = [large / c, (a - y) / large]
        return min(roots, key=lambda root: abs(root - (self.levels[0] + self.levels[-1]) / 2))

    def errors(self) -> list[float | None]:
        """Each level's error, a share of it; None where it has none."""
        back = [(x, self.inverse(y)) for x, y in self.points]
        return [None if found is None else (found - x) / x for x, found in back]

    @cached_property
    def state(self) -> str:
        """`pass`, `fail` or `todo`; every limit present applies."""
        if not self.direct and not self.coefficients:
            return "fail" if self.at_zero and self.p == 1 else "todo"
        limits = {name: float(value) for name, value in self.limits.items()}
        worst = [self.rse, self.rsd]
        fails = []
        if not self.direct:
            fails = [self.n <= self.p, not self.rises, len(self.levels) < limits.get("levels", 0)]
            fails.append("r" in limits and (self.r is None or below(self.r, limits["r"])))
            fails.append(any(each is not None and not at_most(each, limits.get("rse_percent", 1e99)) for each in worst))
        for (x, _), error in zip(self.points, self.errors(), strict=True):
            each = limits.get("level_error_percent", 1e99)
            limit = limits.get("lowest_error_percent", each) if equal(x, self.levels[0]) else each
            fails.append(limit < 1e99 and (error is None or not at_most(100 * abs(error), limit)))
        return "fail" if any(fails) else "pass"

    def u(self, x: float, m: int, step: float) -> float | None:
        """Rule 8, u of a concentration in the extract."""
        if self.s is None or not self.slope(x):
            return None
        w0 = float(self._weighed(x, self.power)) / self.mean_weight
        f = self.basis(x)
        variance = max(self.s**2 / (m * w0), step**2 / 12) + float(f @ self.covariance @ f)
        return math.sqrt(variance) / abs(self.slope(x))


@dataclass
class Row:
    """What rules 4 to 9 say of a row."""

    given: Table
    place: int
    calibration: Calibration | None = None
    signals: list[float] = field(default_factory=list)
    drift: float | None = None
    net: float | None = None
    extract: float | None = None
    u: float | None = None
    amount: float | None = None
    extract_ml: float | None = None
    factor: float | None = None
    unit: str = ""
    result: float | None = None
    expanded: float | None = None
    detection: float | None = None
    reporting: float | None = None
    recovery: float | None = None
    flags: set[str] = field(default_factory=set)
    state: str = ""
    batch: str | None = None
    day: int = 0

    def __post_init__(self) -> None:
        self.id: str = self.given["id"]
        self.kind: str = self.given["kind"]
        self.at: datetime | None = self.given.get("at")
        self.void = "void" in self.given
        self.read = bool(self.given.get("readings")) and not self.void
        self.fraction = "petroleum" if self.given.get("silica_gel") else "oil_grease"
        self.sample = self.given.get("sample") or self.id
        self.dilution = float(self.given.get("dilution", 1))
        self.reported = self.read and self.given.get("report", True) and self.kind not in SOLVENT
        self.dry = "solids_percent" in self.given or "wet_g" in self.given

    @property
    def mean(self) -> float:
        return sum(self.signals) / len(self.signals)


class Figures:
    """A run's calibrations and rows."""

    def __init__(self, document: Table, now: datetime) -> None:
        self.document, self.now, self.method = document, now, document["method"]
        self.reads, self.step = document["instrument"]["reads"], float(document["instrument"]["step"])
        self.limits: Table = self.method["limits"]
        self.calibrations = [Calibration(each, document) for each in document["calibration"]]
        self.rows = [Row(each, place) for place, each in enumerate(document["queue"])]
        batches = [each["id"] for each in document.get("batch", [])]
        for row in self.rows:
            row.batch = row.given.get("batch") or (batches[0] if len(batches) == 1 else None)
            row.calibration = self.calibration_of(row)
            row.signals = [absorbance(value, self.reads) for value in row.given.get("readings", [])]
            if row.kind not in SOLVENT:
                self._factor(row)
                self._adjusted(row)
        for row in (row for row in self.rows if row.read):
            self._subtract(row)
            self._result(row)
            self._flag(row)

    def calibration_of(self, row: Row) -> Calibration | None:
        """Rule 4."""
        cell = number(row.given, "cell_mm")
        for each in reversed(self.calibrations):
            if "calibration" in row.given:
                if each.id == row.given["calibration"]:
                    return each
                continue
            fits = cell is None or number(each.given, "cell_mm") == cell
            if fits and (each.used or each.direct) and (not row.at or not each.finished or each.finished <= row.at):
                return each
        return None

    def left(self, blank: Row) -> float:
        """What a blank was left at."""
        if not blank.given.get("rezeroed"):
            return blank.mean
        return absorbance(blank.given["as_left"], self.reads) if "as_left" in blank.given else 0.0

    def _subtract(self, row: Row) -> None:
        """Rule 5."""
        calibration = row.calibration
        if calibration is None:
            return
        blanks = [each for each in self.rows if each.kind == "blank" and each.read and each.calibration is calibration]
        before = [each for each in blanks if each.place < row.place]
        after = [each for each in blanks if each.place > row.place]
        how = calibration.given.get("drift", "last")
        level = self.left(before[-1]) if before and how != "none" else calibration.zero
        if how == "interpolate" and row.kind != "blank" and before and after and row.at:
            one, two, start = before[-1].at, after[0].at, level
            if one and two and one <= row.at <= two and one < two:
                level = start + (after[0].mean - start) * ((row.at - one) / (two - one))
        row.drift = level - (0.0 if calibration.subtracts else calibration.zero)
        row.net = row.mean - row.drift

    def _factor(self, row: Row) -> None:
        """Rule 7."""
        given, matrix = row.given, row.given.get("matrix") or MATRIX[self.method["unit"]]
        row.amount, row.extract_ml = number(given, "amount"), number(given, "extract_ml")
        if row.amount is None and "full_g" in given:
            net = float(given["full_g"]) - float(given["empty_g"])
            row.amount = net / float(given.get("density", 1)) - float(given.get("not_sample_ml", 0))
        if row.kind in NOMINAL:
            if row.amount is None and not (matrix == "wipe" and self.method["unit"] == "mg/wipe"):
                row.amount = number(self.limits, "nominal_amount")
            if row.extract_ml is None:
                row.extract_ml = number(self.limits, "nominal_extract_ml")
        row.unit = {"water": "mg/L", "solid": "mg/kg", "extract": "mg/L extract"}.get(matrix, "mg/wipe")
        if matrix == "wipe" and row.amount:
            row.unit = "mg/100cm2"
        row.factor = factor(row.unit, row.amount, row.extract_ml, row.dilution)
        if matrix == "solid" and row.dry and row.factor is not None:
            row.factor /= solids(given)
        row.dry = row.dry and matrix == "solid"

    def _adjusted(self, row: Row) -> None:
        """Rule 9, the limits."""
        if row.unit != self.method["unit"] or row.factor is None or row.void:
            return
        nominal = factor(row.unit, number(self.limits, "nominal_amount"), number(self.limits, "nominal_extract_ml"), 1)
        given = {name: number(self.limits, name) for name in ("detection", "reporting")}
        scaled = {name: v * row.factor / nominal if v and nominal else None for name, v in given.items()}
        row.detection, row.reporting = scaled["detection"], scaled["reporting"]
        calibration = row.calibration
        if calibration is not None and not calibration.direct and calibration.range:
            row.reporting = max(row.reporting or 0.0, calibration.range[0] * row.factor)

    def _result(self, row: Row) -> None:
        """Rules 6 to 8."""
        calibration = row.calibration
        if (
            calibration is None
            or row.net is None
            or row.kind == "blank"
            or not (calibration.direct or calibration.rises)
        ):
            return
        row.extract, m = calibration.inverse(row.net), len(row.signals)
        if calibration.direct:
            spread = float(np.std(row.signals, ddof=1)) if m > 1 else 0.0
            row.u = math.sqrt(max(spread**2 / m, self.step**2 / 12))
        elif row.extract is not None:
            row.u = calibration.u(row.extract, m, self.step_at(row.mean))
        if row.extract is None or row.factor is None or row.kind in SOLVENT:
            return
        row.result = row.extract * row.factor
        k, relative = self._coverage(calibration), self._relative(row)
        if row.u is not None and k is not None:
            row.expanded = k * row.factor * math.sqrt(row.u**2 + row.extract**2 * relative)

    def step_at(self, mean: float) -> float:
        """The display step in absorbance."""
        if self.reads != "transmittance":
            return self.step
        return self.step / (100 * 10**-mean * math.log(10))

    def _coverage(self, calibration: Calibration) -> float | None:
        given = number(self.method, "uncertainty", "coverage")
        if given is not None or calibration.direct:
            return given or 2.0
        if calibration.n <= calibration.p:
            return None
        confidence = number(calibration.given, "confidence") or 0.95
        return float(stats.t.ppf((1 + confidence) / 2, calibration.n - calibration.p))

    def _relative(self, row: Row) -> float:
        names = ["volumes", "standards", "precision", "bias", *(["dilution"] if row.dilution > 1 else [])]
        return sum((number(self.method, "uncertainty", f"{name}_percent") or 0.0) ** 2 for name in names) / 1e4

    def _flag(self, row: Row) -> None:
        """Rule 9, the flags D, E, J and U."""
        if row.kind not in SOLVENT and row.dilution > 1:
            row.flags.add("D")
        if row.kind != "blank" and row.calibration is not None and self._over(row, row.calibration):
            row.flags.add("E")
        if row.result is None:
            return
        low = row.reporting is not None and below(row.result, row.reporting)
        if row.detection is None:
            row.flags |= {"U"} if low else set()
        elif below(row.result, row.detection):
            row.flags.add("U")
        elif low:
            row.flags.add("J" if self.method["estimates"] else "U")

    def _over(self, row: Row, calibration: Calibration) -> bool:
        most = number(self.method, "calibration", "max_absorbance")
        if not calibration.direct and most is not None and below(most, row.mean):
            return True
        if row.extract is None:
            return calibration.rises
        return calibration.range is not None and below(calibration.range[1], row.extract)


def solids(given: Table) -> float:
    """The dry part of a row, typed or from its dish."""
    if "solids_percent" in given:
        return float(given["solids_percent"]) / 100
    wet, dry = (float(given[name]) - float(given.get("dish_g", 0)) for name in ("wet_g", "dry_g"))
    return dry / wet


def factor(unit: str, amount: float | None, extract_ml: float | None, dilution: float) -> float | None:
    """Rule 7's formula, without the solids."""
    if unit == "mg/L extract":
        return dilution
    if extract_ml is None or (amount is None and unit != "mg/wipe"):
        return None
    scale = {"mg/100cm2": 0.1 / (amount or 1), "mg/wipe": 0.001}.get(unit, 1 / (amount or 1))
    return extract_ml * dilution * scale
