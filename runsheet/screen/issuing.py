"""Issuing the report from the screen: who, why again, and whether without a reviewer's signature.

Owns: what is asked before a report is issued. Invariant: what would refuse it is said before anything is asked, and the
report's file is written only once it is issued.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.exits import Refusal
from runsheet.report.issue_marks import NOT_REVIEWED
from runsheet.report.issuing import Asked
from runsheet.review import issue as issues
from runsheet.run.disk import files
from runsheet.screen.read_only import READ_ONLY
from runsheet.screen.typing_line import agreed

if TYPE_CHECKING:
    from runsheet.screen.context import Context


def issue(context: Context) -> None:
    """Ask who issues the report, and issue it under its number."""
    session = context.session
    if session.read_only:
        context.say(READ_ONLY)
        return
    session.look_at_log()
    why = _refused(context, not_reviewed=False)
    if not why:
        _ask_who(context, not_reviewed=False)
    elif _refused(context, not_reviewed=True):
        context.say(f"not issued: {why}")
    else:
        without = f"{session.run.run.id} has no valid reviewer's signature"
        words = f"{without}, and every page will say: {NOT_REVIEWED}. Issue it? y/n:"
        context.ask(
            words,
            lambda answer: (
                _ask_who(context, not_reviewed=True)
                if agreed(answer)
                else context.say("not issued: no valid reviewer's signature")
            ),
            words=True,
        )


def _refused(context: Context, *, not_reviewed: bool) -> str:
    session = context.session
    reason = "to be asked" if session.run.issued else ""
    return issues.refusal(session.sheet, session.trail, not_reviewed=not_reviewed, reason=reason)


def _ask_who(context: Context, *, not_reviewed: bool) -> None:
    run = context.session.run
    number = issues.number(run)

    def who(name: str) -> None:
        if not name.strip():
            context.say("not issued: a name is needed")
        elif run.issued:
            why = f"{number} replaces {run.issued[-1].number}, because:"
            context.ask(
                why, lambda reason: _issue(context, Asked(name.strip(), reason.strip(), not_reviewed)), words=True
            )
        else:
            _issue(context, Asked(name.strip(), "", not_reviewed))

    context.ask(f"Issue {number}, name:", who, words=True)


def _issue(context: Context, asked: Asked) -> None:
    try:
        made = context.session.issue(asked)
    except Refusal as refusal:
        context.say(str(refusal))
        return
    context.recompute()
    to = context.session.path.with_name(made.copy.name)
    try:  # a file of that name is someone's: nobody was asked whether it may go
        files.write_new(files.DISK, to, made.report, mode=0o666)
    except OSError as error:
        why = f"{to.name} was there" if isinstance(error, FileExistsError) else files.words(error)
        context.say(f"{made.number} is issued; {to.name} was not written, {why}: its copy is {made.copy}")
    else:
        context.say(f"{made.number} is issued, in {to.name}; a read-only copy is kept in {made.copy.parent.name}/")
