"""What the commands do.

Owns: one function a command, named in `COMMANDS` as in keys.py. Invariant: a command changes the run only through the
bench's `commit`, and asks before it takes anything away.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from runsheet.run import edit
from runsheet.run.model import Action
from runsheet.screen import keys, leaving, panes
from runsheet.screen.page import Content
from runsheet.screen.typing_line import agreed
from runsheet.show import findings

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import Finding
    from runsheet.run.disk.log import Step
    from runsheet.screen.bench import Bench


def enter(bench: Bench) -> None:
    """Start the warm-up where that is asked, else go to the next thing to read."""
    item = bench.grid.item
    if bench.active == "setup" and item is not None and item.setup.check == "warm-up" and item.setup.started is None:
        now = bench.clock().replace(microsecond=0)
        if bench.commit([edit.set_value(bench.run_document, f"setup[{bench.grid.place + 1}].started", now)]):
            bench.go_to_next()
    else:
        bench.go_to_next()


def action(bench: Bench) -> None:
    """Ask what was done about the present finding and keep it with the run."""
    found: Finding | None = bench.grid.item
    if found is None:
        return
    run, old = bench.run_document, bench.sheet.action(found)

    def answer(text: str) -> None:
        if not text.strip():
            bench.say("nothing changed")
            return
        now = bench.clock().replace(microsecond=0)
        made = Action(rule=found.rule, rows=found.rows, taken=text.strip(), by=bench.who, at=now)
        bench.commit([edit.insert_row(run, "action", len(run.action) + 1, made)])

    bench.ask(f"Action taken on {found.rule} {findings.some(found.rows, 2)}:", answer, old.taken if old else "")


def place_of(bench: Bench, field: str = "") -> str:
    """Give the document's place of the present row, or of a field of it."""
    return f"{bench.pane.array}[{bench.grid.place + 1}]" + (f".{field}" if field else "")


# --- looking ----------------------------------------------------------------------------------------------------


def go_next(bench: Bench) -> None:
    """Go to the next thing to do."""
    bench.go_to_next()


def show_help(bench: Bench) -> None:
    """Open the help."""
    from runsheet.screen import pages  # loads the reports, which no first frame needs

    bench.open_page(Content("Help", pages.help_texts(bench)))


def palette(bench: Bench) -> None:
    """Open the list of commands that work here."""
    here = [command for command in bench.commands if bench.active in command.panes]
    texts = [f"{' '.join(map(keys.shown, command.keys)):12} {command.title}" for command in here]

    def choose(number: int) -> None:
        bench.close_page()
        bench.run_command(here[number].name)

    bench.open_page(Content("Commands", texts, choose))


def why(bench: Bench) -> None:
    """Open the explanation of the present row, its cell first."""
    from runsheet.screen import pages  # loads the reports, which no first frame needs

    bench.open_page(pages.why(bench))


def plot(bench: Bench) -> None:
    """Open the calibration plot."""
    from runsheet.screen import pages  # loads the reports, which no first frame needs

    bench.open_page(pages.plot_page(bench))


def report(bench: Bench) -> None:
    """Open the report as it stands."""
    from runsheet.screen import pages  # loads the reports, which no first frame needs

    bench.open_page(pages.report(bench))


def cautions(bench: Bench) -> None:
    """Open the cautions for the solvent and the standing of the method."""
    from runsheet.screen import pages

    bench.open_page(pages.cautions(bench))


def write_report(bench: Bench) -> None:
    """Ask for a file and write the report into it; its ending says the format."""
    from runsheet.screen import pages

    bench.ask(
        "Write the report to (.txt, .md or .html):",
        lambda name: pages.write_report(bench, name),
        pages.report_name(bench),
    )


def jump(bench: Bench) -> None:
    """Go to the first row a finding names."""
    found: Finding | None = bench.grid.item
    places: dict[str, dict[str, int]] = {
        "queue": {row.id: at for at, row in enumerate(bench.run_document.queue)},
        "standards": {standard.id: at for at, standard in enumerate(bench.run_document.standard)},
        "setup": {setup.check: at for at, setup in enumerate(bench.run_document.setup)},
    }
    for name in found.rows if found is not None else ():
        for pane, known in places.items():
            if name in known:
                bench.activate(pane)
                bench.go(known[name])
                return
    bench.say("this finding names no row")


def _pane(name: str) -> Callable[[Bench], None]:
    return lambda bench: bench.activate(name)


def _turn(by: int) -> Callable[[Bench], None]:
    names = [pane.name for pane in panes.PANES]
    return lambda bench: bench.activate(names[(names.index(bench.active) + by) % len(names)])


# --- editing ----------------------------------------------------------------------------------------------------


def edit_cell(bench: Bench) -> None:
    """Edit the present cell in place."""
    bench.editing.edit_cell()


def add_reading(bench: Bench) -> None:
    """Add a replicate reading."""
    bench.grid.go(bench.grid.place, "readings")
    bench.editing.edit_cell(add=True)


def _name(bench: Bench) -> str:
    """Name the present row as its first column does."""
    return bench.pane.columns[0].text(bench.grid.item)


