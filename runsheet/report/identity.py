"""What a report is, of what, by whom and for whom: what ISO/IEC 17025:2017, 7.8.2, asks of a test report (from memory).

Owns: the title and the facts under it. Invariant: what is not given is said to be not given, never left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import counted, some, when
from runsheet.report.issue_marks import mark
from runsheet.report.making import DIGITS
from runsheet.report.reviewer_points import span
from runsheet.review import signed, signing
from runsheet.run.kinds import CLIENTS, JOURNEY_BLANKS
from runsheet.show import state

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.report.making import Report
    from runsheet.run.model import Run

NOT_GIVEN = "not given"
AS_RECEIVED = (
    "Results relate only to the items tested, as they were received. * As supplied with the sample, by the client or "
    "whoever took it; the laboratory answers for it only where its own people did. Verdicts are taken on unrounded "
    "figures (ASTM E29, absolute method); the decision rule is simple acceptance, uncertainty not applied."
)
"""What a result is of, and what of it is not the laboratory's word."""
SUPPLIED = "*"
"""Marks the head of what came with the sample."""


def title(report: Report) -> str:
    """Say that it is a test report, and which: its number, what it replaces, or that it is a draft."""
    said = mark(report)
    return said if report.issue else f"Test report. {said}"


def about(report: Report) -> Iterator[tuple[str, str]]:
    """Say what the report is of, by whom and for whom."""
    sheet, run, about = report.sheet, report.sheet.run, report.sheet.run.run
    yield "Report", f"{_number(report)}, of run {about.id}" + (f": {about.title}" if about.title else "")
    yield "Laboratory", _with(about.laboratory, address=about.laboratory_address, contact=about.laboratory_contact)
    yield "Accreditation", about.accreditation or NOT_GIVEN
    yield "Tests made at", about.place or NOT_GIVEN
    yield "Client", _with(about.client, address=about.client_address, order=about.client_order)
    yield "Method", " - ".join(filter(None, (run.method.title or run.method.name, run.method.basis))) or NOT_GIVEN
    yield "Measured with", measured_with(run)
    yield "Deviations from it", about.deviations or NOT_GIVEN
    yield "Items tested", _items(report)
    yield "Condition on receipt", _condition(report)
    yield "Sampling", _sampling(run)
    yield "Received", span(s.received for s in run.sample) or NOT_GIVEN
    yield "Tested", span(row.row.at for row in sheet.rows if row.counted) or "no row with a time is read"
    yield "Issued", f"{when(report.issue.issued.at)} by {report.issue.issued.by}" if report.issue else "not issued"
    yield "Analyst", about.analyst or _who_signed(report)
    yield "Authorised by", _authorised(report)
    yield "Work by others", "none is recorded: every result is computed from readings of this run"
    yield "State", state.words(sheet)
    yield "Edit log", report.trail.words + (f": {report.trail.why}" if report.trail.why else "")


def _number(report: Report) -> str:
    """The number of an issued report; of a draft the digest that tells it from any other."""
    return report.issue.issued.number if report.issue else f"draft {signing.digest(report.sheet.run)[:DIGITS]}"


def _with(name: str | None, **more: str | None) -> str:
    return "; ".join([name or NOT_GIVEN, *(f"{what} {text or NOT_GIVEN}" for what, text in more.items())])


def measured_with(run: Run) -> str:
    """The photometer, the cell, the solvent and what the standards are made of: a result depends on all four."""
    cells = _of_each({c.id: "" if c.cell_mm is None else f"{c.cell_mm} mm" for c in run.calibration})
    oils = _of_each({c.id: c.material or "" for c in run.calibration})
    serial = run.instrument.serial and f"serial {run.instrument.serial}"
    photometer = ", ".join(filter(None, (run.instrument.name, serial)))
    solvent = ", ".join(filter(None, (run.solvent.name, run.solvent.grade)))
    made_of = "standards of" if oils else "material of the standards"
    parts = {"photometer": photometer, "cell": cells, "solvent": solvent, made_of: oils}
    told = "; ".join(f"{what} {text or NOT_GIVEN}" for what, text in parts.items())
    return told.removeprefix("photometer ") if run.instrument.name == "photometer" else told  # as a new run names it


def _of_each(known: dict[str, str]) -> str:
    """What is known of each calibration, once, and of which it is not; nothing where it is of none."""
    told = [words or f"{NOT_GIVEN} of {name}" for name, words in known.items()]
    return ", ".join(dict.fromkeys(told)) if any(known.values()) else ""


def _items(report: Report) -> str:
    """How many samples have a result, of how many, and how many blanks that made their journey."""
    rows = [row for row in report.sheet.rows if row.kind in CLIENTS]
    journey = {row.sample for row in rows if row.kind in JOURNEY_BLANKS}
    every = {*(row.sample for row in rows), *(sample.id for sample in report.sheet.run.sample)} - journey
    read = {row.sample for row in rows if row.for_client}
    samples = f"{len(read & every)} of " if every - read else ""
    blanks = f", {len(read & journey)} of {counted(len(journey), 'blank')} of their journey" if journey else ""
    return samples + counted(len(every), "sample") + blanks


def _condition(report: Report) -> str:
    """What is recorded of how the samples came in, and what the findings say of it."""
    samples = report.sheet.run.sample
    warm = sorted(float(s.received_c) for s in samples if s.received_c is not None)
    span_c = f"{warm[0]:g} to {warm[-1]:g} C" if warm and warm[0] != warm[-1] else f"{warm[0]:g} C" if warm else ""
    cold = span_c + (f" ({len(warm)} of {len(samples)})" if len(warm) < len(samples) else "")
    found = [f for f in report.sheet.quality if f.rule == "receipt" and f.state in ("fail", "warn")]
    told = [f"{some(f.rows, 4)}: {f.why}" for f in found]
    return "; ".join([f"received at {cold}" if warm else f"temperature {NOT_GIVEN}", *told])


def _sampling(run: Run) -> str:
    samplers = ", ".join(dict.fromkeys(s.sampler for s in run.sample if s.sampler))
    collected = span(s.collected for s in run.sample)
    return "; ".join(
        (
            f"collected {collected or NOT_GIVEN}{SUPPLIED if collected else ''}",
            f"by {samplers}{SUPPLIED}" if samplers else f"sampler {NOT_GIVEN}",
            f"plan and method {NOT_GIVEN}",
        )
    )


def _who_signed(report: Report) -> str:
    """Who signed as analyst, where the run names none and the signature stands."""
    made = signed.standing(report.sheet.run, report.trail).get("analyst")
    return f"{made.signature.name}, by the analyst's signature" if made else NOT_GIVEN


def _authorised(report: Report) -> str:
    run = report.sheet.run
    made = report.issue.reviewed if report.issue else signed.standing(run, report.trail).get("reviewer")
    if made is None:
        return "nobody: no valid reviewer's signature"
    account = f"account {made.login}" if made.login else f"account {NOT_GIVEN}"
    said = f"{made.signature.name}, {when(made.signature.at)}, {account}"
    one = signed.shared_account(run)
    return f"{said}; analyst and reviewer signed under one account, {one}" if one else said
