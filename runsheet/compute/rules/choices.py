"""Rules about what was voided, repeated or superseded: testing until something passes is told.

A row that is not judged (above the range, another material) is neither outside its limits nor within, and ends a row
of failures.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import below, optional
from runsheet.compute.results import Finding
from runsheet.compute.rules import recovery
from runsheet.compute.rules.batch import agreement
from runsheet.compute.rules.events import blank_verdict
from runsheet.figures import against
from runsheet.run.kinds import CHECK_STANDARDS, CONTROLS, REPEATED, SPIKES, VERIFYING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult, Verdict
    from runsheet.compute.rules.computed import Computed


def own(row: RowResult, run: Computed) -> Finding:
    """What a row's own rule says of its figure: pass, fail, or warn where that is not judged."""
    method, limits = run.run.method, run.limits(row.fraction)
    if row.kind == "blank":
        return blank_verdict(row, run)
    if row.kind == "check":
        return recovery.of_expected("check", row, method.check.recovery_percent if method.check else None)
    if row.kind == "second-source":
        return recovery.of_expected("second-source", row, method.check.second_source_percent if method.check else None)
    if row.kind == "method-blank":
        return _method_blank(row, run)
    if row.kind in CONTROLS:
        return recovery.of_added("control", row, limits.control_percent)
    if row.kind in SPIKES:
        return recovery.of_added("spike", row, limits.spike_percent)
    if row.kind == "duplicate" and row.compared_with is not None and None not in (row.result, row.compared_with.result):
        return agreement("duplicate", row, row.compared_with, optional(limits.duplicate_rpd_percent))
    return Finding(row.kind, (row.id,), state="warn")


def _method_blank(row: RowResult, run: Computed) -> Finding:
    """A method blank against its limit alone, however far above it the samples are."""
    made = Finding("method-blank", (row.id,), row.result, None, row.reporting, "pass", "", row.unit or "")
    if row.result is None or row.unit != run.run.method.unit:
        return made._replace(state="warn")
    return made._replace(state="pass" if row.reporting is None or below(row.result, row.reporting) else "fail")


def voided_qc(run: Computed) -> Iterator[Finding]:
    """A row of quality control outside its limits is not voided for that."""
    for row in run.rows:
        if row.as_if is None or row.kind not in VERIFYING:
            continue
        finding = own(row.as_if, run)
        if finding.state != "fail":
            continue
        after = next((other for other in run.rows[row.place + 1 :] if other.counted), None)
        why = f"void, and outside its limits: {finding.why}" if finding.why else "void, and outside its limits"
        state: Verdict = "fail"
        if after is not None and after.kind == row.kind and own(after, run).state == "pass":
            state, why = "warn", f"{why}; {after.id} right after it is within"
        yield finding._replace(
            rule="voided-qc", rows=(row.id,), state=state, why=why, affects=run.reach.of_row(row), read_at=row.row.at
        )


def repeated_until_pass(run: Computed) -> Iterator[Finding]:
    """Quality control outside its limits again and again is not settled by the one that passes."""
    alike: dict[tuple[object, ...], list[RowResult]] = {}
    for row in run.rows:
        each = row.as_if or row
        if each.counted and each.kind in REPEATED:
            curve = each.calibration.id if each.calibration else None
            where = (curve,) if each.kind in CHECK_STANDARDS else (each.batch, each.fraction)
            alike.setdefault((each.kind, *where), []).append(row)
    for rows in alike.values():
        yield from _repeated(rows, run)


def _repeated(rows: list[RowResult], run: Computed) -> Iterator[Finding]:
    outside: list[RowResult] = []
    for row in rows:
        state = own(row.as_if or row, run).state
        if state == "fail":
            outside.append(row)
            continue
        if state == "pass" and len(outside) > 1:
            named = [*outside, row]
            why = f"{len(outside)} in a row outside their limits, then one within: what was put right between them?"
            last = max((each.row.at for each in named if each.row.at), default=None)
            names = tuple(each.id for each in named)
            yield Finding(
                "repeated-until-pass", names, len(outside), None, 1, "fail", why, "rows",
                run.reach.of_rows(named), read_at=last,
            )  # fmt: skip
        outside = []


def result_chosen(run: Computed) -> Iterator[Finding]:
    """A reading set aside agrees with the one that is reported, or its difference is told."""
    for row in run.rows:
        each = row.as_if or row
        if row.kind != "sample" or not each.counted or row.is_reported or "E" in each.flags:
            continue
        kept = run.reported.last(each.sample, each.fraction)
        if kept is None or kept.result is None or each.result is None:
            continue
        finding = agreement("result-chosen", each, kept, optional(run.limits(each.fraction).duplicate_rpd_percent))
        if finding.state == "fail":
            word = "void" if row.void else "superseded"
            gives, reported = against(each.result, kept.result, ".4g", ".4g")
            why = f"the {word} reading gives {gives}, the reported one {reported} {kept.unit or ''}"
            yield finding._replace(rows=(row.id, kept.id), state="warn", why=why.strip())