def remove(bench: Bench) -> None:
    """Remove the present row after a question."""
    if bench.grid.item is None:
        return
    path, at = bench.pane.array, bench.grid.place + 1

    def answer(text: str) -> None:
        if agreed(text):
            bench.commit([edit.remove_row(bench.run_document, path, at)])
        else:
            bench.say("nothing removed")

    bench.ask(f"Remove {_name(bench)}? What was read is better made void (v). y/n:", answer)


def note(bench: Bench) -> None:
    """Write a note on the row."""
    if bench.grid.item is None:
        return
    path, run = place_of(bench, "note"), bench.run_document
    old = getattr(getattr(run, bench.pane.array)[bench.grid.place], "note", None) or ""
    bench.ask(f"Note on {_name(bench)}:", lambda text: _set_text(bench, path, text), old)


def _set_text(bench: Bench, path: str, text: str) -> None:
    bench.commit([edit.set_value(bench.run_document, path, text.strip() or None)])


def _move(by: int) -> Callable[[Bench], None]:
    def move(bench: Bench) -> None:
        at, to = bench.grid.place + 1, bench.grid.place + 1 + by
        moved = 1 <= to <= len(getattr(bench.run_document, bench.pane.array))
        if moved and bench.commit([edit.move_row(bench.run_document, bench.pane.array, at, to)]):
            bench.grid.go(to - 1)

    return move


# --- the run ----------------------------------------------------------------------------------------------------


def sign(bench: Bench) -> None:
    """Ask for a name and sign the run off."""
    from runsheet.review import signing

    run = bench.run_document
    role = signing.role(run)

    def answer(name: str) -> None:
        if why := signing.refusal(bench.sheet, name):
            bench.say(f"not signed: {why}")
        elif bench.commit(
            [signing.sign(bench.run_document, name, bench.clock().replace(microsecond=0))], f"signed as {role}"
        ):
            bench.say(f"signed as {role}; a name typed is no electronic signature")

    bench.ask(f"Sign as {role}, name:", answer)


def undo(bench: Bench) -> None:
    """Take the last step back."""
    _history(bench, bench.store.undo(bench.clock()), "undone", "nothing to undo")


def redo(bench: Bench) -> None:
    """Make the last step taken back again."""
    _history(bench, bench.store.redo(bench.clock()), "made again", "nothing to redo")


def _history(bench: Bench, changed: Step | None, done: str, nothing: str) -> None:
    if changed is None:
        bench.say(nothing)
        return
    bench.recompute()
    places = dict.fromkeys(made.path for made in changed.edits)
    bench.say(f"{done}: {', '.join(places)}")


def leave(bench: Bench) -> None:
    """Leave; everything accepted is saved, or it is asked what is to become of it."""
    bench.store.flush()
    if bench.store.unkept:
        leaving.ask(bench)
    else:
        bench.store.close()
        bench.app.exit(0)


def _in(module: str, name: str) -> Callable[[Bench], None]:
    """Give a command of another module, which is loaded when it is first used: the first frame needs none."""

    def run(bench: Bench) -> None:
        getattr(importlib.import_module(f"runsheet.screen.{module}"), name)(bench)

    return run


COMMANDS: dict[str, Callable[[Bench], None]] = {
    "help": show_help,
    "palette": palette,
    "go_next": go_next,
    "insert": _in("rows", "insert"),
    "insert_due": _in("rows", "insert_due"),
    "reread": _in("rows", "reread"),
    "dilute": _in("rows", "dilute"),
    "why": why,
    "edit": edit_cell,
    "add_reading": add_reading,
    "toggle_use": _in("standards", "toggle_use"),
    "model": _in("standards", "model"),
    "weighting": _in("standards", "weighting"),
    "plot": plot,
    "void": _in("rows", "void"),
    "rezero": _in("rows", "rezero"),
    "note": note,
    "action": action,
    "row_form": _in("forms", "row"),
    "facts": _in("forms", "facts"),
    "limits": _in("forms", "limits"),
    "new_batch": _in("forms", "new_batch"),
    "cautions": cautions,
    "search": _in("finding", "search"),
    "filter": _in("finding", "turn_filter"),
    "fill_down": _in("block", "fill_down"),
    "plan": _in("planning", "plan"),
    "repeat_held": _in("planning", "repeat_held"),
    "compare": _in("planning", "compare"),
    "what_if": _in("planning", "what_if"),
    "extracts": _in("planning", "extracts"),
    "remove": remove,
    "move_up": _move(-1),
    "move_down": _move(1),
    "jump": jump,
    "history": _in("past", "open_history"),
    "report": report,
    "write_report": write_report,
    "review": _in("reviewing", "review"),
    "sign": sign,
    "undo": undo,
    "redo": redo,
    "pane_setup": _pane("setup"),
    "pane_standards": _pane("standards"),
    "pane_queue": _pane("queue"),
    "pane_quality": _pane("quality"),
    "pane_after": _turn(1),
    "pane_before": _turn(-1),
    "quit": leave,
}
