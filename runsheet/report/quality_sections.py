"""The sections of a report on what was judged and done about it.

Owns: verdicts, findings with their actions, corrections, late entries, signatures and amendments. Invariant: where
passes are left out it says how many.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.rules import RULES
from runsheet.figures import counted, minute, some, when
from runsheet.report.blocks import Block, Facts, Heading, Items, Paragraph, Table
from runsheet.report.making import DIGITS, Report
from runsheet.review import entries, signed
from runsheet.show import findings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Finding, Sheet


def quality(report: Report) -> Iterator[Block]:
    """Say the verdicts."""
    sheet = report.sheet
    yield Heading("Quality control")
    numbered = [rule.name for rule in RULES if rule.passes_counted]
    listed = [finding for finding in sheet.quality if finding.state != "pass" or finding.rule not in numbered]
    rows = tuple(
        (
            f.rule,
            some(f.rows, 4),
            findings.value(f),
            findings.limits(f),
            f.state,
        )
        for f in listed
    )
    if rows:
        yield Table(("rule", "rows", "value", "limits", "verdict"), rows, (True, True, False, False, True))
    for rule in numbered:
        count = sum(finding.rule == rule and finding.state == "pass" for finding in sheet.quality)
        more = " more" if any(finding.rule == rule for finding in listed) else ""
        if count:
            yield Paragraph(f"{rule}: {count}{more}, {'which passes' if count == 1 else 'all pass'}.")
    if not sheet.quality:
        yield Paragraph("Nothing is judged.")


def findings_found(report: Report) -> Iterator[Block]:
    """Say every finding that is no pass, what was done about it, and what is due."""
    sheet = report.sheet
    yield Heading("Findings")
    told = findings.lines(sheet)
    yield Items(tuple(told)) if told else Paragraph("None: nothing fails or warns, and nothing is left to do.")
    actions = tuple(_action(finding, sheet) for finding in sheet.quality if finding.state == "fail")
    if actions:
        yield Facts(actions)
    if sheet.due:
        yield Paragraph("Due: " + "; ".join(result.words for result in sheet.due) + ".")


def _action(finding: Finding, sheet: Sheet) -> tuple[str, str]:
    """Say what was done about a failing finding."""
    name = f"{finding.rule} {some(finding.rows, 3)}".strip()
    affected = some(finding.affects or ()) or "no result"
    return name, f"{findings.taken(finding, sheet)}; affects {affected}"


def outside(report: Report) -> Iterator[Block]:
    """Say what was changed outside the edit log, value for value."""
    if report.trail.outside:
        yield Heading("Changed outside the edit log")
        rows = tuple(
            (change.path, change.old, change.new, f"{minute(change.after)} to {minute(change.before) or 'now'}")
            for change in report.trail.outside
        )
        yield Table(("what", "was", "is", "between"), rows, (True,) * 4)
    if report.trail.state != "none":
        yield Paragraph(TRAIL_LIMIT)


TRAIL_LIMIT = (
    "What an edit log shows has a limit: whoever can write the files could have written the log anew. Only a register "
    "of issued reports kept elsewhere tells that."
)


def corrections(report: Report) -> Iterator[Block]:
    """Say what was corrected, and what was entered late, early or in bulk, by the edit log."""
    found = report.audit
    if not found.entries and not found.faults:
        return
    yield Heading("Corrections and late entries")
    if found.corrections:
        rows = tuple((minute(c.time), c.who, c.what, c.old, c.new, c.reason) for c in found.corrections)
        yield Table(("entered", "by", "what", "was", "is", "why"), rows, (True,) * 6)
    else:
        count = f"None of {counted(found.entries, 'entry', 'entries')}"
        yield Paragraph(f"{count} replaced another once readings had begun, notes apart.")
    told = tuple(entries.words(found))
    late, early, within = (each.total_seconds() for each in (entries.LATE, entries.EARLY, entries.BULK_WITHIN))
    none = (
        f"No reading of a standard or of the queue was entered more than {late / 60:g} min after its time or "
        f"{early / 60:g} min before it, no {entries.BULK} were entered one by one within {within:g} s (pasted blocks "
        f"apart), and no entry is more than {early / 60:g} min older than the one before it."
    )
    yield Items(told) if told else Paragraph(none)
    if sent := tuple(entries.sent(found)):
        yield Items(sent)
    logins = ", ".join(f"{login or 'an account that was not kept'} ({count})" for login, count in found.logins)
    if logins:
        yield Paragraph(f"Edits were accepted under: {logins}.")
    if found.untimed:
        names = some(found.untimed)
        yield Paragraph(f"Read without a time, so whether they were entered late cannot be said: {names}.")
    if found.unknown:
        names = some(found.unknown)
        yield Paragraph(f"Read before the log begins, so the time of entry is not known: {names}.")
    if found.faults:
        steps = counted(found.faults, "step")
        yield Paragraph(f"{steps} of the log could not be followed: runsheet log --verify says which.")


def signatures(report: Report) -> Iterator[Block]:
    """Say who signed, what still stands, and why a signed run was changed."""
    sheet = report.sheet
    run = sheet.run
    if not run.signature and not run.amendment:
        return
    yield Heading("Signatures and amendments")
    rows = tuple(
        (s.role, s.name, made.login, when(s.at), made.fallen or "stands", s.digest[:DIGITS])
        for made in signed.signatures(run, report.trail)
        for s in (made.signature,)
    )
    if rows:
        yield Table(("as", "name", "account", "at", "and now", "SHA-256 begins"), rows, (True,) * 6)
    if one := signed.shared_account(run):
        yield Paragraph(f"Analyst and reviewer signed under one account: {one}.")
    if run.amendment:
        yield Items(tuple(", ".join(filter(None, (when(a.at), a.by, a.reason))) for a in run.amendment))
