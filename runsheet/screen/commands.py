"""What the commands do.

Owns: one function a command, named in `COMMANDS` as in keys.py. Invariant: a command changes the run only through the
bench's `commit`, and asks before it takes anything away.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, get_args

from runsheet import guide
from runsheet.report import findings
from runsheet.run import edit
from runsheet.run.model import Action, Kind, Model, Row, Setup, SetupKind, Standard, Weighting
from runsheet.screen import block, finding, forms, keys, panes, planning, rows
from runsheet.screen.page import Content

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.outcome import Finding
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


def _path(bench: Bench, field: str = "") -> str:
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


def insert(bench: Bench) -> None:
    """Ask which kind of row and insert it before the present one."""
    if bench.active == "queue":
        words = [f"{rows.word(kind)}" for kind in get_args(Kind)]
        _choose(bench, "Insert a row here", words, lambda at: rows.insert(bench, get_args(Kind)[at]))
    elif bench.active == "setup":
        kinds = get_args(SetupKind)
        _choose(bench, "Insert a setup check", list(kinds), lambda at: _put(bench, Setup(check=kinds[at])))
    else:
        standard = Standard(
            id=rows.unused(bench.run_document, "S"), concentration=0, calibration=_calibration_named(bench)
        )
        _put(bench, standard)


def _calibration_named(bench: Bench) -> str | None:
    item = bench.grid.item
    return item.standard.calibration if item is not None else None


def _put(bench: Bench, row: Any) -> None:
    at = bench.grid.place + 2 if bench.grid.items else 1
    if bench.commit([edit.insert_row(bench.run_document, bench.pane.array, at, row)]):
        bench.grid.go(at - 1)


def _choose(bench: Bench, title: str, words: list[str], choose: Callable[[int], None]) -> None:
    def chosen(number: int) -> None:
        bench.close_page()
        choose(number)

    bench.open_page(Content(title, words, chosen))


def insert_due(bench: Bench) -> None:
    """Insert the blank or check that is due, before the next row to read."""
    step = guide.next_step(bench.sheet)
    rows.insert_event(bench, step.offer or guide.offered_kind(bench.sheet.due))


def reread(bench: Bench) -> None:
    """Insert a row that reads this sample again."""
    rows.again(bench)


def dilute(bench: Bench) -> None:
    """Insert a row that reads this extract at the dilution advised."""
    rows.again(bench, diluted=True)


def remove(bench: Bench) -> None:
    """Remove the present row after a question."""
    if bench.grid.item is None:
        return
    path, at = bench.pane.array, bench.grid.place + 1

    def answer(text: str) -> None:
        if text.strip().lower() in ("y", "yes"):
            bench.commit([edit.remove_row(bench.run_document, path, at)])
        else:
            bench.say("nothing removed")

    bench.ask("Remove this row? A row that was read is better made void (v). y/n:", answer)


def void(bench: Bench) -> None:
    """Make the row void with a reason, or take that back."""
    if bench.grid.item is None:
        return
    row = bench.run_document.queue[bench.grid.place]
    if row.void is not None:
        bench.commit([edit.set_value(bench.run_document, _path(bench, "void"), None)], "counts again")
        return
    path = _path(bench, "void")
    bench.ask("Void, because:", lambda text: _with_reason(bench, path, text))


def _with_reason(bench: Bench, path: str, text: str) -> None:
    if not text.strip():
        bench.say("nothing changed: a reason is needed")
    else:
        bench.commit([edit.set_value(bench.run_document, path, text.strip())], text.strip())


def rezero(bench: Bench) -> None:
    """Say that the photometer was re-zeroed on this blank, and what it read then; or take that back."""
    if bench.grid.item is None or bench.grid.item.kind != "blank":
        bench.say("only a solvent blank is re-zeroed")
        return
    path, run = _path(bench), bench.run_document
    if run.queue[bench.grid.place].rezeroed:
        bench.commit([edit.set_value(run, f"{path}.rezeroed", None), edit.set_value(run, f"{path}.left", None)])
        return
    bench.ask("Re-zeroed; it then read (empty for zero):", lambda text: _left(bench, path, text))


def _left(bench: Bench, path: str, text: str) -> None:
    from runsheet.run import entry

    parsed = entry.parse(Row, "left", text, bench.clock())
    if parsed.complaint:
        bench.say(f"not accepted: {parsed.complaint}")
        return
    run = bench.run_document
    left = [] if parsed.value is None else [edit.set_value(run, f"{path}.left", parsed.value)]
    bench.commit([edit.set_value(run, f"{path}.rezeroed", value=True), *left])


def note(bench: Bench) -> None:
    """Write a note on the row."""
    if bench.grid.item is None:
        return
    path, run = _path(bench, "note"), bench.run_document
    old = getattr(getattr(run, bench.pane.array)[bench.grid.place], "note", None) or ""
    bench.ask("Note:", lambda text: _set_text(bench, path, text), old)


def _set_text(bench: Bench, path: str, text: str) -> None:
    bench.commit([edit.set_value(bench.run_document, path, text.strip() or None)])


def _move(by: int) -> Callable[[Bench], None]:
    def move(bench: Bench) -> None:
        at, to = bench.grid.place + 1, bench.grid.place + 1 + by
        moved = 1 <= to <= len(getattr(bench.run_document, bench.pane.array))
        if moved and bench.commit([edit.move_row(bench.run_document, bench.pane.array, at, to)]):
            bench.grid.go(to - 1)

    return move


# --- standards --------------------------------------------------------------------------------------------------


def toggle_use(bench: Bench) -> None:
    """Leave a standard out with a reason, or use it again."""
    if bench.grid.item is None:
        return
    run, path = bench.run_document, _path(bench)
    if not bench.grid.item.used:
        bench.commit([edit.set_value(run, f"{path}.use", value=True)], "used again")
        return

    def answer(text: str) -> None:
        if not text.strip():
            bench.say("nothing changed: a reason is needed")
        else:
            edits = [
                edit.set_value(run, f"{path}.use", value=False),
                edit.set_value(run, f"{path}.reason", text.strip()),
            ]
            bench.commit(edits, text.strip())

    bench.ask("Left out, because:", answer)


def _turn_setting(field: str, values: tuple[str, ...]) -> Callable[[Bench], None]:
    def turn(bench: Bench) -> None:
        at = _calibration_at(bench)
        if at is None:
            bench.say("there is no calibration")
            return
        calibration = bench.run_document.calibration[at]
        if calibration.model == "direct":
            bench.say("a direct run has no curve to choose")
            return
        now = getattr(calibration, field) or values[0]
        after = values[(values.index(now) + 1) % len(values)]
        bench.commit([edit.set_value(bench.run_document, f"calibration[{at + 1}].{field}", after)])
        bench.say(f"{calibration.id}: {field} {after}; {panes.STANDARDS.summary(bench.sheet)}")

    return turn


def _calibration_at(bench: Bench) -> int | None:
    """Give the calibration of the present standard, counted from 0."""
    calibrations = bench.run_document.calibration
    item = bench.grid.item if bench.active == "standards" else None
    wanted = item.standard.calibration if item is not None else None
    found = [at for at, calibration in enumerate(calibrations) if wanted in (None, calibration.id)]
    return found[-1] if found else None


# --- the run ----------------------------------------------------------------------------------------------------


def undo(bench: Bench) -> None:
    """Take the last step back."""
    _history(bench, bench.store.undo(bench.clock()), "nothing to undo")


def redo(bench: Bench) -> None:
    """Make the last step taken back again."""
    _history(bench, bench.store.redo(bench.clock()), "nothing to redo")


def _history(bench: Bench, changed: object, nothing: str) -> None:
    if changed is None:
        bench.say(nothing)
    else:
        bench.recompute()


def leave(bench: Bench) -> None:
    """Leave; everything accepted is saved."""
    bench.store.close()
    bench.app.exit(0)


COMMANDS: dict[str, Callable[[Bench], None]] = {
    "help": show_help,
    "palette": palette,
    "go_next": go_next,
    "insert": insert,
    "insert_due": insert_due,
    "reread": reread,
    "dilute": dilute,
    "why": why,
    "edit": edit_cell,
    "add_reading": add_reading,
    "toggle_use": toggle_use,
    "model": _turn_setting("model", tuple(model for model in get_args(Model) if model != "direct")),
    "weighting": _turn_setting("weighting", get_args(Weighting)),
    "plot": plot,
    "void": void,
    "rezero": rezero,
    "note": note,
    "action": action,
    "row_form": forms.row,
    "facts": forms.facts,
    "limits": forms.limits,
    "new_batch": forms.new_batch,
    "cautions": cautions,
    "search": finding.search,
    "filter": finding.turn_filter,
    "fill_down": block.fill_down,
    "plan": planning.plan,
    "repeat_held": planning.repeat_held,
    "compare": planning.compare,
    "what_if": planning.what_if,
    "extracts": planning.extracts,
    "remove": remove,
    "move_up": _move(-1),
    "move_down": _move(1),
    "jump": jump,
    "report": report,
    "write_report": write_report,
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
