"""A run to a sheet.

Owns: `evaluate`, the order of the computation, and the state of the run. Invariant: pure; the same run at the same time
gives the same sheet, and it never raises on a run that was read without errors.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute import brackets, calibration, comparison, fractions, intervals, limits, readings, rules, setup
from runsheet.compute.results import Finding, Sheet
from runsheet.compute.rules.batch import blank_flags
from runsheet.compute.rules.computed import Day

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.compute.results import CalibrationResult, DueResult, RowResult, SetupResult, Verdict
    from runsheet.run.model import Run


OWN = ("blank", "check", "second-source", "method-blank", "control", "spike", "control-pair", "spike-pair", "duplicate")
"""Rules whose failing is shown at the rows they name."""


def evaluate(run: Run, now: datetime) -> Sheet:
    """Compute everything a run says at a time: figures, flags, verdicts, what is due.

    `run` was read without errors; `now` has an offset.
    """
    setups = setup.judge(run, now)
    calibrations = calibration.judge(run)
    rows = readings.computed(run, calibrations)
    partners = comparison.Partners(rows)
    comparison.compute(rows, partners)
    _limit_and_flag(rows, run)
    brackets.settle(rows, run)
    cut = {kind: intervals.stretches(rows, kind, calibrations) for kind in readings.EVENTS}
    due = intervals.due(run, rows, cut, now)
    parts = fractions.fractions(partners, run)
    day = Day(run, now, setups, calibrations, rows, partners, cut, due, parts)
    findings = rules.judge(day)
    _flag_by_rules(rows, findings)
    for row in rows:
        row.reported = limits.reported(row, run.method)
    uncertainty = readings.relative_parts(run.method.uncertainty)
    return Sheet(
        run=run,
        now=now,
        state=_state(setups, calibrations, rows, findings, due),
        setup=setups,
        calibrations=calibrations,
        rows=rows,
        fractions=parts,
        quality=findings,
        due=due,
        uncertainty_complete="precision" in uncertainty or "bias" in uncertainty,
    )


def _limit_and_flag(rows: tuple[RowResult, ...], run: Run) -> None:
    adjuster = limits.Adjuster(run.method)
    for row in rows:
        if row.void:
            continue
        adjuster.adjust(row)
        if row.counted:
            row.flags = tuple(sorted(limits.flags(row, run)))
            row.advice = limits.advice(row)


def _flag_by_rules(rows: tuple[RowResult, ...], findings: tuple[Finding, ...]) -> None:
    """Add the flags that rules about other rows and about times give: B and H."""
    blanks = blank_flags(rows)
    held = {
        name for finding in findings if finding.rule == "holding" and finding.state == "fail" for name in finding.rows
    }
    failed = {name for finding in findings if finding.state == "fail" and finding.rule in OWN for name in finding.rows}
    for row in rows:
        row.fails = row.row.id in failed
        for flag, names in (("B", blanks), ("H", held)):
            if names and row.row.id in names:
                row.flags = tuple(sorted((*row.flags, flag)))


def _state(
    setups: tuple[SetupResult, ...],
    calibrations: tuple[CalibrationResult, ...],
    rows: tuple[RowResult, ...],
    findings: tuple[Finding, ...],
    due: tuple[DueResult, ...],
) -> Verdict:
    """Give the state of the run; a calibration that fails and is in use fails by its rule."""
    if any(finding.state == "fail" for finding in findings) or any(result.state == "overdue" for result in due):
        return "fail"
    states = {*(s.state for s in setups), *(c.state for c in calibrations), *(f.state for f in findings)}
    if "todo" in states or any(row.state in ("unread", "open") for row in rows):
        return "todo"
    return "pass"
