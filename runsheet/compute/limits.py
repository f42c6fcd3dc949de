"""Adjusted limits, flags, advice and the figure that is reported.

Owns: step 9 of the computation. Invariant: limits scale with what was really used; verdicts are taken on unrounded
figures (ASTM E29, absolute method).

A figure that equals its limit to 1e-9 is at the limit, for flags as for rules.
"""

from __future__ import annotations

import math
from dataclasses import fields
from typing import TYPE_CHECKING

from runsheet.compute.amounts import nominal_factor
from runsheet.compute.compare import at_most, below, finite, optional
from runsheet.compute.rounding import significant
from runsheet.run.model import FlagLetters

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import RowResult
    from runsheet.run.model import Method


class Limits:
    """A method's limits, ready to be taken to the amounts and figures of each row."""

    def __init__(self, method: Method) -> None:
        """Take the limits and the nominal factor once for all rows."""
        limits, nominal = method.limits, nominal_factor(method)
        self.estimates = method.estimates is not False
        self.most_absorbance = optional(method.calibration and method.calibration.max_absorbance)
        self.unit = method.unit
        self.detection = _per_factor(limits and limits.detection, nominal)
        self.reporting = _per_factor(limits and limits.reporting, nominal)

    def adjust(self, row: RowResult) -> None:
        """Set the detection and reporting limits of a row, in place."""
        factor = row.factor
        if factor is None or row.unit != self.unit:
            return
        row.detection = None if self.detection is None else finite(self.detection * factor)
        lowest = row.calibration.low if row.calibration and not row.calibration.direct else None
        reporting = self.reporting
        if reporting is None or (lowest is not None and lowest > reporting):
            reporting = lowest
        row.reporting = None if reporting is None else finite(reporting * factor)

    def flags(self, row: RowResult) -> tuple[str, ...]:
        """The flags that follow from the figures of one row, D, E, J and U, in this order."""
        found: tuple[str, ...] = ()
        if row.amounts is not None and row.amounts.dilution > 1:
            found = ("D",)
        if row.kind != "blank" and row.mean is not None and self._over(row, row.mean):
            found = (*found, "E")
        return found if row.result is None else (*found, *low(row.result, row, estimates=self.estimates))

    def _over(self, row: RowResult, mean: float) -> bool:
        """Whether a reading is above the calibrated range, above the photometer's limit, or off the curve."""
        calibration = row.calibration
        if calibration is None:
            return False
        if not calibration.direct:
            if self.most_absorbance is not None and not at_most(mean, self.most_absorbance):
                return True
            if row.extract is None:
                return calibration.curve is not None and calibration.curve.rises
        high = calibration.high
        return high is not None and row.extract is not None and not at_most(row.extract, high)


def _per_factor(limit: object, nominal: float | None) -> float | None:
    """A limit in mg/L of extract, from the sample's unit at the nominal amounts."""
    return finite(float(limit) / nominal) if limit and nominal else None  # type: ignore[arg-type]


def letters(method: Method) -> dict[str, str]:
    """The letter printed for each flag: the method's where it has its own."""
    given = {field.name: getattr(method.flags, field.name, None) or "" for field in fields(FlagLetters)}
    return {name: letter if letter.strip() else name for name, letter in given.items()}


def low(result: float, row: RowResult, *, estimates: bool) -> tuple[str, ...]:
    """U below detection (without one: below reporting), J from there to the reporting limit."""
    detection, reporting = row.detection, row.reporting
    under_reporting = reporting is not None and below(result, reporting)
    if detection is None:
        return ("U",) if under_reporting else ()
    if below(result, detection):
        return ("U",)
    if under_reporting:
        return ("J",) if estimates else ("U",)
    return ()


def dilute_to(row: RowResult) -> float | None:
    """For a row above the range: the smallest whole dilution that brings it to the middle of the range or below."""
    middle = row.calibration.middle if row.calibration else None
    if row.amounts is None or "E" not in row.flags or row.extract is None or not middle:
        return None
    ratio = finite(row.extract / middle)
    if ratio is None:
        return None
    times = max(2, math.ceil(ratio * (1 - 1e-9)))
    return times * row.amounts.dilution


def reported(row: RowResult, method: Method) -> str | None:
    """The characters that are reported, or None for a row whose result is not."""
    return None if row.result is None or not row.is_reported else written(row.result, row, row.flags, method)


def written(result: float, row: RowResult, flags: Iterable[str], method: Method) -> str:
    """A result as it is printed beside the limits of a row."""
    figures = method.figures or "1664"
    if "U" not in flags:
        return significant(result, figures)
    limit = row.reporting
    truly_below = row.detection is not None and below(result, row.detection)
    if method.nondetect == "detection" and truly_below:
        limit = row.detection
    if limit is None:
        limit = row.detection or 0.0
    return f"< {significant(limit, figures)}"
