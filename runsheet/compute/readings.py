"""Readings to extract concentrations: which calibration, what is subtracted, the inverse of the curve.

Owns: steps 4 to 8 of the computation, one row after the other in file order, which is the order of analysis.
Invariant: a row's figures depend on its calibration and the blanks beside it, never on other samples.

`as_left` counts only with `rezeroed`. A void row with readings is computed too, apart (`as_if`): rules ask what it
would have been, and nothing else does.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from runsheet.compute.amounts import measured
from runsheet.compute.calibration import confidence
from runsheet.compute.compare import finite
from runsheet.compute.photometry import signals, step_signal
from runsheet.compute.results import CalibrationResult, RowResult
from runsheet.compute.statistics import student_t
from runsheet.run.kinds import SOLVENT_STANDARDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.run.model import Row, Run, Uncertainty


def computed(run: Run, calibrations: tuple[CalibrationResult, ...]) -> tuple[RowResult, ...]:
    """Compute every row up to its result and uncertainty."""
    only_batch = run.batch[0].id if len(run.batch) == 1 else None
    rows = [_started(row, run, calibrations, only_batch) for row in run.queue]
    for place, row in enumerate(rows):
        for each in (row, row.as_if):
            if each is not None:
                each.place = place
    _subtract(rows, run)
    terms = Terms(run, calibrations)
    for row in rows:
        each = row.as_if or row
        if each.net is not None and each.kind != "blank":
            _invert(each, terms)
    return tuple(rows)


def _started(row: Row, run: Run, calibrations: tuple[CalibrationResult, ...], only_batch: str | None) -> RowResult:
    if row.void is not None:
        as_if = _started(replace(row, void=None), run, calibrations, only_batch) if row.readings else None
        return RowResult(row, as_if=as_if)
    curve = calibration_of(row, calibrations)
    made = RowResult(row, "unread", batch=row.batch or only_batch, calibration=curve)
    if row.kind not in SOLVENT_STANDARDS:
        made.amounts = measured(row, run.method)
    if row.readings:
        made.signals = signals(row.readings, run.instrument.reads)
        made.mean = sum(made.signals) / len(made.signals)
    return made


def calibration_of(row: Row, calibrations: tuple[CalibrationResult, ...]) -> CalibrationResult | None:
    """The calibration a row uses: the one it names, else the last of its cell whose standards were read by then.

    A row without a time comes after everything, a standard without one before everything.
    """
    if row.calibration is not None:
        return next((c for c in calibrations if c.id == row.calibration), None)
    for candidate in reversed(calibrations):
        if not candidate.ready:
            continue
        cell = candidate.calibration.cell_mm
        if row.cell_mm is not None and (cell is None or float(cell) != float(row.cell_mm)):
            continue
        if row.at is None or candidate.finished is None or candidate.finished <= row.at:
            return candidate
    return None


def _subtract(rows: list[RowResult], run: Run) -> None:
    """Set the drift and the net signal of every read row, in place."""
    after = _next_blanks(rows)
    before: dict[str, RowResult] = {}
    for place, given in enumerate(rows):
        row = given.as_if or given
        calibration = row.calibration
        if calibration is None or row.mean is None:
            continue
        blank = before.get(calibration.id)
        level, row.drift_from = _drift(row, calibration, blank, after[place], run.instrument.reads)
        subtract = (calibration.calibration.zero_standard or "subtract") == "subtract"
        row.drift = level if subtract else level - calibration.zero
        row.net = finite(row.mean - row.drift)
        if row.kind == "blank" and not given.void:
            before[calibration.id] = row


def _next_blanks(rows: list[RowResult]) -> list[RowResult | None]:
    """For every row the next read blank of its calibration."""
    after: list[RowResult | None] = [None] * len(rows)
    coming: dict[str, RowResult] = {}
    for place in range(len(rows) - 1, -1, -1):
        row = rows[place].as_if or rows[place]
        if row.calibration is not None:
            after[place] = coming.get(row.calibration.id)
            if row.kind == "blank" and row.signals and not rows[place].void:
                coming[row.calibration.id] = row
    return after


def as_left(blank: RowResult, reads: str | None) -> float:
    """The signal a blank was left at: after re-zeroing what it read then, 0 if not given; else as found."""
    if not blank.row.rezeroed:
        return blank.mean or 0.0
    return 0.0 if blank.row.as_left is None else signals((blank.row.as_left,), reads)[0]


def _drift(
    row: RowResult, calibration: CalibrationResult, before: RowResult | None, after: RowResult | None, reads: str | None
) -> tuple[float, str]:
    """What a clean solvent would have read at the row, and the blanks that say so."""
    mode = calibration.calibration.drift or "last"
    if mode == "none" or before is None:
        return calibration.zero, ""
    left = as_left(before, reads)
    if mode == "last" or row.kind == "blank" or after is None or after.mean is None:
        return left, before.id
    t1, t, t2 = before.row.at, row.row.at, after.row.at
    if t1 is None or t is None or t2 is None or not t1 <= t <= t2 or t1 == t2:
        return left, before.id
    return left + (after.mean - left) * ((t - t1) / (t2 - t1)), f"{before.id} to {after.id}"


class Terms:
    """What every row's uncertainty has in common, taken from the run once."""

    def __init__(self, run: Run, calibrations: tuple[CalibrationResult, ...]) -> None:
        """Take the display step, the curves that can be read, the coverage factors and the relative parts."""
        self.reads, self.step = run.instrument.reads, float(run.instrument.step or 0)
        parts = relative_parts(run.method.uncertainty)
        self.relative = sum(percent * percent / 10000 for percent in parts.values())
        parts.pop("dilution", None)
        self.relative_undiluted = sum(percent * percent / 10000 for percent in parts.values())
        self.curves = {c.id: c.curve for c in calibrations if c.curve is not None and c.curve.rises}
        self.coverage = {c.id: coverage(c, run.method.uncertainty) for c in calibrations}

    def step_at(self, mean: float) -> float:
        """The display step as a signal at a mean signal."""
        return step_signal(self.step, self.reads, mean) if self.reads == "transmittance" else self.step


