"""Rules about the calibrations and the limits that stand on them.

A place of the detection study that the run does not name is told as different: nobody can say it is the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.amounts import nominal_factor
from runsheet.compute.compare import below, equal
from runsheet.compute.results import Finding
from runsheet.figures import against
from runsheet.run.kinds import CHECK_STANDARDS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed

STUDY_MONTHS = 13
"""A detection study is checked again within 13 months (40 CFR 136 Appendix B, from memory)."""


def calibration(run: Computed) -> Iterator[Finding]:
    """Every calibration passes by the method's limits."""
    for result in run.calibrations:
        affects = run.reach.calibration(result.id)
        made = Finding("calibration", (result.id,), affects=affects, read_at=result.finished)
        yield from (made._replace(why=why) for why in result.fails)
        yield from (made._replace(state="warn", why=why) for why in result.warns)


def dropped_levels(run: Computed) -> Iterator[Finding]:
    """Levels are dropped only from either end (EPA SW-846 8000D)."""
    for result in run.calibrations:
        used = [standard.x for standard in result.standards if standard.used and standard.x > 0]
        for standard in result.standards:
            if standard.used or not used or any(equal(standard.x, x) for x in used):
                continue
            if min(used) < standard.x < max(used):
                name = standard.standard.id
                why = f"{name} is left out between used levels: only the ends of a calibration may go"
                yield Finding(
                    "dropped-levels", (name,), standard.x, min(used), max(used), "fail", why, "mg/L",
                    run.reach.calibration(result.id), read_at=standard.standard.at,
                )  # fmt: skip


def reporting_limit(run: Computed) -> Iterator[Finding]:
    """The reporting limit stands on the lowest level used; the detection study is this run's, and not too old."""
    limits, factor = run.run.method.limits, nominal_factor(run.run.method)
    if limits is None:
        return
    for result in run.calibrations:
        if limits.reporting is None or factor is None or result.low is None or result.direct:
            continue
        floor, reporting = result.low * factor, float(limits.reporting)
        if below(reporting, floor):
            unit = run.run.method.unit
            lowest, limit = against(floor, reporting, ".4g")
            why = f"the reporting limit {limit} is below the lowest standard of {result.id}, {lowest} {unit}"
            affects = run.reach.calibration(result.id)
            yield Finding(
                "reporting-limit", (result.id,), reporting, floor, None, "warn", why, unit, affects,
                read_at=result.finished,
            )  # fmt: skip
    yield from _study_age(run, limits.studied)
    for what, studied, used in _study_places(run):
        why = f"the detection study was made {what} {studied}, this run {what} {used}"
        yield Finding("reporting-limit", (), state="warn", why=why, affects=run.reach.all())


def _study_age(run: Computed, studied: date | None) -> Iterator[Finding]:
    times = [row.row.at for row in run.read if row.is_reported and row.row.at is not None]
    if studied is None or not times:
        return
    first = min(times).date()
    months = (first.year - studied.year) * 12 + first.month - studied.month
    if months > STUDY_MONTHS or (months == STUDY_MONTHS and first.day > studied.day):
        why = f"the detection study of {studied} is older than {STUDY_MONTHS} months on {first}"
        affects = run.reach.all()
        yield Finding("reporting-limit", (), months, None, STUDY_MONTHS, "warn", why, "months", affects)


def _study_places(run: Computed) -> Iterator[tuple[str, str, str]]:
    """What the detection study was made on where this run is made on something else, each with both names."""
    limits = run.run.method.limits
    if limits is None:
        return
    named = (
        ("on", limits.studied_instrument, run.run.instrument.name),
        ("in", limits.studied_solvent, run.run.solvent.name),
    )
    for what, studied, used in named:
        if studied is not None and (used is None or studied.strip().casefold() != used.strip().casefold()):
            yield what, studied, used or "one that is not named"
    cells = {str(result.calibration.cell_mm): result.calibration.cell_mm for result in run.used or run.calibrations}
    studied_mm = limits.studied_cell_mm
    others = [name for name, cell in cells.items() if cell is None or float(cell) != float(studied_mm or 0)]
    if studied_mm is not None and others:
        used = ", ".join("one that is not named" if name == "None" else f"{name} mm" for name in others)
        yield "in a cell of", f"{studied_mm} mm", used


def traceability(run: Computed) -> Iterator[Finding]:
    """Standards, checks and second sources can be followed to their lots."""
    used = (s.standard for result in run.calibrations for s in result.standards if s.used and s.x > 0)
    without = [standard.id for standard in used if not standard.lot]
    without += [row.id for row in run.live if row.kind in CHECK_STANDARDS and not row.row.lot]
    if without:
        yield Finding("traceability", tuple(without), state="warn", why="no lot is recorded")


def calibration_choice(run: Computed) -> Iterator[Finding]:
    """A row uses the latest calibration of its cell, not the more convenient one."""
    for row in run.read:
        later = _later(row, run)
        if later:
            named = row.row.calibration
            why = f"names {named} though {later} of the same cell was complete before it was read"
            yield Finding("calibration-choice", (row.id,), state="warn", why=why, read_at=row.row.at)


def _later(row: RowResult, run: Computed) -> str:
    """The last calibration after the one a row names, of its cell, that was complete by then."""
    if row.row.calibration is None or row.calibration is None:
        return ""
    place = run.calibrations.index(row.calibration)
    cell = _millimetres(row.calibration.calibration.cell_mm)
    for other in reversed(run.calibrations[place + 1 :]):
        done = row.row.at is None or other.finished is None or other.finished <= row.row.at
        if other.ready and done and _millimetres(other.calibration.cell_mm) == cell:
            return other.id
    return ""


def _millimetres(cell: object) -> float | None:
    return None if cell is None else float(cell)  # type: ignore[arg-type]
