"""What a reviewer looks at first, each point answered in a line or two.

Owns: `POINTS` and their order. Invariant: a point that cannot be answered says so; figures and verdicts are those of
the sheet.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet import figures
from runsheet.compute.amounts import weighed_amount
from runsheet.compute.rules import BY_NAME
from runsheet.compute.rules.computed import RAISED
from runsheet.figures import counted, figure, some
from runsheet.run.kinds import EVENTS, FIELD

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from runsheet.compute.results import Finding, RowResult, Sheet
    from runsheet.compute.rules.rule import Point
    from runsheet.report.making import Report

ACID = 2.0
"""pH at or below which a water sample for oil and grease counts as preserved (40 CFR 136 Table II says below 2)."""
MEASURED_IN = {"water": "mL", "solid": "g", "wipe": "cm2"}
"""What an amount is measured in, by matrix."""


def span(times: Iterable[object]) -> str:
    """Say from when to when, by day; times with and without a zone are told as written."""
    days = sorted({str(time)[:10] for time in times if time is not None})
    return days[0] if len(days) == 1 else f"{days[0]} to {days[-1]}" if days else ""


def _of(sheet: Sheet, *rules: str) -> list[Finding]:
    return [finding for finding in sheet.quality if finding.rule in rules]


def _bad(sheet: Sheet, *points: Point) -> Iterator[str]:
    """Say what the rules of some points find, in short."""
    for finding in sheet.quality:
        rule = BY_NAME.get(finding.rule)
        if finding.state in RAISED and rule is not None and rule.point in points:
            yield f"{finding.state.upper()} {some(finding.rows, 3)}: {finding.why}.".replace(" :", ":")


def _times(report: Report) -> Iterator[str]:
    sheet = report.sheet
    collected = span(s.collected for s in sheet.run.sample)
    dated = {s.id for s in sheet.run.sample if s.collected is not None}
    names = [s.id for s in sheet.run.sample] + [r.sample for r in sheet.rows if r.kind == "sample" and not r.void]
    undated = [name for name in dict.fromkeys(names) if name not in dated]
    without = f"; {some(undated)} without a date" if undated else ""
    yield f"Collected {collected}{without}." if collected else "No time of collection is recorded."
    held = [f for f in _of(sheet, "holding") if f.value is not None and f.high]
    if held:
        longest = max(held, key=lambda f: (f.value or 0) / (f.high or 1))
        value, most = figures.against(longest.value or 0, longest.high or 0, ".1f")
        yield f"Longest holding {value} of {most} {figures.unit_of(longest.high or 0, 'days')} ({longest.rows[0]})."
    measured = [float(s.pH) for s in sheet.run.sample if s.pH is not None]
    high = [s.id for s in sheet.run.sample if s.pH is not None and float(s.pH) > ACID]
    if measured:
        yield f"pH {_between(measured)} in {len(measured)} of {counted(len(sheet.run.sample), 'sample')}" + (
            f"; above {ACID:g}: {some(high)}." if high else f", none above {ACID:g}."
        )
    elif sheet.run.sample and sheet.run.method.unit == "mg/L":
        yield "No pH is recorded."
    yield from _bad(sheet, "times")


def _weights(report: Report) -> Iterator[str]:
    rows = [row for row in report.sheet.rows if row.kind in FIELD and not row.void]
    for matrix in dict.fromkeys(row.amounts.matrix for row in rows if row.amounts):
        known = [row.amounts for row in rows if row.amounts and row.amounts.matrix == matrix]
        amounts, volumes = [a.amount for a in known if a.amount], [a.extract_ml for a in known if a.extract_ml]
        yield (
            f"{counted(len(known), 'row')} of samples, duplicates and spikes ({matrix})"
            + (f": amount {_between(amounts)} {MEASURED_IN.get(matrix, '')}" if amounts else "")
            + (f", extract {_between(volumes)} mL." if volumes else ".")
        )
    weighed = sum(row.row.amount is None and weighed_amount(row.row) is not None for row in rows)
    yield f"{counted(weighed, 'amount')} by weighing the bottle." if weighed else ""
    yield from _bad(report.sheet, "weights")


def _between(values: list[float], digits: int = 4) -> str:
    low, high = figure(min(values), digits), figure(max(values), digits)
    return low if low == high else f"{low} to {high}"


def _no_zero(sheet: Sheet) -> str:
    """Why no zero differs from 0."""
    if any(c.zero_read for c in sheet.calibrations):
        return "The zero standard reads 0."
    there = [s for c in sheet.calibrations for s in c.standards if s.x == 0]
    if any(s.y is not None for s in there):
        return "No zero standard is used."
    return "No zero standard is read." if there else "No zero standard."


def _blanks(report: Report) -> Iterator[str]:
    sheet = report.sheet
    zeros = [f"{c.id} {figure(c.zero, 3)}" for c in sheet.calibrations if c.zero_read]
    yield f"Zero standard {', '.join(zeros)}." if any(c.zero for c in sheet.calibrations) else _no_zero(sheet)
    nets = [row.net for row in sheet.rows if row.kind == "blank" and row.net is not None]
    if read := sum(row.kind == "blank" and row.counted for row in sheet.rows):
        without = f", {'' if not nets else f'{read - len(nets)} of them '}without a calibration to judge by"
        net = f", net {_between(nets, 3)}" if nets else ""
        yield f"{counted(read, 'solvent blank')}{without * (read > len(nets))}{net}."
    else:
        voided = any(row.kind == "blank" and row.row.readings for row in sheet.rows)
        yield f"No solvent blank {'counts' if voided else 'was read'}."
    void = [f"{r.id} {figures.readings(r.row.readings)}".strip() for r in sheet.rows if r.kind == "blank" and r.void]
    yield f"Void: {some(void)}." if void else ""
    rezeroed = [row.id for row in sheet.rows if row.kind == "blank" and row.row.rezeroed]
    yield f"Re-zeroed: {some(rezeroed)}." if rezeroed else ""
    yield from _bad(sheet, "blanks")


def _dropped(report: Report) -> Iterator[str]:
    left = [s for c in report.sheet.calibrations for s in c.standards if not s.used]
    yield (
        "None."
        if not left
        else " ".join(f"{s.standard.id} at {figure(s.x)} mg/L: {s.standard.reason or 'no reason given'}." for s in left)
    )
    yield from _bad(report.sheet, "standards")


def _second_source(report: Report) -> Iterator[str]:
    found = _of(report.sheet, "second-source")
    lots = {row.id: row.row.lot for row in report.sheet.rows if row.kind == "second-source"}
    verified = {row.calibration.id for row in report.sheet.rows if row.kind == "second-source" and row.calibration}
    without = [c.id for c in report.sheet.calibrations if c.id not in verified and c.standards]
    counts = any(finding.rows[0] in lots for finding in found)
    elsewhere = [c.calibration for c in report.sheet.calibrations if c.id in without and c.calibration.verified]
    yield "None was read." if not lots else f"None for {', '.join(without)}." if without and counts else ""
    yield "; ".join(f"{each.id} verified: {each.verified}" for each in elsewhere) + "." * bool(elsewhere)
    void = [row.id for row in report.sheet.rows if row.kind == "second-source" and row.void]
    yield f"Void: {some(void)}." if void else ""
    for finding in found:
        if finding.rows[0] not in lots:  # of a calibration
            yield f"{finding.state.upper()} {finding.why}."
            continue
        lot = lots[finding.rows[0]]
        value = "not read" if finding.value is None else f"{finding.value:.1f} %"
        why = f" ({finding.why})" if finding.why else ""
        yield f"{finding.rows[0]} lot {lot or 'not recorded'}: {value}, {finding.state}{why}."
    standards = dict.fromkeys(s.lot for s in report.sheet.run.standard if s.lot)
    none = "The standards' lots are not recorded." if report.sheet.run.standard else ""
    yield f"Standards' lots: {', '.join(standards)}." if standards else none


def _brackets(report: Report) -> Iterator[str]:
    rows = [row for row in report.sheet.rows if row.kind not in EVENTS]
    for state in ("accepted", "open", "held", "unread"):
        names = [row.id for row in rows if row.state == state and row.reports]
        if names:
            yield f"{len(names)} {state}" + ("." if state == "accepted" else f": {some(names, 6)}.")
    if again := [row.id for row in rows if row.state == "held" and not row.reports]:
        yield f"{len(again)} held and superseded: {some(again, 6)}."
    yield from _bad(report.sheet, "brackets")


def _photometer(report: Report) -> Iterator[str]:
    states = [result.state for result in report.sheet.setup]
    yield (
        f"{states.count('pass')} of {counted(len(states), 'setup check')} pass."
        if states
        else "No setup check is recorded."
    )
    yield from _bad(report.sheet, "photometer")


def _batch(report: Report) -> Iterator[str]:
    judged = [f for f in report.sheet.quality if f.rule in BY_NAME and BY_NAME[f.rule].point == "batch"]
    passed = sum(finding.state == "pass" for finding in judged)
    yield f"{passed} of {counted(len(judged), 'verdict')} pass." if judged else "Nothing to judge."
    yield from _bad(report.sheet, "batch")


def _dilutions(report: Report) -> Iterator[str]:
    diluted = [row for row in report.sheet.rows if float(row.row.dilution or 1) > 1 and not row.void]
    over = [row for row in report.sheet.rows if row.over and not row.void]
    for what in dict.fromkeys(row.over for row in over):
        yield f"{what.capitalize()}: {some([row.id for row in over if row.over == what])}."
    yield "No row is diluted." if not diluted else ""
    for row in diluted:
        read = figures.fillings(row.row) or "not read"
        yield f"{row.id} {row.row.dilution}x: {read}{_undiluted(row, report.sheet)}."
    yield from _bad(report.sheet, "dilutions")


def _undiluted(row: RowResult, sheet: Sheet) -> str:
    """The raw reading of the same extract less diluted."""
    others = [
        other
        for other in sheet.rows
        if other is not row and (other.sample, other.fraction, other.kind) == (row.sample, row.fraction, row.kind)
    ]
    less = [o for o in others if float(o.row.dilution or 1) < float(row.row.dilution or 1) and o.row.readings]
    return f" ({less[-1].id} {less[-1].row.dilution or 1}x: {figures.readings(less[-1].row.readings)})" if less else ""


def _corrections(report: Report) -> Iterator[str]:
    sheet = report.sheet
    drifts = [abs(row.drift) for row in sheet.rows if row.drift and row.counted]
    yield f"Baseline subtracted, at most {figure(max(drifts), 3)}." if drifts else "No baseline subtracted."
    factors = [row.id for row in sheet.rows if row.row.response_factor is not None]
    yield f"Response factor: {some(factors)}." if factors else ""
    void, superseded = (
        [row.id for row in sheet.rows if row.void],
        [row.id for row in sheet.rows if row.superseded],
    )
    yield f"Void: {some(void)}." if void else ""
    yield f"Superseded: {some(superseded)}." if superseded else ""
    count = len(report.audit.corrections)
    if report.audit.entries:
        entries = f"{count or 'No'} {'entry was' if count == 1 else 'entries were'} corrected"
        without = f", {report.audit.unreasoned} of them without a reason" if report.audit.unreasoned else ""
        yield f"{entries}{without}, by the edit log ({report.trail.words})."
    elif report.trail.state == "none":
        yield "No edit log beside the document."
    else:
        yield f"The edit log has no entry of a person ({report.trail.words})."
    if outside := report.trail.outside:
        places = some([each.path for each in outside], 4)
        yield f"{counted(len(outside), 'value')} changed outside it: {places}."
    yield f"{counted(len(sheet.run.amendment), 'amendment')} after signing." if sheet.run.amendment else ""
    yield from _bad(sheet, "corrections")


def _order(report: Report) -> Iterator[str]:
    bad = list(_bad(report.sheet, "order"))
    timed = sum(row.row.at is not None for row in report.sheet.rows if row.counted)
    read = sum(row.counted for row in report.sheet.rows)
    have = f"{timed} of {counted(read, 'row')} read {'has its' if read == 1 else 'have their'} time"
    forward = "." if bad or timed < 2 else ", and times run forward."
    yield f"{have}{forward}" if read else "No row is read."
    late = [f"{each.row} by {each.minutes:.0f} min" for each in report.audit.late]
    yield f"Entered late: {some(late, 4)}." if late else ""
    early = [f"{each.row} by {-each.minutes:.0f} min" for each in report.audit.early]
    yield f"Entered before they were read: {some(early, 4)}." if early else ""
    for bulk in report.audit.in_bulk:
        seconds = (bulk.last - bulk.first).total_seconds()
        yield f"{len(bulk.rows)} readings{bulk.how} entered within {seconds:.0f} s."
    yield "The clock ran back between entries." if report.audit.backwards else ""
    yield from bad


def _study(report: Report) -> Iterator[str]:
    limits = report.sheet.run.method.limits
    if limits is None or limits.detection is None:
        yield "The method has no detection limit."
        return
    yield f"Detection limit {limits.detection} {report.sheet.run.method.unit}"
    opened = report.sheet.run.run.opened
    if limits.studied is None:
        yield "with no date of its study."
    elif opened is None:
        yield f"studied {limits.studied}."
    else:
        days = (opened.date() - limits.studied).days
        when = (
            "on the day of the run"
            if not days
            else f"{counted(abs(days), 'day')} {'before' if days > 0 else 'after'} the run"
        )
        yield f"studied {limits.studied}, {when}."
    yield from _bad(report.sheet, "study")


POINTS: tuple[tuple[str, Callable[[Report], Iterator[str]]], ...] = (
    ("Sample times and pH", _times),
    ("Weights and volumes", _weights),
    ("Zero and blanks", _blanks),
    ("Setup checks", _photometer),
    ("Standards left out", _dropped),
    ("Second source", _second_source),
    ("Brackets", _brackets),
    ("Batch quality control", _batch),
    ("Dilutions, raw readings", _dilutions),
    ("Corrections", _corrections),
    ("Order of times", _order),
    ("Detection study", _study),
)
"""What reviewers look at first, in this order (common practice, no source)."""