def _invert(row: RowResult, terms: Terms) -> None:
    """Set the extract concentration, result and uncertainties of a row, in place."""
    calibration = row.calibration
    if calibration is None or row.net is None:
        return
    curve = terms.curves.get(calibration.id)
    if calibration.direct:
        row.extract = row.net
        row.u_extract = _direct_u(row.signals, terms.step)
    elif curve is not None:
        row.extract = curve.concentration(row.net)
        if row.extract is not None and row.mean is not None:
            row.u_extract = curve.u(row.extract, len(row.signals), terms.step_at(row.mean))
    row.coverage = terms.coverage[calibration.id]
    if row.extract is None or row.factor is None:
        return
    row.result = finite(row.extract * row.factor)
    if row.u_extract is not None and row.coverage is not None:
        diluted = row.amounts is not None and row.amounts.dilution > 1
        relative = terms.relative if diluted else terms.relative_undiluted
        row.expanded = expanded(row.coverage * row.factor, row.u_extract, row.extract, relative)


def expanded(scale: float, u: float, x: float, relative: float) -> float | None:
    """U = scale x sqrt(u^2 + x^2 x relative variance)."""
    return finite(scale * math.sqrt(u * u + x * x * relative))


def _direct_u(values: tuple[float, ...], step: float) -> float | None:
    """The standard uncertainty of a displayed concentration: scatter of its readings, or the step if larger."""
    m = len(values)
    mean = sum(values) / m
    scatter = sum((value - mean) * (value - mean) for value in values) / (m - 1) if m > 1 else 0.0
    return finite(math.sqrt(max(scatter / m, step * step / 12)))


def coverage(calibration: CalibrationResult, uncertainty: Uncertainty | None) -> float | None:
    """The coverage factor k: the method's, else two-sided t at the calibration's confidence (2 for a direct run)."""
    if uncertainty is not None and uncertainty.coverage is not None:
        return float(uncertainty.coverage)
    if calibration.direct:
        return 2.0
    curve = calibration.curve
    if curve is None or curve.n <= curve.p:
        return None
    return student_t.two_sided(confidence(calibration.calibration), curve.n - curve.p)


def relative_parts(uncertainty: Uncertainty | None) -> dict[str, float]:
    """The relative standard uncertainties of the method, percent, by name."""
    names = ("volumes", "standards", "precision", "bias", "dilution")
    found = {name: getattr(uncertainty, f"{name}_percent", None) for name in names}
    return {name: float(value) for name, value in found.items() if value is not None}


def unread(rows: Iterable[RowResult]) -> bool:
    """Whether any row is still to be read."""
    return any(row.state == "unread" for row in rows)
