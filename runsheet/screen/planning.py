"""Plans and comparisons over the panes: rows to repeat, other models, what if, extracts left.

Owns: how these are asked for, shown and confirmed. Invariant: the plans themselves are made by the modules of the same
names, and nothing changes before it was shown and chosen.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.screen.content import Content

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.run.edit import Edit
    from runsheet.screen.context import Context


def _confirm(context: Context, title: str, lines: Sequence[str], edits: Sequence[Edit], reason: str) -> None:
    """Show what would be done; Enter does it as one step."""

    def choose(_: int) -> None:
        context.close_page()
        context.commit(edits, context.session.own_reason(edits, reason), done)

    def done() -> None:
        context.go_to_next()
        context.say(f"{title}: done; u takes it back")

    context.open_page(Content(title, lines, choose, whole=True))


def repeat_held(context: Context) -> None:
    """Show the shortest order of re-readings that mends what failed, and insert it."""
    from runsheet.work import reread

    found = reread.plan_rereading(context.session.sheet)
    if found is None:
        context.say("nothing is held that reading again would mend")
        return
    _confirm(
        context, "Read again what is held", reread.lines(found), reread.edits(context.session.run, found), "rescue"
    )


def compare(context: Context) -> None:
    """Show every model and weighting side by side."""
    from runsheet.work import what_if

    context.open_page(
        Content("Models and weightings side by side", what_if.table(context.session.run, context.session.clock()))
    )


def what_if(context: Context) -> None:
    """List what else could have been done; the chosen one shows how far each result would move."""
    from runsheet.work import what_if

    found = what_if.alternatives(context.session.run, context.session.clock())
    texts = [f"{each.what}: {what_if.material(each)}" for each in found]

    def choose(number: int) -> None:
        if number < len(found):
            context.open_page(Content(f"What if: {found[number].what}", what_if.lines(found[number])))

    failing = what_if.of_findings(context.session.sheet)
    lines = [*texts, *(["", "Findings that fail, and what hangs on them:"] if failing else []), *failing]
    context.open_page(Content("What if", lines or ["nothing to compare yet"], choose if found else None))


def extracts(context: Context) -> None:
    """Show what is left in each flask, and which plan it cannot supply."""
    from runsheet.work import extracts as flasks

    lines = [each.words for each in flasks.ledger(context.session.run)]
    context.open_page(Content("Extracts: made, used, left, still needed", lines or ["no extract yet"]))
