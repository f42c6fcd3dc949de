"""Issuing a report: when it may be done, under which number, and what changed since the last one.

Owns: `refusal`, `number`, `issue`, `Issue`, `last`, `changes`. Invariant: pure. A report is issued from a document a
reviewer signed, or a lone worker who says that nobody reviewed it; from the second one on it says which it replaces,
why, and every value that changed.

Decisions: an issue covers what a reviewer's signature does, so that a note of a review made after it is a change. A
document is issued again only where it changed. A run without a log cannot be issued: nothing would tell what was
changed in it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.review import printed, signed, signing, trail_rule
from runsheet.review.outside import Change
from runsheet.review.outside import changes as differences
from runsheet.run import edit
from runsheet.run.disk import replay
from runsheet.run.model import Issued

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from runsheet.compute.results import Sheet
    from runsheet.review.signed import Signed
    from runsheet.review.trail import Trail
    from runsheet.run.disk.log import Step
    from runsheet.run.model import Amendment, IssuedResult, Run

TABLES = ("issued", "signature", "amendment")
"""What an issue brings with it, and no change of the report's content."""


def refusal(sheet: Sheet, trail: Trail, *, not_reviewed: bool, reason: str) -> str:
    """Say why a report cannot be issued now, or nothing."""
    run = sheet.run
    return (
        _by_log(run, trail)
        or _by_last(run)
        or _by_signature(sheet, trail, not_reviewed=not_reviewed)
        or ("" if sheet.state in ("pass", "qualified") else "the run fails" if sheet.state == "fail" else UNFINISHED)
        or _by_reason(run, reason)
    )


UNFINISHED = "the run is unfinished"


def _by_log(run: Run, trail: Trail) -> str:
    if trail.state == "none":
        return "there is no edit log of it"
    if trail.state != "whole" and not trail_rule.answers(run, trail):
        return f"{trail.words}: {trail.why}; no action is noted on it"
    return ""


def _by_signature(sheet: Sheet, trail: Trail, *, not_reviewed: bool) -> str:
    run = sheet.run
    standing = signed.standing(run, trail)
    role = "analyst" if not_reviewed else "reviewer"
    if role not in standing:
        fallen = [made for made in signed.signatures(run, trail) if made.signature.role == role and made.fallen]
        why = f": {fallen[-1].signature.name} signed it, and {fallen[-1].fallen}" if fallen else ""
        return f"no valid {role}'s signature{why}"
    if not_reviewed and "reviewer" in standing:
        return f"{standing['reviewer'].signature.name} signed it as reviewer: it cannot be called not reviewed"
    kept = standing[role].signature.results
    if kept and kept != printed.digest(printed.printed(sheet)):
        return "the results computed now are not those that were signed"
    return ""


def _by_last(run: Run) -> str:
    """That it is issued already: no signature would change that."""
    if run.issued and not changed_since(run):
        return f"{run.issued[-1].number} is this document; nothing changed since"
    return ""


def _by_reason(run: Run, reason: str) -> str:
    if run.issued and not any(sign.isalpha() for sign in reason):
        return f"{number(run)} replaces {run.issued[-1].number}: a reason in words is needed"
    return ""


def number(run: Run) -> str:
    """The number of the next report: the run's id, from the second on with -2, -3."""
    return run.run.id if not run.issued else f"{run.run.id}-{len(run.issued) + 1}"


def changed_since(run: Run) -> bool:
    """Whether the document is no longer the one last issued; what was never issued is not."""
    return bool(run.issued) and run.issued[-1].digest != signing.digest(run, "reviewer")


def issue(sheet: Sheet, by: str, reason: str, now: datetime, program: str) -> edit.Edit:
    """Make the edit that notes an issue in the document."""
    run = sheet.run
    made = Issued(
        number=number(run),
        at=now,
        by=by,
        reason=reason.strip() if run.issued else None,
        digest=signing.digest(run, "reviewer"),
        program=program,
        results=printed.printed(sheet),
    )
    return edit.insert_row(run, "issued", len(run.issued) + 1, made)


class Issue(NamedTuple):
    """The report last issued, as it is printed."""

    issued: Issued
    replaces: str
    """The number it replaces; empty for the first."""
    reviewed: Signed | None
    """The reviewer's signature it stands on; None: not independently reviewed."""
    results: tuple[tuple[IssuedResult | None, IssuedResult | None], ...] = ()
    """Printed results that are not those of the report it replaces: old and new, None where there is none."""
    values: tuple[Change, ...] | None = ()
    """Values of the document that are not those of the report it replaces; None where they cannot be known."""
    reasons: tuple[Amendment, ...] = ()
    """The amendments made between the two."""
    before: Run | None = None
    """The run that the report it replaces is of; None where the log does not lead there, or it replaces none."""


def last(run: Run, trail: Trail, steps: Iterable[Step]) -> Issue:
    """The report last issued of a run that names one; `steps` are its log's."""
    now = run.issued[-1]
    before = run.issued[-2] if len(run.issued) > 1 else None
    reviewed = signed.standing(run, trail).get("reviewer")
    if before is None:
        return Issue(now, "", reviewed)
    reasons = tuple(made for made in run.amendment if made.at and before.at <= made.at <= now.at)
    old = _as_issued(steps, before.number)
    return Issue(now, before.number, reviewed, _moved(before, now), values(old, run) if old else None, reasons, old)


def _moved(before: Issued, now: Issued) -> tuple[tuple[IssuedResult | None, IssuedResult | None], ...]:
    """The printed results of two issues that differ, held against each other by row."""
    old, new = ({each.id: each for each in issued.results} for issued in (before, now))
    names = dict.fromkeys([*old, *new])
    return tuple((old.get(name), new.get(name)) for name in names if old.get(name) != new.get(name))


def _as_issued(steps: Iterable[Step], number: str) -> Run | None:
    """The run as it was issued under a number, made again from its log."""
    for each in replay.follow(steps):
        if each.after is not None and each.after.issued and each.after.issued[-1].number == number:
            return each.after
    return None


def values(old: Run, new: Run) -> tuple[Change, ...]:
    """What of the document changed between two issues."""
    return tuple(made for made in differences(old, new) if made.path.split("[")[0].split(".")[0] not in TABLES)
