"""What a report says, in order.

Owns: the sections of the report, each a function from a sheet to blocks, named in `SECTIONS`. Invariant: the report
shows the sheet and judges nothing itself; where it leaves passes out it says how many.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from runsheet import columns, explain, signing
from runsheet.compute.compare import finite
from runsheet.methods import solvents, standing, words
from runsheet.report import findings, plots
from runsheet.report.blocks import Block, Facts, Figure, Heading, Items, Paragraph, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import date
    from typing import TypeVar

    from runsheet.columns import Column
    from runsheet.compute.outcome import CalibrationResult, Finding, RowResult, Sheet

    T = TypeVar("T")

STATES = {
    "pass": "PASS: every check that applies is met",
    "fail": "FAIL: see the findings",
    "todo": "NOT FINISHED: something is still to be read or closed",
}
COUNTED_ONLY = ("replicates", "holding")
"""Rules whose passes are counted and not listed."""


def outline(sheet: Sheet) -> tuple[Block, ...]:
    """Give the whole report as blocks."""
    return tuple(block for section in SECTIONS for block in section(sheet))


def _table(chosen: Sequence[Column[T]], rows: Sequence[T]) -> Table:
    return Table(
        tuple(column.title for column in chosen),
        tuple(tuple(column.text(row) for column in chosen) for row in rows),
        tuple(column.left for column in chosen),
    )


def _pick(table: Sequence[Column[T]], *keys: str) -> list[Column[T]]:
    known = {column.key: column for column in table}
    return [known[key] for key in keys]


def _facts(*pairs: tuple[str, object]) -> Facts:
    return Facts(tuple((name, str(value)) for name, value in pairs if value not in (None, "")))


def _when(at: datetime | date | None) -> str:
    if isinstance(at, datetime):
        return at.isoformat(" ", "minutes")
    return "" if at is None else at.isoformat()


def _title(sheet: Sheet) -> Iterator[Block]:
    about, method, instrument, solvent = sheet.run.run, sheet.run.method, sheet.run.instrument, sheet.run.solvent
    materials = dict.fromkeys(c.material for c in sheet.run.calibration if c.material)
    cells = dict.fromkeys(f"{c.cell_mm} mm" for c in sheet.run.calibration if c.cell_mm is not None)
    yield Heading(about.title or about.id, 1)
    yield _facts(
        ("Run", about.id),
        ("State", STATES[sheet.state]),
        ("Laboratory", about.laboratory),
        ("Client", about.client),
        ("Analyst", about.analyst),
        ("Reviewer", about.reviewer),
        ("Opened", _when(about.opened)),
        ("Evaluated as of", _when(sheet.now)),
        ("Method", " - ".join(filter(None, (method.title or method.name, method.basis)))),
        (
            "Instrument",
            ", ".join(filter(None, (instrument.name, instrument.serial, f"reads {instrument.reads or 'absorbance'}"))),
        ),
        ("Cell", ", ".join(cells)),
        ("Solvent", ", ".join(filter(None, (solvent.name, solvent.grade, solvent.lot and f"lot {solvent.lot}")))),
        ("Standards made of", ", ".join(materials)),
        ("Note", about.note),
    )


def _received(sheet: Sheet) -> Iterator[Block]:
    if not sheet.run.sample:
        return
    yield Heading("Samples as received")
    rows = tuple(
        (
            s.id,
            s.site or "",
            _when(s.collected),
            _when(s.received),
            s.container or "",
            s.preservative or "",
            "" if s.pH is None else str(s.pH),
        )
        for s in sheet.run.sample
    )
    yield Table(
        ("sample", "site", "collected", "received", "container", "preserved", "pH"), rows, (True,) * 6 + (False,)
    )


def _setup(sheet: Sheet) -> Iterator[Block]:
    if sheet.setup:
        yield Heading("Photometer checks")
        yield _table(_pick(columns.SETUP, "check", "readings", "value", "limit", "unit", "state", "why"), sheet.setup)


def _calibrations(sheet: Sheet) -> Iterator[Block]:
    for result in sheet.calibrations:
        yield Heading(f"Calibration {result.id}")
        yield _curve_facts(result)
        yield _table(
            _pick(columns.STANDARDS, "id", "x", "readings", "y", "back", "error_percent", "used", "lot", "reason"),
            result.standards,
        )
        if (plot := plots.calibration(result)) is not None:
            yield Figure(f"Calibration {result.id}: o standard, x not used", plot)
        if (rest := plots.residuals(result)) is not None:
            yield Figure(f"Residuals of {result.id}", rest)


def _curve_facts(result: CalibrationResult) -> Facts:
    curve, detection = result.curve, result.detection
    span = (
        ""
        if result.low is None
        else f"{columns.figure(result.low)} to {columns.figure(result.high)} mg/L in the solvent"
    )
    limits = ""
    if detection is not None:
        figures = (detection.critical, detection.detection, detection.quantification)
        limits = " / ".join(columns.figure(value, 3) or "none" for value in figures) + " mg/L in the solvent"
    return _facts(
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
        ("Residual s", "" if curve is None else columns.figure(curve.s, 3)),
        ("Critical / detection / quantification (DIN 32645)", limits),
        ("Note", result.calibration.note),
    )


def results(sheet: Sheet) -> Iterator[Block]:
    """Say every row's result, with the legend of kinds and flags and what U is."""
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
    yield _table(_pick(columns.QUEUE, *keys), sheet.rows)
    kinds = dict.fromkeys(columns.ABBREVIATIONS[row.kind] for row in sheet.rows if row.kind != "sample")
    if kinds:
        yield Paragraph("Kinds: " + "; ".join(f"{kind} {columns.KIND_WORDS[kind]}" for kind in kinds) + ".")
    flags = sorted({flag for row in sheet.rows for flag in row.flags})
    if flags:
        yield Paragraph("Flags: " + "; ".join(f"{flag} {columns.FLAG_WORDS[flag]}" for flag in flags) + ".")
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
        "the decision rule is simple acceptance, uncertainty not applied. Results relate only to the items tested."
    )


