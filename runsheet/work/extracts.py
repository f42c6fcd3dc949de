"""The extract ledger: what was made, what was taken, what is left, and whether the plan can be supplied.

Owns: the volumes of each extract. Invariant: what was taken counts whether or not its result is used: a void or
superseded reading has emptied the flask all the same.

What a reading takes is an estimate on the cautious side. Each reading is one filling of the cell, and a filling is
spent: nothing is poured back. A diluted row takes an aliquot only; the final volume of a dilution is not in the
document, so the aliquot is what the fillings hold divided by the dilution.

A filling takes the cell's volume (3, 15, 30 mL at 10, 50, 100 mm, SW-846 8440) and is not poured back; 1 mL of
extract stays in each gram of gel (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runsheet.compute.amounts import measured
from runsheet.compute.calibration import judge
from runsheet.compute.compare import below
from runsheet.compute.readings import calibration_of
from runsheet.figures import figure
from runsheet.run.kinds import SOLVENT_STANDARDS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import CalibrationResult
    from runsheet.run.model import Row, Run

ML_PER_MM = 0.3
"""Cell volumes of 3, 15 and 30 mL for 10, 50 and 100 mm (EPA SW-846 8440); other cells in proportion."""
LEAST_ML = 1.0
"""The least a filling takes, with what rinses the cell. Common practice, no source."""
PLAIN_MM = 10.0
"""The cell where neither row nor calibration names one. Common practice, no source."""
GEL_HOLDS_ML_PER_G = 1.0
"""Extract that stays in the silica gel, mL for each g. Common practice, no source: about its pore volume."""
GEL_G = 3.0
"""Gel where the row does not say: 3 g for each started 100 mg (EPA 1664B)."""


@dataclass(frozen=True, slots=True)
class Taking:
    """What one row takes from its extract."""

    row: str
    ml: float
    words: str
    read: bool
    """False for what is still needed."""


@dataclass(frozen=True, slots=True)
class Extract:
    """One extract: the rows of one sample and batch."""

    sample: str
    batch: str | None
    made_ml: float | None
    """None where no row of it says."""
    takings: tuple[Taking, ...]

    @property
    def used_ml(self) -> float:
        """What was taken."""
        return sum(taking.ml for taking in self.takings if taking.read)

    @property
    def needed_ml(self) -> float:
        """What the unread rows still need."""
        return sum(taking.ml for taking in self.takings if not taking.read)

    @property
    def left_ml(self) -> float | None:
        """What is left now; below 0 where more was taken than there was."""
        return None if self.made_ml is None else self.made_ml - self.used_ml

    @property
    def short(self) -> bool:
        """Whether what is left cannot supply the unread rows."""
        return self.made_ml is not None and below(self.made_ml, self.used_ml + self.needed_ml)

    @property
    def words(self) -> str:
        """Say it in one line."""
        name = f"{self.sample}, batch {self.batch}" if self.batch else self.sample
        used = f"{figure(self.used_ml, 3)} mL used"
        needed = f"{figure(self.needed_ml, 3)} mL still needed"
        if self.made_ml is None or self.left_ml is None:
            return f"{name}: volume not known, {used}, {needed}"
        said = f"{name}: {figure(self.made_ml)} mL made, {used}, {figure(self.left_ml, 3)} mL left, {needed}"
        return f"{said}: {self._lack}" if self.short else said

    @property
    def _lack(self) -> str:
        """What is missing, and from which row on."""
        if self.left_ml is None or self.left_ml < 0:
            return "more was taken than was made: check volumes and cell"
        left, first = self.left_ml, ""
        for taking in self.takings:
            left -= 0 if taking.read else taking.ml
            if not taking.read and below(left, 0) and not first:
                first = taking.row
        return f"SHORT by {figure(-left, 3)} mL, from {first} on"


def ledger(run: Run) -> list[Extract]:
    """The extracts of a run in the order of the queue.

    An unread row is taken to need one filling. Silica gel is counted once an extract, at the first row read after it.
    """
    calibrations = judge(run)
    only = run.batch[0].id if len(run.batch) == 1 else None
    rows: dict[tuple[str, str | None], list[Row]] = {}
    for row in run.queue:
        if row.kind not in SOLVENT_STANDARDS and (row.readings or row.void is None):
            rows.setdefault((row.sample or row.id, row.batch or only), []).append(row)
    return [
        Extract(sample, batch, _made(of, run), tuple(_takings(of, calibrations)))
        for (sample, batch), of in rows.items()
    ]


def _made(rows: Iterable[Row], run: Run) -> float | None:
    """The volume made: the smallest where rows differ, so that nothing is promised that is not there."""
    volumes = (measured(row, run.method).extract_ml for row in rows)
    return min((volume for volume in volumes if volume is not None), default=None)


def _takings(rows: list[Row], calibrations: tuple[CalibrationResult, ...]) -> list[Taking]:
    """What each row takes, the rows read first: what was taken is gone, whatever the order of the queue."""
    found: list[Taking] = []
    gel = max((float(row.silica_gel_g) for row in rows if row.silica_gel_g is not None), default=GEL_G)
    treated = False
    for row in sorted(rows, key=lambda row: not row.readings):
        if row.silica_gel and not treated:
            treated, words = True, f"stays in {figure(gel)} g of silica gel"
            found.append(Taking(row.id, gel * GEL_HOLDS_ML_PER_G, words, bool(row.readings)))
        found.append(_reading(row, calibrations))
    return found


def _reading(row: Row, calibrations: tuple[CalibrationResult, ...]) -> Taking:
    mm, many = _cell_mm(row, calibrations), len(row.readings) + len(row.struck) or 1
    filling = max(LEAST_ML, ML_PER_MM * mm)
    dilution = 1.0 if row.dilution is None else float(row.dilution)
    words = f"{many} filling{'s' if many > 1 else ''} of {figure(filling)} mL, {figure(mm)} mm cell"
    words += f", diluted {figure(dilution)}x" if dilution > 1 else ""
    return Taking(row.id, many * filling / dilution, words, bool(row.readings))


def _cell_mm(row: Row, calibrations: tuple[CalibrationResult, ...]) -> float:
    """The path of the cell a row is read in: its own, else that of its curve, or of the last one there is."""
    curve = calibration_of(row, calibrations) or (calibrations[-1] if calibrations else None)
    mm: Any = row.cell_mm if row.cell_mm is not None else curve.calibration.cell_mm if curve else None
    return PLAIN_MM if mm is None else float(mm)
