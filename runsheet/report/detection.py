"""Detection studies and demonstrations of capability, as blocks.

Owns: how a study reads. Invariant: figures and words of the study only; nothing claims compliance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.statistics.demonstration import RESULTS
from runsheet.figures import figure, minute
from runsheet.history import findings
from runsheet.report.blocks import Block, Facts, Heading, Items, Paragraph, Table

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from runsheet.compute.statistics.detection_limits import Measured, Part
    from runsheet.history.cache import Tables
    from runsheet.history.studies import Capability, Detection

PROCEDURE = (
    "Method detection limit by 40 CFR 136 Appendix B, revision 2 (the definition was read, the details are from "
    "memory): the larger of MDL_S, from the spikes, and MDL_b, from the method blanks. It is a critical level: a "
    "result above it is, with 1 % false positives, above a blank; it is no limit of quantification. Results of the "
    "last 24 months at one spiking level count; nothing is left out for being far off. Days of preparation are not "
    "known here. It is for the laboratory to judge by the procedure itself whether the study is good."
)


def blocks(
    tables: Tables, studies: Sequence[Detection], capabilities: Sequence[Capability], now: datetime
) -> Iterator[Block]:
    """Say every study and demonstration of a folder."""
    yield Heading(f"Detection studies of {tables.folder.name or tables.folder}", 1)
    yield Paragraph(f"As of {now:%Y-%m-%d}. {findings.counted(tables)}.")
    told = tuple(findings.findings(tables))
    if told:
        yield Items(told)
    for found in studies:
        yield from _study(found, now)
    if not studies:
        yield Paragraph(
            "No detection-spike row is read and not void: a study needs 7 spikes and 7 method blanks in 3 batches."
        )
    yield Paragraph(PROCEDURE)
    for shown in capabilities:
        yield from _capability(shown)


def _study(found: Detection, now: datetime) -> Iterator[Block]:
    study, unit = found.study, found.group.unit
    yield Heading(found.group.title)
    yield Facts(tuple(_facts(found, now)))
    if study.missing:
        yield Paragraph("Missing:")
        yield Items(study.missing)
    if study.advice:
        yield Paragraph("Recommended by the procedure:")
        yield Items(study.advice)
    rows = (*_rows("spike", study.spikes, unit), *_rows("blank", study.blanks, unit))
    if rows:
        yield Table(
            ("document", "row", "of", "read", "batch", "result", "unit"), rows, (True,) * 5 + (False, True), keys=2
        )
    yield from _left_out(found.left_out)


def _left_out(rows: Sequence[tuple[str, str, str]]) -> Iterator[Block]:
    """Name what does not count, by document and row, with why."""
    if rows:
        yield Paragraph("Left out:")
        yield Items(tuple(f"{row} of {path}: {why}" for path, row, why in rows))


def _facts(found: Detection, now: datetime) -> Iterator[tuple[str, str]]:
    study, unit = found.study, found.group.unit
    state = "complete" if study.complete else "NOT COMPLETE, figures provisional"
    yield "Detection limit (MDL)", f"{figure(study.mdl, 3)} {unit}, {state}" if study.mdl else f"none yet; {state}"
    unknown = "not known: added_mg is not given" if study.spikes.used else "no spike counts"
    yield "Spiked at", f"{figure(study.level)} {unit}" if study.level else unknown
    yield "MDL_S", _limit(study.spikes, unit)
    yield "MDL_b", _limit(study.blanks, unit)
    if found.offered:
        yield "For the method", f"detection = {found.offered}, studied = {now:%Y-%m-%d} (L on the screen)"
    if study.verification is not None:
        yield "In use", f"{figure(study.verification.existing)} {unit}: {study.verification.words}"
    if study.due is not None:
        yield "Next verification", f"by {study.due}" + (": OVERDUE" if study.overdue else "")


def _limit(part: Part, unit: str) -> str:
    value = f"{figure(part.limit, 3)} {unit}: " if part.limit is not None else ""
    spread = "" if part.s is None else f"; n {part.n}, mean {figure(part.mean)}, s {figure(part.s, 3)}"
    return f"{value}{part.words}{spread}"


def _rows(word: str, part: Part, unit: str) -> tuple[tuple[str, ...], ...]:
    return tuple((m.run, m.row, word, f"{m.at:%Y-%m-%d %H:%M}", m.batch, _number(m), unit) for m in part.used)


def _number(measured: Measured) -> str:
    return "no number" if measured.number is None else figure(measured.number)


def _percent(value: float | None, digits: int = 4) -> str:
    return "none" if value is None else f"{figure(value, digits)} %"


def _capability(shown: Capability) -> Iterator[Block]:
    result, criteria = shown.result, shown.result.criteria
    verdict = {True: "PASS", False: "FAIL", None: "not complete"}[result.passes]
    yield Heading(f"Initial demonstration: {shown.analyst or 'no analyst named'}, {shown.group.title}")
    spread = f"s at most {criteria.s:g} %" if criteria.s is not None else f"RSD at most {criteria.rsd:g} %"
    yield Facts(
        (
            ("Verdict", "; ".join((verdict, *result.missing, *result.failures))),
            ("Mean recovery", f"{_percent(result.mean)}, limits {criteria.mean_low:g} to {criteria.mean_high:g} %"),
            ("s of recovery", f"{_percent(result.s, 3)}, {spread}"),
            ("Judged by", criteria.source),
            ("Rows", _which(shown)),
        )
    )
    rows = tuple((minute(r.at), r.path, r.row, figure(r.recovery)) for r in shown.rows)
    if rows:
        yield Table(("read", "document", "row", "recovery %"), rows, (True, True, True, False))
    yield from _left_out(shown.left_out)


def _which(shown: Capability) -> str:
    """Say which rows it is judged by."""
    if shown.of > RESULTS:
        return f"the latest {RESULTS} of {shown.of}"
    return f"all {shown.of}" if shown.of else "none that counts"
