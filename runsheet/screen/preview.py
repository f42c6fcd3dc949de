"""A sheet before anything is computed.

Owns: what the first frame shows while numpy is still loading. Invariant: only what was typed; no verdict.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute import setup
from runsheet.compute.amounts import concentration
from runsheet.compute.results import CalibrationResult, RowResult, Sheet, StandardResult

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.run.model import Calibration, Run


def first_sheet(run: Run, now: datetime) -> Sheet:
    """Give a sheet of the typed values alone."""
    rows = tuple(_row(row) for row in run.queue)
    calibrations = tuple(_calibration(calibration, run) for calibration in run.calibration)
    return Sheet(run, now, "todo", setup.judge(run, now), calibrations, rows, (), (), ())


def _row(row: object) -> RowResult:
    made = RowResult(row)  # type: ignore[arg-type]
    if not made.void:
        made.state = "open" if made.row.readings else "unread"
        made.signals = tuple(0.0 for _ in made.row.readings)
    return made


def _calibration(calibration: Calibration, run: Run) -> CalibrationResult:
    only = len(run.calibration) == 1
    mine = [s for s in run.standard if s.calibration == calibration.id or (only and s.calibration is None)]
    standards = tuple(
        StandardResult(s, concentration(s), 0.0 if s.readings else None, s.use is not False) for s in mine
    )
    ready = all(s.readings for s in mine if s.use is not False)
    return CalibrationResult(
        calibration, calibration.weighting or "none", 0.0, None, standards, 0, 0, None, None, None, None,
        "todo", (), (), ("computing",), None, ready, None,
    )  # fmt: skip
