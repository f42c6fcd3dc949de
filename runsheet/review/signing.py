"""Signing a run off, and what becomes of that when it is changed later.

Owns: who may sign, what a signature covers, when it still stands. Invariant: the analyst's signature covers the
document without reviews, signatures, amendments and issues, the reviewer's the reviews too; a later change leaves a
signature in place, not standing, with the reason beside it. Names typed are not electronic signatures, and the report
says so.

A signature is refused while something is to be read, a failing finding is not acted on, or what the log tells of a
change from outside is not answered: it would not stand. The reviewer is nobody who worked on the run, entered a reading
of it by the log, or signed it as analyst; names are compared without case, spaces and points. A change of a signed
run needs a reason, which becomes an amendment; the signature stays and stands no more.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from runsheet.compute.rules import BY_NAME
from runsheet.figures import counted, some
from runsheet.run import edit
from runsheet.run.model import Amendment, Signature
from runsheet.run.text import write

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from datetime import datetime

    from runsheet.compute.results import Sheet
    from runsheet.run.model import Run

    Role = Literal["analyst", "reviewer"]

UNSIGNED = {"signature", "amendment", "issued"}
"""Tables no signature covers."""


def digest(run: Run, role: Role = "analyst") -> str:
    """The SHA-256 of what a signature in this role covers, as hexadecimal digits."""
    review = run.review if role == "reviewer" else ()
    return hashlib.sha256(
        write(replace(run, review=review, signature=(), amendment=(), issued=())).encode()
    ).hexdigest()


def standing(run: Run) -> tuple[Signature, ...]:
    """The signatures that cover the document as it is."""
    now = {role: digest(run, role) for role in {signature.role for signature in run.signature}}
    return tuple(signature for signature in run.signature if signature.digest == now[signature.role])


def touched(run: Run, edits: Iterable[edit.Edit]) -> bool:
    """Whether edits of a run change what somebody signed; reviews are free until a reviewer's signature stands."""
    tables = {made.path.split("[")[0] for made in edits} - UNSIGNED
    if tables == {"review"}:
        return any(signature.role == "reviewer" for signature in standing(run))
    return bool(run.signature and tables)


def same_person(one: str, other: str) -> bool:
    """Whether two names are one, however they are spaced, capitalised and pointed."""
    plain = ["".join(sign for sign in name.casefold() if sign.isalnum()) for name in (one, other)]
    return plain[0] == plain[1] != ""


def analysts(run: Run) -> tuple[str, ...]:
    """Name everybody who worked on the run or signed it as analyst; none of them reviews it."""
    signed = (signature.name for signature in run.signature if signature.role == "analyst")
    named = (run.run.analyst, *(batch.analyst for batch in run.batch), *(row.analyst for row in run.queue), *signed)
    return tuple(dict.fromkeys(filter(None, named)))


def reviewers(run: Run) -> tuple[str, ...]:
    """Name everybody who reviewed the run or signed it as reviewer; none of them signs as analyst."""
    signed = (signature.name for signature in run.signature if signature.role == "reviewer")
    return tuple(dict.fromkeys((*(made.by for made in run.review), *signed)))


def role(run: Run) -> Role:
    """Say as what the next person signs: as analyst until an analyst's signature stands."""
    return "reviewer" if any(signature.role == "analyst" for signature in standing(run)) else "analyst"


def no_reviewer(run: Run, name: str, entered_by: Iterable[str] = ()) -> str:
    """Say why this person may not review the run or sign it as reviewer, or nothing; as for `refusal`."""
    if any(same_person(other, name) for other in analysts(run)):
        return "the reviewer is not the analyst"
    if any(same_person(other, name) for other in entered_by):
        return f"{name.strip()} entered readings of this run, by its log, and does not review it"
    return ""


def by_both(run: Run) -> str:
    """Say that there is nothing left to sign, or nothing."""
    signed = {signature.role for signature in standing(run)}
    return "it is signed by analyst and reviewer" if len(signed) > 1 else ""


def refusal(sheet: Sheet, name: str, entered_by: Iterable[str] = ()) -> str:
    """Say why this person cannot sign now, or nothing. The analyst signs first, another person as reviewer.

    `entered_by` are those who entered a reading, by the log.
    """
    run = sheet.run
    if not name.strip():
        return "a name is needed"
    if why := by_both(run):
        return why
    if role(run) == "reviewer" and (why := no_reviewer(run, name, entered_by)):
        return why
    if role(run) == "analyst" and any(same_person(other, name) for other in reviewers(run)):
        return f"the analyst signs first, anew after a change, and {name.strip()} has reviewed this run"
    if sheet.state == "todo":
        return "something is still to be read or closed"
    open_ = [f for f in sheet.quality if f.state == "fail" and not f.acted_on]
    if open_:
        rows = f" {some(open_[0].rows, 3)}" if open_[0].rows else ""
        rule = BY_NAME.get(open_[0].rule)
        where = "QC pane" if rule is not None and not rule.actable else "t in the QC pane"
        return f"{counted(len(open_), 'failure')} not acted on, first {open_[0].rule}{rows} ({where})"
    if any(finding.rule == "trail" and not finding.acted_on for finding in sheet.quality):
        return "the document was changed outside its log, and no action is noted on it (t in the QC pane)"
    return ""


def sign(
    run: Run, name: str, now: datetime, login: Mapping[str, str] | None = None, results: str | None = None
) -> edit.Edit:
    """Make the edit that signs: as analyst first, then as reviewer.

    `login` is the `account` and the `machine`, `results` the digest of the printed results.
    """
    signs = role(run)
    made = Signature(role=signs, name=name.strip(), at=now, digest=digest(run, signs), results=results, **(login or {}))
    return edit.insert_row(run, "signature", len(run.signature) + 1, made)


def amend(run: Run, who: str, reason: str, now: datetime) -> edit.Edit:
    """Make the edit that goes with a change of a signed run."""
    made = Amendment(at=now, by=who or None, reason=reason)
    return edit.insert_row(run, "amendment", len(run.amendment) + 1, made)
