"""What the findings come to: what is settled by an action, which flags they give, the state of the run.

Owns: when a finding is acted on, the flags H, Q and Y, and the run's state. Invariant: an action changes no figure and
takes no flag away; only `pass` may be called a pass.

A finding about a setup check that is missing, or about what falls due, was never read: an action on it may have any
time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.rules import BY_NAME
from runsheet.compute.rules.receipt import unpreserved
from runsheet.run.kinds import CLIENTS

if TYPE_CHECKING:
    from runsheet.compute.results import CalibrationResult, Finding, RowResult, SetupResult, State
    from runsheet.run.model import Action, Run


def acted_on(
    findings: tuple[Finding, ...], run: Run, calibrations: tuple[CalibrationResult, ...]
) -> tuple[Finding, ...]:
    """The findings, with those marked that an action settles."""
    if not run.action:
        return findings

    def settled(finding: Finding) -> bool:
        return (
            finding.state == "fail"
            and can_be_acted_on(finding, calibrations)
            and any(settles(action, finding) for action in run.action)
        )

    return tuple(finding._replace(acted_on=True) if settled(finding) else finding for finding in findings)


def can_be_acted_on(finding: Finding, calibrations: tuple[CalibrationResult, ...]) -> bool:
    """Whether an action can settle a finding: not two results of one sample, nor a calibration without a curve."""
    rule = BY_NAME.get(finding.rule)
    unfitted = {result.id for result in calibrations if result.curve is None and not result.direct}
    hopeless = finding.rule == "calibration" and not unfitted.isdisjoint(finding.rows)
    return (rule is None or rule.actable) and not hopeless


def settles(action: Action, finding: Finding) -> bool:
    """Whether an action says, of all a finding names, what was done, by whom, and when: not before it was read."""
    return action.rule == finding.rule and set(finding.rows) <= set(action.rows) and not lacks(action, finding)


def lacks(action: Action, finding: Finding) -> str:
    """Why an action on all that a finding names does not settle it, in words; empty where nothing is wrong with it."""
    if not any(sign.isalpha() for sign in action.taken):
        return "no word says what was done"
    if not (action.by and action.by.strip()):
        return "it names nobody"
    if action.at is None:
        return "it has no time"
    older = finding.read_at is not None and action.at < finding.read_at
    return "it is older than what it is about" if older else ""


def flag(rows: tuple[RowResult, ...], findings: tuple[Finding, ...], *, unread: bool) -> None:
    """Add the flags that rules give, in place: H, Y, and Q on what a failing finding bears on or nothing closes."""
    failing = [finding for finding in findings if finding.state == "fail"]
    marked = {name for finding in failing if _rule_marks(finding) for name in finding.rows}
    late = {name for finding in failing if finding.rule == "holding" for name in finding.rows}
    warm = unpreserved(findings)
    doubtful = {name for finding in failing for name in _doubtful(finding)}
    for row in rows:
        if row.void:
            continue
        row.fails = row.id in marked
        uncertain = row.is_reported and (row.state == "held" or (row.state == "open" and not unread))
        added = {
            "H": row.id in late,
            "Y": row.counted and row.sample in warm and row.kind in CLIENTS,
            "Q": uncertain or row.id in doubtful,
        }
        if any(added.values()):
            row.flags = tuple(sorted({*row.flags, *(letter for letter, given in added.items() if given)}))


def _rule_marks(finding: Finding) -> bool:
    rule = BY_NAME.get(finding.rule)
    return rule is not None and rule.marks


def _doubtful(finding: Finding) -> set[str]:
    """The results a failing finding gives Q: all it bears on, save those it gives another flag."""
    rule = BY_NAME.get(finding.rule)
    if rule is not None and rule.flag != "Q":
        return set()
    own = set(finding.rows) if finding.rule == "over-range" else set()  # its E says it
    return set(finding.affects or ()) - own


def state(
    setups: tuple[SetupResult, ...],
    calibrations: tuple[CalibrationResult, ...],
    rows: tuple[RowResult, ...],
    findings: tuple[Finding, ...],
) -> State:
    """The state of the run."""
    failing = [finding for finding in findings if finding.state == "fail"]
    if any(not finding.acted_on for finding in failing):
        return "fail"
    states = {*(s.state for s in setups), *(c.state for c in calibrations), *(f.state for f in findings)}
    closed = {name for finding in failing if finding.rule == "closing" for name in finding.rows}
    waiting = (row for row in rows if row.is_reported and row.state == "open" and row.id not in closed)
    if "todo" in states or any(row.state == "unread" for row in rows) or any(waiting):
        return "todo"
    held = any(row.is_reported and row.state == "held" for row in rows)
    return "qualified" if held or any(finding.affects for finding in failing) else "pass"
