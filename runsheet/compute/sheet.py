"""A run to a sheet.

Owns: `evaluate` and the order of the computation. Invariant: pure; the same run at the same time gives the same sheet,
and it never raises on a run that was read without errors.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute import (
    brackets,
    calibration,
    comparison,
    fractions,
    intervals,
    limits,
    readings,
    rules,
    setup,
    standing,
)
from runsheet.compute.days import Days
from runsheet.compute.results import Sheet
from runsheet.compute.rules.batch import blank_flags
from runsheet.compute.rules.computed import Computed

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.compute.results import RowResult
    from runsheet.run.model import Run


def evaluate(run: Run, now: datetime) -> Sheet:
    """Everything a run says at a time: figures, flags, verdicts, what is due.

    `run` was read without errors; `now` has an offset.
    """
    times = setup.reading_times(run)
    setups = setup.judge(run, times, now)
    calibrations = calibration.judge(run)
    rows = readings.computed(run, calibrations)
    _limit_and_flag(rows, run)
    reported = comparison.Reported(rows)
    comparison.compute(rows, reported)
    brackets.set_states(rows, run)
    _add_flag(rows, "B", blank_flags(rows))
    due = intervals.due(run, rows, calibrations, now)
    days = Days(times, rows, run.standard)
    computed = Computed(run, now, setups, calibrations, rows, reported, times, days, due)
    findings = standing.acted_on(rules.judge(computed), run, calibrations)
    standing.flag(rows, findings, unread=computed.unread)
    letters = limits.letters(run.method)
    for row in rows:
        row.reported = limits.reported(row, run.method)
        row.letters = "".join(letters[flag] for flag in row.flags)
    uncertainty = readings.relative_parts(run.method.uncertainty)
    return Sheet(
        run=run,
        now=now,
        state=standing.state(setups, calibrations, rows, findings),
        setup=setups,
        calibrations=calibrations,
        rows=rows,
        fractions=fractions.fractions(reported, run),
        quality=findings,
        due=due,
        uncertainty_complete="precision" in uncertainty or "bias" in uncertainty,
    )


def _limit_and_flag(rows: tuple[RowResult, ...], run: Run) -> None:
    given = limits.Limits(run.method)
    for row in (row.as_if or row for row in rows):
        if row.void:
            continue
        given.adjust(row)
        if row.counted:
            row.flags = given.flags(row)
            row.dilute_to = limits.dilute_to(row)


def _add_flag(rows: tuple[RowResult, ...], flag: str, names: set[str]) -> None:
    for row in rows:
        if row.id in names:
            row.flags = tuple(sorted({*row.flags, flag}))
