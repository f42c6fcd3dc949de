"""Changing rows: notes, removed, moved, what was done about a finding; steps taken back, and signing.

Owns: the commands of these. Invariant: a command changes the run only through `commit`, and asks before it takes
anything away.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import some
from runsheet.run import edit
from runsheet.run.model import Action
from runsheet.screen import pages, panes
from runsheet.screen.context import name_of, place_of
from runsheet.screen.read_only import READ_ONLY
from runsheet.screen.typing_line import agreed
from runsheet.show import findings, places
from runsheet.work import superseding

if TYPE_CHECKING:
    from runsheet.compute.results import Finding
    from runsheet.run.disk.log import Step
    from runsheet.run.model import Run
from runsheet.screen.context import Context


def action(context: Context) -> None:
    """Ask what was done about the present finding and keep it with the run; it may answer others of its rule too."""
    found: Finding | None = context.item
    if found is None:
        return
    old = context.session.sheet.action(found)

    def answer(text: str) -> None:
        others = findings.like(found, context.session.sheet)
        if not text.strip():
            context.say("nothing changed")
        elif not others:
            _note_action(context, [found], text)
        else:
            named = some([" ".join(other.rows) for other in others], 4)
            label = f"It stands for {found.rule} {named} too, failing like it? y/n:"
            context.ask(
                label, lambda yes: _note_action(context, [found, *(others if agreed(yes) else [])], text), words=True
            )

    context.ask(f"Action taken on {found.rule} {some(found.rows, 2)}:", answer, old.taken if old else "", words=True)


def _note_action(context: Context, answered: list[Finding], text: str) -> None:
    """Keep one action that names the rows of all findings it answers."""
    run = context.session.run
    rows = tuple(dict.fromkeys(name for finding in answered for name in finding.rows))
    who = context.session.who or run.run.analyst
    made = Action(rule=answered[0].rule, rows=rows, taken=text.strip(), by=who, at=context.session.now())
    context.commit([edit.insert_row(run, "action", len(run.action) + 1, made)])


def remove(context: Context) -> None:
    """Remove the present row after a question."""
    if context.item is None:
        return
    path, at, run = context.pane.array, context.place + 1, context.session.run
    name = run.queue[at - 1].id if path == "queue" else ""
    back = superseding.reports_again(run, name)

    def answer(text: str) -> None:
        if agreed(text):
            now = context.session.run
            edits = superseding.give_back(now, name)
            why = context.session.own_reason(edits, f"{name} is removed") if edits else ""
            context.commit([*edits, edit.remove_row(now, path, at)], why)
        else:
            context.say("nothing removed")

    better = INSTEAD.get(context.active, "")
    again = f" {' '.join(run.queue[n - 1].id for n in back)} report{'s' * (len(back) == 1)} again." if back else ""
    context.ask(f"Remove {name_of(context)}?{again}{better} y/n:", answer, words=True)


INSTEAD = {
    "queue": " What was read is better made void (v).",
    "standards": " What was read is better left out (o).",
}
"""What is better than removing a row, in the tables that have it."""


def note(context: Context) -> None:
    """Write a note on the row."""
    if context.item is None:
        return
    path, run = place_of(context, "note"), context.session.run
    old = getattr(getattr(run, context.pane.array)[context.place], "note", None) or ""
    context.ask(f"Note on {name_of(context)}:", lambda text: _set_text(context, path, text), old)


def _set_text(context: Context, path: str, text: str) -> None:
    context.commit([edit.set_value(context.session.run, path, text.strip() or None)])


def move_up(context: Context) -> None:
    """Move the present row up."""
    _move(context, -1)


def move_down(context: Context) -> None:
    """Move the present row down."""
    _move(context, 1)


def _move(context: Context, by: int) -> None:
    at, to = context.place + 1, context.place + 1 + by
    moved = 1 <= to <= len(getattr(context.session.run, context.pane.array))
    if moved:
        made = edit.move_row(context.session.run, context.pane.array, at, to)
        context.commit([made], then=lambda: context.go(to - 1, same_column=True))


def sign(context: Context) -> None:
    """Ask for a name and sign the run off."""
    from runsheet.review import printed, signing
    from runsheet.run.disk.lock import login

    session = context.session
    role = signing.role(session.run)
    if why := signing.by_both(session.run):
        context.say(f"not signed: {why}")
        return

    def answer(name: str) -> None:
        session.begin_log()
        session.look_at_log()
        if why := signing.refusal(session.sheet, name, pages.reported(context).audit.entered_by):
            context.say(f"not signed: {why}")
            return
        results = printed.digest(printed.printed(session.sheet))
        if context.commit([signing.sign(session.run, name, session.now(), login(), results)], f"signed as {role}"):
            context.say(f"signed as {role}; a name typed is no electronic signature")

    context.ask(f"Sign as {role}, name:", answer, words=True)


def undo(context: Context) -> None:
    """Take the last step back."""
    step = context.session.undo()
    _tell(context, step, context.session.run, "undone", "nothing to undo")


def redo(context: Context) -> None:
    """Make the step last taken back again."""
    before = context.session.run
    _tell(context, context.session.redo(), before, "made again", "nothing to redo")


def _tell(context: Context, changed: Step | None, before: Run, done: str, nothing: str) -> None:
    """Say what a step changed, by the run as it was before it."""
    context.recompute()
    if context.session.read_only:
        context.say(READ_ONLY)
        return
    if changed is not None:
        _go_to(context, changed)
    context.say(f"{done}: {places.step(before, changed.edits)}" if changed else nothing)


def _go_to(context: Context, changed: Step) -> None:
    """Put the cursor on the first row that a step changed, so that what is done next is done there."""
    for path in (made.path for made in changed.edits):
        array, bracket, number = path.partition("]")[0].partition("[")
        pane = next((each.name for each in panes.PANES if each.array == array), None)
        if pane is not None and bracket:
            rows = getattr(context.session.run, array)
            context.activate(pane)
            context.go(max(0, min(int(number), len(rows)) - 1), same_column=True)
            return
