"""Rules about the photometer and the calibration curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.amounts import nominal_factor
from runsheet.compute.compare import below, equal
from runsheet.compute.results import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from runsheet.compute.rules.computed import Day

STUDY_MONTHS = 13
"""A detection study is checked again within 13 months (40 CFR 136 Appendix B, from memory)."""


def setup(day: Day) -> Iterator[Finding]:
    """Say again what fails among the setup checks."""
    for result in day.setup:
        if result.state == "fail":
            least = result.setup.check == "warm-up"
            low, high = (result.limit, None) if least else (None, result.limit)
            yield Finding("setup", (result.setup.check,), result.value, low, high, "fail", result.why)


def calibration(day: Day) -> Iterator[Finding]:
    """Say again what fails or warns in a calibration; one that no row uses only warns."""
    for result in day.calibrations:
        used = day.in_use(result)
        for why in result.fails:
            told = f"{result.id}: {why}" if used else f"{result.id}, which no row uses: {why}"
            yield Finding("calibration", (result.id,), None, None, None, "fail" if used else "warn", told)
        for why in result.warns:
            yield Finding("calibration", (result.id,), None, None, None, "warn", f"{result.id}: {why}")
    without = tuple(row.row.id for row in day.read if row.calibration is None)
    if without:
        why = "no calibration of their cell was read in full by their time: they have no result"
        yield Finding("calibration", without, None, None, None, "warn", why)


def dropped_levels(day: Day) -> Iterator[Finding]:
    """Levels are dropped only from either end (EPA SW-846 8000D)."""
    for result in day.calibrations:
        used = [standard.x for standard in result.standards if standard.used and standard.x > 0]
        for standard in result.standards:
            if standard.used or not used or any(equal(standard.x, x) for x in used):
                continue
            if min(used) < standard.x < max(used):
                why = f"{standard.standard.id} is left out between used levels: only the ends of a curve may go"
                yield Finding("dropped-levels", (standard.standard.id,), standard.x, min(used), max(used), "fail", why)


def reporting_limit(day: Day) -> Iterator[Finding]:
    """The reporting limit stands on the lowest level used; the detection study is not too old."""
    limits, factor = day.run.method.limits, nominal_factor(day.run.method)
    if limits is None:
        return
    for result in day.calibrations:
        if limits.reporting is None or factor is None or result.low is None or not day.in_use(result):
            continue
        floor, reporting = result.low * factor, float(limits.reporting)
        if below(reporting, floor):
            why = f"the reporting limit {reporting:g} is below the lowest standard of {result.id}, {floor:.4g}"
            yield Finding(
                "reporting-limit", (result.id,), reporting, floor, None, "warn", f"{why} {day.run.method.unit}"
            )
    if limits.studied is not None:
        months = _months(limits.studied, (day.run.run.opened or day.now).date())
        if months is not None:
            why = f"the detection study of {limits.studied} is older than {STUDY_MONTHS} months"
            yield Finding("reporting-limit", (), months, None, STUDY_MONTHS, "warn", why)


def _months(since: date, today: date) -> float | None:
    """Give the months between two days where they are more than the study may be old."""
    months = (today.year - since.year) * 12 + today.month - since.month
    over = months > STUDY_MONTHS or (months == STUDY_MONTHS and today.day > since.day)
    return float(months) if over else None
