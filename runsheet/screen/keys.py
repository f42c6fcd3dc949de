"""Every command of the screen, once.

Owns: what a command is called, its keys, where it works. A row here feeds keys, footer, palette and help, so they
cannot disagree; the function of the same name in commands.py does the work. Invariant: no key is bound twice in one
pane, every function key has a second way, and nothing is lost by a single slip of the finger.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, NamedTuple

from runsheet import tables
from runsheet.problem import Problem

if TYPE_CHECKING:
    from collections.abc import Sequence

RESERVED = (
    "enter", "ctrl+j", "escape", "tab", "shift+tab", "up", "down", "left", "right", "home", "end", "pageup", "pagedown",
    "backspace", "plus", "minus", "full_stop", "comma",
)  # fmt: skip
"""Keys that type and move; no command may have one."""

ALL = ("setup", "standards", "queue", "quality")


class Command(NamedTuple):
    """One command."""

    name: str
    """The method of the bench, and the id in a user's key file."""
    keys: tuple[str, ...]
    """As Textual names them."""
    title: str
    short: str = ""
    """What the footer says; empty keeps it out of the footer."""
    panes: tuple[str, ...] = ALL


COMMANDS: tuple[Command, ...] = (
    Command("help", ("question_mark", "f1"), "help: keys and a day in steps", "help"),
    Command("palette", ("colon", "f9"), "list of commands to choose from", "commands"),
    Command("go_next", ("n", "f8"), "go to the next thing to do", "next"),
    Command("insert", ("i", "insert"), "insert a row here", "insert", ("queue", "standards", "setup")),
    Command("insert_due", ("b",), "insert the blank or check that is due", "due blank/check", ("queue",)),
    Command("reread", ("r",), "read this sample again: a new row, same amounts", "re-read", ("queue",)),
    Command("dilute", ("d",), "read this extract again at the dilution advised", "dilute", ("queue",)),
    Command("why", ("equals_sign", "f7"), "why this number: formula, numbers, source", "why"),
    Command("edit", ("e", "f6"), "edit this cell in place", "edit", ("queue", "standards", "setup")),
    Command("add_reading", ("a",), "add a replicate reading to this row", "", ("queue", "standards", "setup")),
    Command("toggle_use", ("o",), "use this standard or leave it out, with a reason", "use on/off", ("standards",)),
    Command("model", ("m",), "next model for this calibration", "model", ("standards",)),
    Command("weighting", ("w",), "next weighting for this calibration", "weighting", ("standards",)),
    Command("plot", ("p",), "plot of the calibration and its residuals", "plot"),
    Command("void", ("v",), "void this row with a reason, or take that back", "", ("queue",)),
    Command("rezero", ("z",), "this blank was re-zeroed after it was read", "", ("queue",)),
    Command(
        "repeat_held", ("H",), "read held rows again: the shortest order, with the hours left", "", ("queue", "quality")
    ),
    Command("plan", ("P",), "plan a batch from a list of samples", "", ("queue",)),
    Command("row_form", ("g",), "all fields of this row, with its sample as received", "form", ("queue", "standards")),
    Command("facts", ("F",), "facts of the run: people, instrument, solvent, calibrations, batches", "facts"),
    Command("limits", ("L",), "the method's limits in this run", ""),
    Command("new_batch", ("E",), "begin an extraction batch", "", ("queue",)),
    Command("cautions", ("C",), "cautions for the solvent, and what a result is not", ""),
    Command("compare", ("M",), "compare all models and weightings side by side", "compare", ("standards",)),
    Command("what_if", ("I",), "what if: how far results move under another model, blank or level", ""),
    Command("extracts", ("X",), "what is left of each extract, and what the plan still needs", "", ("queue",)),
    Command("search", ("slash",), "find a row", ""),
    Command("filter", ("f",), "show all rows, only unread, flagged, held", "", ("queue",)),
    Command("fill_down", ("quotation_mark",), "fill the cell below with this value", "", ("queue", "standards")),
    Command("action", ("t",), "what was done about this finding", "action taken", ("quality",)),
    Command("note", ("t",), "note on this row", "", ("queue", "standards", "setup")),
    Command("remove", ("x", "delete"), "remove this row, after a question", "", ("queue", "standards", "setup")),
    Command("move_up", ("less_than_sign", "ctrl+up"), "move this row up", "", ("queue", "standards")),
    Command("move_down", ("greater_than_sign", "ctrl+down"), "move this row down", "", ("queue", "standards")),
    Command("jump", ("j",), "go to the row this finding names", "row", ("quality",)),
    Command("history", ("G",), "history: control charts of this folder's runs", ""),
    Command("report", ("R",), "the report as it stands", ""),
    Command("write_report", ("W",), "write the report to a file", ""),
    Command("review", ("V",), "walk a reviewer through the exceptions and one row in ten", ""),
    Command("sign", ("S",), "sign the run off: analyst first, then another person as reviewer", ""),
    Command("undo", ("u", "ctrl+z"), "undo", ""),
    Command("redo", ("U", "ctrl+y"), "redo", ""),
    Command("pane_setup", ("f2",), "setup checks", ""),
    Command("pane_standards", ("f3",), "standard table", ""),
    Command("pane_queue", ("f4",), "sample queue", ""),
    Command("pane_quality", ("f5",), "QC status", ""),
    Command("pane_after", ("right_square_bracket",), "next pane", "pane"),
    Command("pane_before", ("left_square_bracket",), "pane before", ""),
    Command("quit", ("q",), "quit; everything is saved", "quit"),
)

