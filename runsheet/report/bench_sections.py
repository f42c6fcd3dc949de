"""The sections of a report on what was measured.

Owns: setup checks, calibrations, blanks, the rows in short and one worked calculation.
Invariant: figures of the sheet only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import figures
from runsheet.compute.calibration import DIN_K, confidence
from runsheet.compute.compare import finite
from runsheet.compute.readings import coverage
from runsheet.report import client_sections, record_sections
from runsheet.report.blocks import Block, Facts, Figure, Heading, Paragraph, Table
from runsheet.report.making import Report, facts, pick, table
from runsheet.run.model import Setup, Standard, Uncertainty
from runsheet.show import columns, curve_plots, explain, findings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import CalibrationResult, RowResult, Sheet


def setup(report: Report) -> Iterator[Block]:
    """Say the setup checks, day by day."""
    made = report.sheet.setup
    if not made:
        return
    yield Heading("Setup checks")
    head = tuple(("no time" if (at := r.setup.at or r.setup.started) is None else str(at.date()),) for r in made)
    as_typed = record_sections.typed([result.setup for result in made], Setup)
    judged = table(pick(columns.SETUP, "value", "limit", "unit", "state", "why"), made)
    rows = tuple(day + one + other for day, one, other in zip(head, as_typed.rows, judged.rows, strict=True))
    yield Table(("day", *as_typed.titles, *judged.titles), rows, (True, *as_typed.left, *judged.left), keys=2)


def calibrations(report: Report) -> Iterator[Block]:
    """Say each calibration: its curve, its standards, its plots."""
    sheet = report.sheet
    for result in sheet.calibrations:
        yield Heading(f"Calibration {result.id}")
        yield _curve_facts(result, sheet.run.method.uncertainty)
        if result.standards:
            yield record_sections.typed([each.standard for each in result.standards], Standard)
            keys = ("id", "x", "y", "back", "error_percent", "used")
            yield table(pick(columns.STANDARDS, *keys), result.standards)
        if (plot := curve_plots.calibration(result)) is not None:
            yield Figure(f"Calibration {result.id}: o standard, x left out", plot)
        if (rest := curve_plots.residuals(result)) is not None:
            yield Figure(f"Residuals of {result.id}", rest)


def _curve_facts(result: CalibrationResult, uncertainty: Uncertainty | None) -> Facts:
    curve, given = result.curve, result.calibration
    span = ""
    if result.low is not None:
        span = f"{figures.figure(result.low)} to {figures.figure(result.high)} mg/L in the solvent"
    return facts(
        ("Verdict", "; ".join([result.state, *result.todos, *result.fails, *result.warns])),
        (
            "Model",
            (
                f"{given.model}, weighting {result.weighting}, zero standard {given.zero_standard or 'subtract'}, "
                f"baseline {given.drift or 'last'}"
            ),
        ),
        ("Cell", "" if given.cell_mm is None else f"{given.cell_mm} mm"),
        ("Standards made of", given.material),
        ("Solvent lot", given.solvent_lot),
        ("Equation", explain.curve_words(result)),
        ("Zero", "" if result.direct else _zero(result)),
        ("Range", span),
        ("Levels", result.levels),
        ("r", "" if curve is None or curve.r is None else f"{curve.r:.6f}"),
        ("RSE", "" if result.rse_percent is None else f"{result.rse_percent:.2f} %"),
        ("RSD of the factors", "" if result.rsd_percent is None else f"{result.rsd_percent:.2f} %"),
        ("Residual s", "" if curve is None or curve.s is None else f"{figures.figure(curve.s, 3)} A"),
        ("Confidence", "" if result.direct else f"{confidence(given) * 100:g} %"),
        ("k of U", _coverage(result, uncertainty)),
        *_din(result),
        ("Verified", given.verified),
        ("Note", given.note),
    )


def _zero(result: CalibrationResult) -> str:
    """What the used zero standards read; without any there is no zero, and 0 is what is computed with."""
    return f"{figures.figure(result.zero, 6)} A" if result.zero_read else "no zero standard is read and used: 0 A"


def _coverage(result: CalibrationResult, uncertainty: Uncertainty | None) -> str:
    """The k of what is read on a calibration, and where it is from."""
    k = coverage(result, uncertainty)
    if k is None:
        return "none: nothing is fitted, or no degree of freedom is left"
    if uncertainty is not None and uncertainty.coverage is not None:
        return f"{figures.figure(k, 3)}, chosen in the method"
    return f"{figures.figure(k, 3)}, " + (
        "usual where nothing is fitted" if result.direct else "two-sided t at the confidence"
    )


NAMES = ("Critical value", "Detection limit", "Quantification limit")
"""The detection figures of a calibration."""


def _din(result: CalibrationResult) -> Iterator[tuple[str, str]]:
    """The detection figures of a calibration, with what they were computed at."""
    found = result.detection
    if found is None:
        return
    low, risk = result.low or 0.0, 1 - confidence(result.calibration)
    values = zip(NAMES, (found.critical, found.detection, found.quantification), strict=True)
    for name, value in values:
        below = f", extrapolated: below the lowest level {figures.figure(low)}" if value and value < low else ""
        said = "none" if value is None else f"{figures.figure(value, 3)} mg/L in the solvent{below}"
        yield f"{name} (DIN 32645)", said
    yield (
        "DIN 32645 at",
        f"alpha = beta = {figures.figure(risk, 3)}, one-sided; quantification two-sided, k = {DIN_K}; m = 1 reading",
    )


def blanks(report: Report) -> Iterator[Block]:
    """Say every solvent blank: as found, as left, and the verdict."""
    verdicts = {finding.rows[0]: finding for finding in report.sheet.quality if finding.rule == "blank"}
    rows = [row for row in report.sheet.rows if row.kind == "blank" and not row.void]
    if not rows:
        return
    yield Heading("Zero and blanks")
    several = len({row.row.at.date() for row in rows if row.row.at is not None}) > 1
    told = tuple(
        (
            row.id,
            figures.when(row.row.at) if several else figures.clock(row.row.at),
            figures.fillings(row.row),
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
    yield from client_sections.legend({flag for row in sheet.rows for flag in row.flags}, sheet)
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
    reported = [row for row in sheet.rows if row.kind == "sample" and row.reported and finite(row.expanded)]
    return min(reported, key=lambda row: (row.state != "accepted", len(row.flags)), default=None)
