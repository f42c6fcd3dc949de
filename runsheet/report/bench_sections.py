"""The sections of a report on what was measured.

Owns: samples as received, photometer checks, calibrations, blanks, results, fractions and one worked calculation.
Invariant: figures of the sheet only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import figures
from runsheet.compute.compare import finite
from runsheet.figures import when
from runsheet.report import client_sections
from runsheet.report.blocks import Block, Facts, Figure, Heading, Paragraph, Table
from runsheet.report.making import Report, facts, pick, table
from runsheet.show import columns, curve_plots, explain, findings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import CalibrationResult, RowResult, Sheet


def received(report: Report) -> Iterator[Block]:
    """Say the samples as they came in."""
    sheet = report.sheet
    if not sheet.run.sample:
        return
    yield Heading("Samples as received")
    rows = tuple(
        (
            s.id,
            s.client_id or "",
            s.site or "",
            when(s.collected),
            s.sampler or "",
            when(s.received),
            "" if s.received_c is None else f"{s.received_c} C",
            s.container or "",
            s.preservative or "",
            "" if s.pH is None else str(s.pH),
            s.note or "",
        )
        for s in sheet.run.sample
    )
    titles = ("sample", "client's id", "site", "collected", "by", "received", "at", "in", "preserved", "pH", "note")
    yield Table(titles, rows, (True,) * 9 + (False, True))


def setup(report: Report) -> Iterator[Block]:
    """Say the photometer checks."""
    sheet = report.sheet
    if sheet.setup:
        yield Heading("Photometer checks")
        yield table(pick(columns.SETUP, "check", "readings", "value", "limit", "unit", "state", "why"), sheet.setup)


def calibrations(report: Report) -> Iterator[Block]:
    """Say each calibration: its curve, its standards, its plots."""
    sheet = report.sheet
    for result in sheet.calibrations:
        yield Heading(f"Calibration {result.id}")
        yield _curve_facts(result)
        yield table(
            pick(columns.STANDARDS, "id", "x", "readings", "y", "back", "error_percent", "used", "lot", "reason"),
            result.standards,
        )
        if (plot := curve_plots.calibration(result)) is not None:
            yield Figure(f"Calibration {result.id}: o standard, x not used", plot)
        if (rest := curve_plots.residuals(result)) is not None:
            yield Figure(f"Residuals of {result.id}", rest)


def _curve_facts(result: CalibrationResult) -> Facts:
    curve, detection = result.curve, result.detection
    span = (
        ""
        if result.low is None
        else f"{figures.figure(result.low)} to {figures.figure(result.high)} mg/L in the solvent"
    )
    limits = ""
    if detection is not None:
        values = (detection.critical, detection.detection, detection.quantification)
        limits = " / ".join(figures.figure(value, 3) or "none" for value in values) + " mg/L in the solvent"
    return facts(
        ("Verdict", "; ".join([result.state, *result.todos, *result.fails, *result.warns])),
        (
            "Model",
            (
                f"{result.calibration.model}, weighting {result.weighting}, "
                f"zero standard {result.calibration.zero_standard or 'subtract'}, "
                f"drift {result.calibration.drift or 'last'}"
            ),
        ),
        ("Curve", explain.curve_words(result)),
        ("Range", span),
        ("Levels", result.levels),
        ("r", "" if curve is None or curve.r is None else f"{curve.r:.6f}"),
        ("RSE", "" if result.rse_percent is None else f"{result.rse_percent:.2f} %"),
        ("RSD of the factors", "" if result.rsd_percent is None else f"{result.rsd_percent:.2f} %"),
        ("Residual s", "" if curve is None else figures.figure(curve.s, 3)),
        ("Critical / detection / quantification (DIN 32645)", limits),
        ("Note", result.calibration.note),
    )


def blanks(report: Report) -> Iterator[Block]:
    """Say every solvent blank: as found, as left, and the verdict."""
    verdicts = {finding.rows[0]: finding for finding in report.sheet.quality if finding.rule == "blank"}
    rows = [row for row in report.sheet.rows if row.kind == "blank" and not row.void]
    if not rows:
        return
    yield Heading("Zero and blanks")
    told = tuple(
        (
            row.id,
            figures.clock(row.row.at),
            figures.readings(row.row.readings),
            figures.signal(row.net),
            findings.limits(verdicts[row.id]),
            ("yes" if row.row.as_left is None else f"yes, left {row.row.as_left}") if row.row.rezeroed else "",
            verdicts[row.id].state,
        )
        for row in rows
    )
    titles = ("blank", "time", "found", "net", "limits", "re-zeroed", "verdict")
    yield Table(titles, told, (True, True, False, False, True, True, True))


def rows(report: Report) -> Iterator[Block]:
    """Say every row of the queue in order with what came of it, and the legend of kinds and flags."""
    sheet = report.sheet
    yield Heading("Rows")
    if not sheet.rows:
        yield Paragraph("The queue is empty.")
        return
    yield table(
        pick(columns.QUEUE, "id", "kind", "readings", "net", "reported", "unit", "U", "flags", "state"), sheet.rows
    )
    if any(row.kind != "sample" for row in sheet.rows):
        yield Paragraph(client_sections.kinds_legend(sheet.rows))
    yield from client_sections.legend("".join(row.letters for row in sheet.rows), sheet)
    yield Paragraph("Figures in brackets are not reported.")


def worked(report: Report) -> Iterator[Block]:
    """Work one result through, in the words of the screen."""
    sheet = report.sheet
    row = _example(sheet)
    if row is None:
        return
    yield Heading(f"Worked calculation: {row.id}")
    rows = tuple((step.formula, step.numbers, step.source) for step in explain.steps(row, sheet))
    yield Table(("step", "with its numbers", "source"), rows, (True, True, True))


def _example(sheet: Sheet) -> RowResult | None:
    """Choose the row to work through: a reported sample, one with a plain figure where there is one."""
    reported = [row for row in sheet.rows if row.kind == "sample" and row.reported and finite(row.expanded) is not None]
    return min(reported, key=lambda row: (row.state != "accepted", len(row.flags)), default=None)
