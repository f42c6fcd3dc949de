"""Which signatures of a run stand, by its document and its log together.

Owns: `Signed`, `signatures`, `shared_account`. Invariant: pure; one that stands no more is still told.

A signature stands while its digest is the document's, and the log is whole or there is none, or what the log tells was
acted on before it was signed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.review import signing, trail_rule

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.review.trail import Trail
    from runsheet.run.model import Run, Signature


class Signed(NamedTuple):
    """A signature and what became of it."""

    signature: Signature
    fallen: str
    """Why it stands no more; empty where it stands."""

    @property
    def login(self) -> str:
        """The account and the machine it was signed at, as far as they are known."""
        return _login(self.signature)


def signatures(run: Run, trail: Trail) -> tuple[Signed, ...]:
    """Every signature of a run, with why it stands no more."""
    covering = signing.standing(run)
    answered = [action.at for action in trail_rule.answers(run, trail) if action.at is not None]
    return tuple(Signed(made, _fallen(made, covering, trail, answered)) for made in run.signature)


def _fallen(made: Signature, covering: tuple[Signature, ...], trail: Trail, answered: list[datetime]) -> str:
    if made not in covering:
        return "the document was changed after it"
    if trail.state in ("none", "whole") or any(at <= made.at for at in answered):
        return ""
    return f"{trail.words}, not acted on before it was signed"


def standing(run: Run, trail: Trail) -> dict[str, Signed]:
    """The last signature of each role that stands."""
    return {made.signature.role: made for made in signatures(run, trail) if not made.fallen}


def words(run: Run, trail: Trail) -> str:
    """Who signed the run, as what it was issued, and whether it changed since, for a title line."""
    made = standing(run, trail)
    said = [f"signed by {', '.join(each.signature.name for each in made.values())}"] if made else []
    if run.signature and not made:
        said = ["no valid signature"]
    if run.issued:
        said.append(f"issued as {run.issued[-1].number}")
        if run.issued[-1].digest != signing.digest(run, "reviewer"):
            said.append("changed since")
    return ", ".join(said)


def next_words(run: Run, trail: Trail) -> str:
    """Say what is next of a run that is read and closed and that somebody signed or issued; else nothing."""
    made = standing(run, trail)
    if not run.signature and not run.issued:
        return ""
    last = run.issued[-1] if run.issued else None
    if last and last.digest == signing.digest(run, "reviewer"):
        return f"nothing: issued as {last.number}"
    if "reviewer" in made:
        return f"signed by {' and '.join(sorted(made))}: O issues the report"
    if "analyst" in made:
        return "signed by the analyst: V reviews, S signs as reviewer"
    return "no signature stands any more: S signs anew"


def shared_account(run: Run) -> str:
    """The account under which both roles were signed, or empty."""
    logins: dict[str, set[str]] = {"analyst": set(), "reviewer": set()}
    for made in run.signature:
        if made.account:
            logins[made.role].add(_login(made))
    return ", ".join(sorted(logins["analyst"] & logins["reviewer"]))


def _login(made: Signature) -> str:
    return "@".join(filter(None, (made.account, made.machine)))
