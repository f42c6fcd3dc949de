"""What a data-integrity review of a run looks for by hand, as cases.

Owns: `Case`, `KINDS`, `cases`. Invariant: pure; a case says what was done, where, when and by whom, and accuses nobody:
most have a good reason, and the words of its kind say what to look at to know it.

What is looked for is common practice, no source: raw data kept as they were, entered when they were made, by who made
them, corrections with their reasons, nothing repeated or chosen until it passes.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

from runsheet.figures import minute, visible
from runsheet.show import findings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Sheet
    from runsheet.review.entries import Audit
    from runsheet.review.trail import Trail

BEFORE_SIGNING = timedelta(hours=1)


class Kind(NamedTuple):
    """One kind of case."""

    words: str
    look: str
    """What to look at."""


KINDS = {
    "voided-qc": Kind("failing QC voided, or read again until it passed", "the reason, and what the notebook has"),
    "result-chosen": Kind("a void or superseded result off the one reported", "why that one was reported"),
    "outside": Kind("changed outside the edit log", "the values, against the notebook and the print-outs"),
    "broken": Kind("the edit log does not prove the document", "the register of issued reports and backups"),
    "early": Kind("entered before the time of the reading", "the clocks, and who entered the time"),
    "late": Kind("entered long after the reading", "where the reading was kept meanwhile"),
    "bulk": Kind("entered one by one faster than they can be read", "where they were kept meanwhile"),
    "backwards": Kind("the clock of the entries ran back", "the computer's clock"),
    "unreasoned": Kind("corrected without a reason", "the notebook, and ask who corrected"),
    "limits": Kind("a limit changed after the first standard was read", "what passes by it and did not before"),
    "signing": Kind("changed in the hour before it was signed", "what it moved"),
    "same-readings": Kind("the same raw readings twice", "the notebook or the photometer's own record of both"),
}
"""The kinds of case, in the order they are told in."""


class Case(NamedTuple):
    """One thing to look at."""

    kind: str
    rows: tuple[str, ...]
    """The rows, where it is about rows."""
    when: str
    """ISO; empty where no time is known."""
    who: str
    """As the log names who entered it; empty where it does not say."""
    words: str


def cases(sheet: Sheet, trail: Trail, audit: Audit) -> Iterator[Case]:
    """Each thing to look at in one run."""
    yield from _chosen(sheet)
    if trail.state == "broken":
        yield Case("broken", (), "", "", f"log broken: {trail.why}")
    for change in trail.outside:
        words = f"{change.path}: {change.old or 'nothing'} to {change.new or 'nothing'}, {change.when}"
        yield Case("outside", (), change.after, "", words)
    yield from _entered(audit)
    yield from _corrected(sheet, audit)


def _chosen(sheet: Sheet) -> Iterator[Case]:
    """QC repeated or voided until it passed, and results chosen, as the rules find them."""
    kinds = {"voided-qc": "voided-qc", "repeated-until-pass": "voided-qc", "result-chosen": "result-chosen"}
    times = {row.id: row.row.at for row in sheet.rows}
    for finding in findings.raised(sheet):
        if finding.rule in kinds:
            at = next((times[name] for name in finding.rows if times.get(name)), None)
            when = at.isoformat() if at else ""
            yield Case(kinds[finding.rule], finding.rows, when, "", f"{' '.join(finding.rows)}: {finding.why}")


def _entered(audit: Audit) -> Iterator[Case]:
    for kind, told in (("early", audit.early), ("late", audit.late)):
        for each in told:
            words = f"{each.row}: read {minute(each.read.isoformat())}, entered {minute(each.entered.isoformat())}"
            yield Case(kind, (each.row,), each.entered.isoformat(), "", words)
    for bulk in audit.in_bulk:
        words = f"{len(bulk.rows)} readings{bulk.how}, {bulk.rows[0]} to {bulk.rows[-1]}"
        yield Case("bulk", bulk.rows, bulk.first.isoformat(), "", words)
    for one, other in audit.backwards:
        yield Case("backwards", (), other, "", f"an entry of {minute(one)}, then one of {minute(other)}")


def _corrected(sheet: Sheet, audit: Audit) -> Iterator[Case]:
    signed = [made.at for made in sheet.run.signature]
    for made in audit.corrections:
        why = f": {made.reason}" if made.reason else ""
        words = visible(f"{made.what}: {made.old or 'nothing'} to {made.new or 'nothing'}{why}")
        at = datetime.fromisoformat(made.time)
        if not made.reason:
            yield Case("unreasoned", (), made.time, made.who, words)
        if made.limit:
            yield Case("limits", (), made.time, made.who, words)
        if any(timedelta() <= signature - at <= BEFORE_SIGNING for signature in signed):
            yield Case("signing", (), made.time, made.who, words)