SHOWN = {
    "question_mark": "?",
    "colon": ":",
    "equals_sign": "=",
    "less_than_sign": "<",
    "greater_than_sign": ">",
    "right_square_bracket": "]",
    "left_square_bracket": "[",
    "insert": "Ins",
    "delete": "Del",
    "slash": "/",
    "quotation_mark": '"',
}
"""How a key is written where its name is long."""


def shown(key: str) -> str:
    """Write a key as a person would."""
    return SHOWN.get(key, key.upper() if len(key) > 1 and key[1:].isdigit() else key.replace("ctrl+", "^"))


def bindings(pane: str, commands: Sequence[Command] = COMMANDS) -> dict[str, Command]:
    """Give the commands that work in a pane, by key."""
    return {key: command for command in commands if pane in command.panes for key in command.keys}


def customised(text: str) -> tuple[tuple[Command, ...], list[Problem]]:
    """Give the commands with the keys of a user's key file, and what is wrong with that file.

    The file is TOML: a command's name and its keys, as `dilute = ["d", "f12"]`. A line that names no command, is no
    list of keys, or takes a key another command has in the same pane is a problem, and that command keeps its keys.
    """
    data, problems = tables.parse(text)
    commands = list(COMMANDS)
    places = {command.name: at for at, command in enumerate(commands)}
    for name, given in (data or {}).items():
        if name not in places:
            near = difflib.get_close_matches(name, places, n=1)
            problems.append(Problem(name, f"is no command{f'; did you mean {near[0]}?' if near else ''}"))
        elif not isinstance(given, list) or not given or not all(isinstance(key, str) and key for key in given):
            problems.append(Problem(name, 'expected a list of keys, as ["d", "f12"]'))
        else:
            changed = commands[places[name]]._replace(keys=tuple(given))
            if clash := _clash(changed, commands):
                problems.append(Problem(name, clash))
            else:
                commands[places[name]] = changed
    return tuple(commands), problems


def _clash(changed: Command, commands: Sequence[Command]) -> str:
    """Say which other command has one of the keys in one of the panes, or that typing needs it."""
    for key in changed.keys:
        if key.isdigit() or key in RESERVED:
            return f"{key} is needed for typing and moving"
        for other in commands:
            if other.name != changed.name and key in other.keys and set(other.panes) & set(changed.panes):
                return f"{key} is the key of {other.name}"
    return ""


def footer(pane: str, width: int, commands: Sequence[Command] = COMMANDS) -> str:
    """Write the commands of a pane that fit a line."""
    told = [command for command in commands if command.short and pane in command.panes]
    last = next(f"  {shown(command.keys[0])} {command.short}" for command in told if command.name == "quit")
    text = ""
    for command in told:
        more = f"{'  ' if text else ''}{shown(command.keys[0])} {command.short}"
        if command.name != "quit" and len(text) + len(more) + len(last) <= width:
            text += more
    return text + last


def table(commands: Sequence[Command] = COMMANDS) -> list[tuple[str, str, str]]:
    """Give every command as keys, title and panes, for the help."""
    return [
        (" ".join(map(shown, command.keys)), command.title, "" if command.panes == ALL else ", ".join(command.panes))
        for command in commands
    ]
