"""Findings in words, one a line.

Owns: how a finding reads. Invariant: every finding that does not pass is said, the failing ones first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute import standing
from runsheet.compute.rules import BY_NAME
from runsheet.figures import beside, counted, figure, some, unit_of, when
from runsheet.methods.words import describe
from runsheet.run.kinds import VERIFYING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Finding, RowResult, Sheet
    from runsheet.run.model import Method

ORDER = {"fail": 0, "warn": 1, "todo": 2}


def lines(sheet: Sheet) -> list[str]:
    """Every finding that is no pass, and what is still to do, one a line."""
    told = sorted((f for f in sheet.quality if f.state in ORDER), key=lambda finding: ORDER[finding.state])
    found = [words(finding) + (f"; {taken(finding, sheet)}" if finding.acted_on else "") for finding in told]
    found += [f"todo: setup {r.setup.check}: {r.why}" for r in sheet.setup if r.state == "todo"]
    found += [f"todo: calibration {c.id}: {why}" for c in sheet.calibrations for why in c.todos]
    unread = [row.id for row in sheet.rows if row.state == "unread"]
    closed = {name for f in sheet.quality if f.rule == "closing" and f.acted_on for name in f.rows}
    waiting = [row.id for row in sheet.rows if row.state == "open" and row.is_reported and row.id not in closed]
    found += [f"todo: {counted(len(unread), 'row')} not read: {some(unread)}"] if unread else []
    rows = f"{len(waiting)} row{' waits' if len(waiting) == 1 else 's wait'}"
    found += [f"todo: {rows} for a closing blank or check standard: {some(waiting)}"] if waiting else []
    return found


def in_order(sheet: Sheet) -> list[Finding]:
    """Every finding, the failing ones that nothing was done about first, the passing ones last."""
    return sorted(sheet.quality, key=lambda found: (ORDER.get(found.state, len(ORDER)), found.acted_on))


def raised(sheet: Sheet) -> list[Finding]:
    """The findings that fail, then those that warn, each in the order of the rules."""
    return [finding for state in ("fail", "warn") for finding in sheet.quality if finding.state == state]


def like(finding: Finding, sheet: Sheet) -> list[Finding]:
    """The other findings of a rule that fail and are not acted on."""
    failing = (f for f in sheet.quality if f.rule == finding.rule and f.state == "fail" and not f.acted_on)
    return [other for other in failing if other.rows != finding.rows]


def verdict(finding: Finding) -> str:
    """The verdict in a word: whether one that fails is acted on is part of it."""
    return "acted on" if finding.acted_on else finding.state


def if_voided(row: RowResult, sheet: Sheet) -> str:
    """What a row of quality control is off by, since voiding it would be a finding; empty where it would not."""
    own = (finding for finding in _marking(row, sheet) if finding.rows[-1] == row.id)
    return next((finding.why for finding in own), "") if row.kind in VERIFYING else ""


def own_failure(row: RowResult, sheet: Sheet) -> str:
    """What a row fails by, itself or beside another; empty where it does not."""
    return next((f.why if f.rows == (row.id,) else said(f) for f in _marking(row, sheet)), "")


def _marking(row: RowResult, sheet: Sheet) -> Iterator[Finding]:
    """The failing findings for which a row is marked as failing."""
    about = (f for f in sheet.quality if f.state == "fail" and row.id in f.rows and f.rule in BY_NAME)
    return (finding for finding in about if BY_NAME[finding.rule].marks)


def words(finding: Finding, most: int = 8) -> str:
    """Write one finding: verdict, rule, rows as far as `most` names them, why."""
    return f"{finding.state}: {said(finding, most)}{bears_on(finding, most)}"


def said(finding: Finding, most: int = 8) -> str:
    """The rule, the rows it is about, and why, as far as there are any."""
    rows = f" {some(finding.rows, most)}" if finding.rows else ""
    return f"{finding.rule}{rows}" + (f": {finding.why}" if finding.why else "")


def bears_on(finding: Finding, most: int = 8) -> str:
    """Which of the client's results a finding affects, where they are not the very rows it names."""
    affected = finding.affects or ()
    if not affected or set(affected) == set(finding.rows):
        return ""
    return f"; affects {some(affected, most)}"


def affecting(row: RowResult, sheet: Sheet) -> str:
    """The failing findings that affect a result, in short, for a table."""
    failing = (f for f in sheet.quality if f.state == "fail" and row.id in (f.affects or ()))
    return "; ".join(f"{f.rule} {' '.join(f.rows)}".strip() + (" (acted on)" if f.acted_on else "") for f in failing)


def taken(finding: Finding, sheet: Sheet) -> str:
    """What was done about a failing finding and whether that settles it; empty for one that does not fail."""
    if finding.state != "fail":
        return ""
    action = sheet.action(finding)
    if action is None:
        return "no action noted"
    who = ", ".join(filter(None, (action.by, when(action.at))))
    why = standing.lacks(action, finding)
    if not standing.can_be_acted_on(finding, sheet.calibrations):
        why = "no action settles it"
    settled = "acted on" if finding.acted_on else f"noted, and not acted on{f', for {why}' if why else ''}"
    return f"{settled}: {action.taken}" + (f" ({who})" if who else "")


def basis(finding: Finding, method: Method) -> list[str]:
    """The limits a finding's rule reads, each with its value and where it comes from; else where the rule does."""
    rule = BY_NAME.get(finding.rule)
    if rule is None:
        return []
    said = [
        f"{limit.words} {limit.value}: {limit.source}"
        for limit in describe(method)
        if _general(limit.path) in rule.limits
    ]
    return said or [f"source: {rule.source}"]


def _general(path: str) -> str:
    """A limit's path without the fraction it is for."""
    return ".".join(part for part in path.split(".") if part not in ("oil_grease", "petroleum"))


def value(finding: Finding) -> str:
    """Write the value of a finding with its unit; empty where it has none."""
    return "" if finding.value is None else f"{figure_of(finding)}{_unit(finding, finding.value)}"


def figure_of(finding: Finding) -> str:
    """Write the value of a finding so that it is seen on its side of its limits."""
    return beside(finding.value, (finding.low, finding.high))


def limits(finding: Finding) -> str:
    """Write the limits of a finding with their unit."""
    low, high = finding.low, finding.high
    if low is not None and high is not None:
        return f"{figure(low)} to {figure(high)}{_unit(finding, high)}"
    if high is not None:
        return f"{'below' if must_be_below(finding) else 'at most'} {figure(high)}{_unit(finding, high)}"
    if low is not None:
        return f"at least {figure(low)}{_unit(finding, low)}"
    if finding.value is None or finding.state != "pass":
        return ""
    return f"none: {finding.why}" if finding.why else "none set"


def must_be_below(finding: Finding) -> bool:
    """Whether a value at the upper limit of a finding is beyond it."""
    rule = BY_NAME.get(finding.rule)
    return rule is not None and rule.below


def _unit(finding: Finding, figure_before: float) -> str:
    return f" {unit_of(figure_before, finding.unit)}".rstrip()
