"""The sections of a report on what was measured.

Owns: samples as received, photometer checks, calibrations, blanks, results, fractions and one worked calculation.
Invariant: figures of the sheet only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import figures
from runsheet.compute import limits as limits_
from runsheet.compute.compare import finite
from runsheet.figures import when
from runsheet.report.blocks import Block, Facts, Figure, Heading, Paragraph, Table
from runsheet.report.making import Report, facts, pick, table
from runsheet.run import kinds
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


def results(report: Report) -> Iterator[Block]:
    """Say every row's result, with the legend of kinds and flags and what U is."""
    sheet = report.sheet
    yield Heading("Results")
    if not sheet.rows:
        yield Paragraph("The queue is empty.")
        return
    keys = ["id", "kind", "readings", "net", "extract", "dilution", "reported", "U", "flags", "state"]
    units = {row.unit for row in sheet.rows if row.unit is not None}
    if units - {sheet.run.method.unit}:
        keys.insert(8, "unit")
    else:
        yield Paragraph(f"Results and U in {sheet.run.method.unit}{_basis(sheet)}.")
    yield table(pick(columns.QUEUE, *keys), sheet.rows)
    there = dict.fromkeys(row.kind for row in sheet.rows if row.kind != "sample")
    if there:
        named = (f"{kinds.ABBREVIATIONS[kind]} {kinds.WORDS[kind]}" for kind in there)
        yield Paragraph("Kinds: " + "; ".join(named) + ".")
    flags = sorted({flag for row in sheet.rows for flag in row.flags})
    if flags:
        letters = limits_.letters(sheet.run.method)
        yield Paragraph("Flags: " + "; ".join(f"{letters[flag]} {columns.FLAG_WORDS[flag]}" for flag in flags) + ".")
    reasons = [
        (row.id, f"void: {row.row.void}" if row.void else f"superseded: {row.row.reason}")
        for row in sheet.rows
        if row.void or row.row.report is False
    ]
    if reasons:
        yield Facts(tuple(reasons))
    yield Paragraph(_uncertainty(sheet))
    yield Paragraph(
        "Figures in brackets are not reported. Verdicts are taken on unrounded figures (ASTM E29, absolute method); "
        "the decision rule is simple acceptance, uncertainty not applied."
    )


def _basis(sheet: Sheet) -> str:
    """Say what a mg/kg is a kg of."""
    if sheet.run.method.unit != "mg/kg":
        return ""
    samples = [row.amounts for row in sheet.rows if row.kind in kinds.BLANKABLE and row.amounts]
    dry = sum(amounts.solids_percent is not None for amounts in samples)
    if dry == len(samples):
        return " of dry weight (QC rows without a solids content as weighed)"
    return " as received" if dry == 0 else "; of dry weight where a solids content is given, else as received"


def _uncertainty(sheet: Sheet) -> str:
    if not any(row.expanded is not None for row in sheet.rows):
        return "U, the expanded uncertainty, is not computed yet."
    coverages = sorted({round(row.coverage, 2) for row in sheet.rows if row.expanded is not None and row.coverage})
    k = " and ".join(f"{value:g}" for value in coverages) or "none yet"
    scope = (
        "the whole procedure, by the laboratory's own precision or bias"
        if sheet.uncertainty_complete
        else "instrument and volumes only"
    )
    return f"U is the expanded uncertainty, k = {k}: {scope}."


def limits(report: Report) -> Iterator[Block]:
    """Say the limits of every reported row, scaled by what was really used of it."""
    reported = [row for row in report.sheet.rows if row.reported is not None and row.reporting is not None]
    if reported:
        yield Heading("Limits of each result")
        yield table(pick(columns.QUEUE, "id", "amount", "extract_ml", "detection", "reporting", "unit"), reported)


def fractions(report: Report) -> Iterator[Block]:
    """Say the polar part of samples read in both fractions."""
    sheet = report.sheet
    letters = limits_.letters(sheet.run.method)
    if sheet.fractions:
        yield Heading("Fractions")
        rows = tuple(
            (
                f.sample,
                *(f.reported[name] or "" for name in ("oil_grease", "petroleum", "polar")),
                "" if "U" in f.flags else figures.figure(f.expanded, 2),
                f.unit,
                "".join(letters[flag] for flag in f.flags),
            )
            for f in sheet.fractions
        )
        titles = ("sample", "oil and grease", "petroleum", "polar part", "U of it", "unit", "flags")
        yield Table(titles, rows, (True, False, False, False, False, True, True))


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
