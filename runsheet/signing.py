"""Signing a run off, and what becomes of that when it is changed later.

Owns: who may sign, what a signature covers, when it still stands. Invariant: a signature covers the document without
its signatures and amendments; a later change leaves the signature in place, not standing, with the reason beside it.
Names typed are not electronic signatures, and the report says so.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

from runsheet.run import edit
from runsheet.run.model import Amendment, Signature
from runsheet.run.text import write

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.compute.outcome import Sheet
    from runsheet.run.model import Run


def digest(run: Run) -> str:
    """Give the SHA-256 of the document without its signatures and amendments, as hexadecimal digits."""
    return hashlib.sha256(write(replace(run, signature=(), amendment=())).encode()).hexdigest()


def standing(run: Run) -> tuple[Signature, ...]:
    """Give the signatures that cover the document as it is."""
    now = digest(run) if run.signature else ""
    return tuple(signature for signature in run.signature if signature.digest == now)


def refusal(sheet: Sheet, name: str) -> str:
    """Say why this person cannot sign now, or nothing. The analyst signs first, another person as reviewer."""
    signed = standing(sheet.run)
    if not name.strip():
        return "a name is needed"
    if len(signed) > 1:
        return "it is signed by analyst and reviewer"
    if signed and signed[0].name.casefold() == name.strip().casefold():
        return "the reviewer is not the analyst"
    if sheet.state == "todo":
        return "something is still to be read or closed"
    open_ = [f for f in sheet.quality if f.state == "fail" and sheet.action(f) is None]
    if open_:
        rows = f" {' '.join(open_[0].rows[:3])}" if open_[0].rows else ""
        return f"{len(open_)} failing findings have no action noted, first {open_[0].rule}{rows} (t in the QC pane)"
    return ""


def sign(run: Run, name: str, now: datetime) -> edit.Edit:
    """Make the edit that signs: as analyst first, then as reviewer."""
    made = Signature(role="reviewer" if standing(run) else "analyst", name=name.strip(), at=now, digest=digest(run))
    return edit.insert_row(run, "signature", len(run.signature) + 1, made)


def amend(run: Run, who: str, reason: str, now: datetime) -> edit.Edit:
    """Make the edit that goes with a change of a signed run."""
    made = Amendment(at=now, by=who or None, reason=reason)
    return edit.insert_row(run, "amendment", len(run.amendment) + 1, made)