def _basis(sheet: Sheet) -> str:
    """Say what a mg/kg is a kg of."""
    if sheet.run.method.unit != "mg/kg":
        return ""
    samples = [row.amounts for row in sheet.rows if row.kind in ("sample", "duplicate") and row.amounts]
    dry = sum(amounts.solids_percent is not None for amounts in samples)
    if dry == len(samples):
        return " of dry weight (QC rows without a solids content as weighed)"
    return " as received" if dry == 0 else "; of dry weight where a solids content is given, else as received"


def _uncertainty(sheet: Sheet) -> str:
    coverages = sorted({round(row.coverage, 2) for row in sheet.rows if row.expanded is not None and row.coverage})
    k = " and ".join(f"{value:g}" for value in coverages) or "none yet"
    scope = (
        "the whole procedure, by the laboratory's own precision or bias"
        if sheet.uncertainty_complete
        else "instrument and volumes only"
    )
    return f"U is the expanded uncertainty, k = {k}: {scope}."


def fractions(sheet: Sheet) -> Iterator[Block]:
    """Say the polar part of samples read in both fractions."""
    if sheet.fractions:
        yield Heading("Fractions")
        rows = tuple(
            (
                f.sample,
                *(columns.figure(value) for value in (f.oil_grease, f.petroleum, f.polar)),
                columns.figure(f.expanded, 2),
                f.unit,
            )
            for f in sheet.fractions
        )
        titles = ("sample", "oil and grease", "petroleum", "polar part", "U of it", "unit")
        yield Table(titles, rows, (True, False, False, False, False, True))


def _quality(sheet: Sheet) -> Iterator[Block]:
    yield Heading("Quality control")
    listed = [finding for finding in sheet.quality if finding.state != "pass" or finding.rule not in COUNTED_ONLY]
    rows = tuple(
        (
            f.rule,
            " ".join(f.rows[:4]) + (f" and {len(f.rows) - 4} more" if len(f.rows) > 4 else ""),
            columns.figure(f.value),
            findings.limits(f),
            f.state,
        )
        for f in listed
    )
    if rows:
        yield Table(("rule", "rows", "value", "limits", "verdict"), rows, (True, True, False, False, True))
    for rule in COUNTED_ONLY:
        count = sum(finding.rule == rule and finding.state == "pass" for finding in sheet.quality)
        if count:
            yield Paragraph(f"{rule}: {count} more, all pass.")


def findings_found(sheet: Sheet) -> Iterator[Block]:
    """Say every finding that is no pass, and what is due."""
    yield Heading("Findings")
    told = findings.lines(sheet)
    yield Items(tuple(told)) if told else Paragraph("None: every rule that applies is met.")
    actions = tuple(_action(finding, sheet) for finding in sheet.quality if finding.state == "fail")
    if actions:
        yield Facts(actions)
    if sheet.due:
        yield Paragraph("Due: " + "; ".join(result.words for result in sheet.due) + ".")


def _action(finding: Finding, sheet: Sheet) -> tuple[str, str]:
    """Say what was done about a failing finding."""
    action = sheet.action(finding)
    name = f"{finding.rule} {findings.some(finding.rows, 3)}".strip()
    if action is None:
        return name, "no action noted"
    who = ", ".join(filter(None, (action.by, _when(action.at))))
    return name, f"action: {action.taken}" + (f" ({who})" if who else "")


def _worked(sheet: Sheet) -> Iterator[Block]:
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


def _signatures(sheet: Sheet) -> Iterator[Block]:
    run = sheet.run
    if not run.signature and not run.amendment:
        return
    yield Heading("Signatures and amendments")
    valid = signing.standing(run)
    signed = tuple(
        (s.role, s.name, _when(s.at), "stands" if s in valid else "the document was changed after it", s.digest[:16])
        for s in run.signature
    )
    if signed:
        yield Table(("as", "name", "at", "and now", "SHA-256 begins"), signed, (True,) * 5)
    if run.amendment:
        yield Items(tuple(", ".join(filter(None, (_when(a.at), a.by, a.reason))) for a in run.amendment))


def _not(sheet: Sheet) -> Iterator[Block]:
    yield Heading("What this result is not")
    yield Items(tuple(str(sentence) for sentence in standing.standing(sheet.run.method.unit)))
    yield Paragraph("Names typed into a run are not electronic signatures.")


def _method_limits(sheet: Sheet) -> Iterator[Block]:
    yield Heading("The method's limits and their sources")
    described = words.describe(sheet.run.method)
    if described:
        groups = [words.GROUPS.get(limit.path.partition(".")[0], "") for limit in described]
        shown = [group if group not in groups[:at] else "" for at, group in enumerate(groups)]
        rows = tuple(
            (group, limit.words, limit.value, limit.source) for group, limit in zip(shown, described, strict=True)
        )
        yield Table(("of", "limit", "value", "source"), rows, (True, True, False, True))
    else:
        yield Paragraph("The method has no limits.")


def _cautions(sheet: Sheet) -> Iterator[Block]:
    yield Heading("Cautions")
    name = sheet.run.solvent.name or ""
    refusal = solvents.refusal(name)
    yield Items((*((refusal,) if refusal else ()), *solvents.cautions(name)))


SECTIONS = (
    _title,
    _received,
    _setup,
    _calibrations,
    results,
    fractions,
    _quality,
    findings_found,
    _worked,
    _method_limits,
    _signatures,
    _not,
    _cautions,
)
