"""Going about: the next thing to do, the panes, the row a finding names, the list of commands.

Owns: the commands that move the cursor. Invariant: but for the warm-up that Enter starts, the run
stays as it is.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.days import setup_time
from runsheet.run import edit
from runsheet.screen import keys, panes
from runsheet.screen.content import Content
from runsheet.screen.context import place_of

if TYPE_CHECKING:
    from runsheet.compute.results import Finding
    from runsheet.screen.context import Context
    from runsheet.work.step import PaneName


def enter(context: Context) -> None:
    """Start the warm-up where that is asked; stay on what is to be read; else go to the next thing to do."""
    item = context.item
    if context.active == "setup" and item is not None and item.setup.check == "warm-up" and item.setup.started is None:
        now = context.session.now()
        if context.commit([edit.set_value(context.session.run, place_of(context, "started"), now)]):
            context.go_to_next()
    elif context.column.edits == "readings" and item is not None and _unread(context):
        context.say("nothing is typed yet; n goes to the next thing to do")
    else:
        context.go_to_next()


def _unread(context: Context) -> bool:
    row = getattr(context.session.run, context.pane.array)[context.place]
    return not row.readings and getattr(row, "void", None) is None


def go_next(context: Context) -> None:
    """Go to the next thing to do."""
    context.go_to_next()


def jump(context: Context) -> None:
    """Go to the first row a finding names."""
    found: Finding | None = context.item
    places: dict[PaneName, dict[str, int]] = {
        "queue": {row.id: at for at, row in enumerate(context.session.run.queue)},
        "standards": {standard.id: at for at, standard in enumerate(context.session.run.standard)},
        "setup": {setup.check: at for at, setup in enumerate(context.session.run.setup)},
    }
    if found is not None and found.read_at is not None:  # several of a kind: the one that was read then
        setups = enumerate(context.session.run.setup)
        places["setup"] |= {setup.check: at for at, setup in setups if setup_time(setup) == found.read_at}
    for name in found.rows if found is not None else ():
        for pane, known in places.items():
            if name in known:
                context.activate(pane)
                context.go(known[name])
                return
    context.say("this finding names no row")


def palette(context: Context) -> None:
    """Open the list of commands that work here."""
    here = [command for command in context.commands if context.active in command.panes]
    texts = [f"{' '.join(map(keys.shown, command.keys)):12} {command.title}" for command in here]

    def choose(number: int) -> None:
        context.close_page()
        here[number].run(context)

    context.open_page(Content("Commands", texts, choose))


def to_setup(context: Context) -> None:
    """Go to the setup checks."""
    context.activate("setup")


def to_standards(context: Context) -> None:
    """Go to the standard table."""
    context.activate("standards")


def to_queue(context: Context) -> None:
    """Go to the sample queue."""
    context.activate("queue")


def to_quality(context: Context) -> None:
    """Go to the QC status."""
    context.activate("quality")


def to_pane_after(context: Context) -> None:
    """Go to the next pane, after the last to the first."""
    _turn(context, 1)


def to_pane_before(context: Context) -> None:
    """Go to the pane before, from the first to the last."""
    _turn(context, -1)


def _turn(context: Context, by: int) -> None:
    names: list[PaneName] = [pane.name for pane in panes.PANES]
    at = names.index(context.active) + by
    context.activate(names[at % len(names)])
