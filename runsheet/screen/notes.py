"""What stands below the rows of a pane.

Owns: the few lines of facts a pane adds where there is room. Invariant: figures of the sheet and words of the modules
that own them.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

from runsheet.compute.setup import in_unit
from runsheet.figures import figure
from runsheet.methods import solvents
from runsheet.show import explain

if TYPE_CHECKING:
    from runsheet.compute.results import CalibrationResult, Sheet


def setup(sheet: Sheet) -> list[str]:
    """Say the instrument, solvent and cell, how steady the photometer is, and the first caution for the solvent."""
    instrument, solvent = sheet.run.instrument, sheet.run.solvent
    reads = instrument.reads or "absorbance"
    expires = f"expires {solvent.expires}" if solvent.expires else ""
    lot = f"lot {solvent.lot}" if solvent.lot else "no lot"
    curves = sheet.run.calibration
    cells = ", ".join(f"{c.id} {'not given' if c.cell_mm is None else f'{c.cell_mm} mm'}" for c in curves)
    known = any(c.cell_mm is not None for c in curves)
    refusal = solvents.refusal(solvent.name or "")
    return [
        f"Instrument: {instrument.name or 'not named'}, reads {reads}, display step {instrument.step or 'not given'}",
        "Solvent: " + ", ".join(filter(None, (solvent.name or "not named", solvent.grade, lot, expires))),
        f"Cell: {cells if known else 'not given'}",
        *_steadiness(sheet),
        *([f"REFUSED: {refusal}"] if refusal else [f"Caution: {solvents.cautions(solvent.name or '')[0]}"]),
        "C shows all cautions, F edits these facts",
    ]


def _steadiness(sheet: Sheet) -> list[str]:
    """Say drift and noise of the last stability check: last less first, and the scatter between neighbours."""
    checks = [r.setup for r in sheet.setup if r.setup.check == "stability" and len(r.setup.readings) > 1]
    if not checks:
        return []
    values = in_unit(checks[-1], "A")
    if values is None:
        return []
    steps = [after - before for before, after in itertools.pairwise(values)]
    noise = math.sqrt(sum(step * step for step in steps) / len(steps) / 2)
    return [f"Stability: drift {values[-1] - values[0]:+.4f} A, noise {noise:.4f} A over {len(values)} readings"]


def standards(sheet: Sheet) -> list[str]:
    """The verdict on each calibration in words, the last one's first: a small screen has no room for several."""
    return [verdict(result) for result in reversed(sheet.calibrations)]


def verdict(result: CalibrationResult) -> str:
    """Judge a calibration in words."""
    range_ = "" if result.low is None else f", {figure(result.low)} to {figure(result.high)} mg/L"
    words = f"{result.id} {result.state}: {result.calibration.model}, weighting {result.weighting}{range_}"
    parts = [words, explain.curve_words(result)] if result.curve or result.direct else [words]
    if result.detection is not None:
        parts.append(f"detection {figure(result.detection.detection, 3)} mg/L (DIN 32645)")
    return "; ".join([*parts, *result.todos, *result.fails, *result.warns])
