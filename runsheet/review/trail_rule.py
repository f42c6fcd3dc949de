"""The rule about the trail: a sheet judged by what its log says of the document.

Owns: the finding `trail`, what it bears on, when an action settles it. Invariant: `evaluate` knows no log; what the
commands and the screen show has been through here, so that a change from outside is told wherever results are.

A change made since the last entry of the log cannot be acted on yet: the next opening for work logs that it was found.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from runsheet.compute import fractions, limits, standing
from runsheet.compute.comparison import Reported
from runsheet.compute.results import Finding
from runsheet.compute.sheet import evaluate
from runsheet.review import signing

if TYPE_CHECKING:
    from runsheet.compute.results import RowResult, Sheet
    from runsheet.review.trail import Trail
    from runsheet.run.model import Action, Run

RULE = "trail"
NAMED = 4
"""Changed places named in the finding; all are listed under the trail."""


def judged(sheet: Sheet, trail: Trail) -> Sheet:
    """The sheet with the finding the trail gives, its flags and its state taken anew; itself where there is none."""
    finding = _finding(sheet, trail)
    if finding is None:
        return sheet
    findings = (*sheet.quality, finding)
    rows = sheet.rows
    if finding.state == "fail" and finding.affects:
        rows = tuple(_with_q(row, sheet) if row.id in finding.affects else row for row in rows)
    state = standing.state(sheet.setup, sheet.calibrations, rows, findings)
    parts = fractions.fractions(Reported(rows), sheet.run) if rows is not sheet.rows else sheet.fractions
    return replace(sheet, rows=rows, quality=findings, state=state, fractions=parts)


def _finding(sheet: Sheet, trail: Trail) -> Finding | None:
    clients = tuple(row.id for row in sheet.rows if row.for_client)
    answered = bool(answers(sheet.run, trail))
    if trail.state == "broken":
        return Finding(RULE, (), state="fail", why=f"log broken: {trail.why}", affects=clients, acted_on=answered)
    if trail.state != "changed":
        return None
    moved = _moved(sheet, trail)
    places = [change.path for change in trail.outside]
    named = ", ".join(places[:NAMED]) + (f" and {len(places) - NAMED} more" if len(places) > NAMED else "")
    why = f"changed outside the log: {named}" if places else trail.why
    if not moved:
        return Finding(
            RULE, (), state="warn", why=f"{why}; no result, flag or state moves", affects=(), acted_on=answered
        )
    affects = tuple(name for name in clients if name in moved)
    return Finding(RULE, (), state="fail", why=why, affects=affects, acted_on=answered)


def _moved(sheet: Sheet, trail: Trail) -> set[str]:
    """The rows whose result, flags or state a change from outside moved, as far as they are still there."""
    moved = set()
    for before, after in trail.pairs:
        old, new = (_figures(run, sheet) for run in (before, after))
        moved |= {name for name in old.keys() | new.keys() if old.get(name) != new.get(name)}
    return moved


def _figures(run: Run, sheet: Sheet) -> dict[str, tuple[object, ...]]:
    rows = evaluate(run, sheet.now).rows
    return {row.id: (row.result, row.net, row.flags, row.state, row.reported) for row in rows}


def answers(run: Run, trail: Trail) -> list[Action]:
    """The actions that answer what a log tells: made after the last change, and for a broken log not the analyst's."""
    times = [change.before for change in trail.outside]
    if trail.state == "changed" and not (times and all(times)):
        return []
    last = max((datetime.fromisoformat(time) for time in times), default=None)
    finding = Finding(RULE, (), read_at=last)
    made = [action for action in run.action if standing.settles(action, finding)]
    if trail.state == "broken":
        theirs = signing.analysts(run)
        made = [a for a in made if not any(signing.same_person(a.by or "", name) for name in theirs)]
    return made


def _with_q(row: RowResult, sheet: Sheet) -> RowResult:
    if "Q" in row.flags:
        return row
    made = copy.copy(row)
    made.flags = tuple(sorted((*row.flags, "Q")))
    letters = limits.letters(sheet.run.method)
    made.letters = "".join(letters[flag] for flag in made.flags)
    return made
