"""Every command of the screen, once.

Owns: what a command is called, its keys, where it works. A row here feeds keys, footer, palette and help, and names
the function that does it, so that they cannot disagree. Invariant: no key is bound twice in one
pane, every function key has a second way, and nothing is lost by a single slip of the finger.
"""

from __future__ import annotations

import difflib
import importlib
import re
import unicodedata
from typing import TYPE_CHECKING, NamedTuple

from runsheet import tables
from runsheet.problem import Problem

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runsheet.screen.context import Context

RESERVED = (
    "enter", "ctrl+j", "escape", "tab", "shift+tab", "up", "down", "left", "right", "home", "end", "pageup", "pagedown",
    "backspace", "plus", "minus", "full_stop", "comma",
)  # fmt: skip
"""Keys that type and move; no command may have one."""

ALL = ("setup", "standards", "queue", "quality")
ROWS = ("queue", "standards", "setup")
QUEUE, STANDARDS = ("queue",), ("standards",)


class Command(NamedTuple):
    """One command."""

    name: str
    """What a user's key file calls it."""
    keys: tuple[str, ...]
    """As Textual names them."""
    does: str
    """The module of the screen and its function, loaded when first used: the first frame needs none."""
    title: str
    short: str = ""
    """What the footer says; empty keeps it out of the footer."""
    panes: tuple[str, ...] = ALL

    def run(self, context: Context) -> None:
        """Do it."""
        module, _, name = self.does.partition(":")
        getattr(importlib.import_module(f"runsheet.screen.{module}"), name)(context)


COMMANDS: tuple[Command, ...] = (
    Command("help", ("question_mark", "f1"), "looking:show_help", "help: keys and a day in steps", "help"),
    Command("palette", ("colon", "f9"), "moving:palette", "list of commands to choose from", "commands"),
    Command("go_next", ("n", "f8"), "moving:go_next", "go to the next thing to do", "next"),
    Command("insert", ("i", "insert"), "rows:insert", "insert a row here", "insert", ROWS),
    Command(
        "insert_due",
        ("b",),
        "rows:insert_due",
        "insert the blank or check standard due",
        "due blank/check",
        QUEUE,
    ),
    Command("reread", ("r",), "rows:reread", "read this sample again: a new row, same amounts", "re-read", QUEUE),
    Command("dilute", ("d",), "rows:dilute", "read this extract again at the dilution advised", "dilute", QUEUE),
    Command("why", ("equals_sign", "f7"), "looking:why", "why this number: formula, numbers, source", "why"),
    Command("stands_on", ("s",), "looking:stands_on_page", "what this result stands on, what affects it", "", QUEUE),
    Command("edit", ("e", "f6"), "editing:edit_cell", "edit this cell in place", "edit", ROWS),
    Command("add_reading", ("a",), "editing:add_reading", "add a replicate reading to this row", "", ROWS),
    Command(
        "toggle_use",
        ("o",),
        "standards:toggle_use",
        "use this standard or leave it out, with a reason",
        "use on/off",
        STANDARDS,
    ),
    Command("model", ("m",), "standards:model", "next model for this calibration", "model", STANDARDS),
    Command("weighting", ("w",), "standards:weighting", "next weighting for this calibration", "weighting", STANDARDS),
    Command("plot", ("p",), "looking:plot", "plot of the calibration and its residuals", "plot"),
    Command(
        "swap",
        ("y",),
        "swapping:swap",
        "exchange what was read as this row and another, with a reason",
        "",
        ("queue", "standards"),
    ),
    Command(
        "strike",
        ("k",),
        "swapping:strike",
        "strike out one filling of this row with a reason; it stays in sight",
        "",
        ("queue", "standards"),
    ),
    Command(
        "take_next",
        ("T",),
        "receiving:await_next",
        "take the photometer's next number for this row without Enter",
        "",
        ROWS,
    ),
    Command(
        "lines", ("l",), "receiving:list_lines", "lines of the photometer: what became of each; choose, throw away"
    ),
    Command("void", ("v",), "rows:void", "void this row with a reason, or take that back", "", QUEUE),
    Command("rezero", ("z",), "rows:rezero", "this blank was re-zeroed after it was read", "", QUEUE),
    Command(
        "repeat_held",
        ("H",),
        "planning:repeat_held",
        "read held rows again: the shortest order, with the hours left",
        "",
        ("queue", "quality"),
    ),
    Command("plan", ("P",), "sample_lists:plan", "plan a batch from a list of samples", "", QUEUE),
    Command(
        "row_form",
        ("g",),
        "forms:row",
        "all fields of this row, with its sample as received",
        "form",
        ROWS,
    ),
    Command(
        "facts", ("F",), "forms:facts", "facts of the run: people, instrument, solvent, calibrations, batches", "facts"
    ),
    Command("limits", ("L",), "forms:limits", "the method's limits in this run", ""),
    Command("new_batch", ("E",), "another:batch", "begin an extraction batch", "", QUEUE),
    Command(
        "new_calibration",
        ("N",),
        "another:calibration",
        "another calibration from the last one's levels: other cell, other lots",
    ),
    Command("lamp", ("K",), "another:setup_checks", "the lamp was off: another warm-up and its setup checks"),
    Command("cautions", ("C",), "looking:cautions", "cautions for the solvent, and what a result is not", ""),
    Command(
        "compare", ("M",), "planning:compare", "compare all models and weightings side by side", "compare", STANDARDS
    ),
    Command(
        "what_if", ("I",), "planning:what_if", "what if: how far results move under another model, blank or level", ""
    ),
    Command(
        "extracts",
        ("X",),
        "planning:extracts",
        "what is left of each extract, and what the plan still needs",
        "",
        QUEUE,
    ),
    Command("search", ("slash",), "searching:search", "find a row", ""),
    Command("filter", ("f",), "searching:turn_filter", "show all rows, only unread, flagged, held", "", QUEUE),
    Command(
        "fill_down",
        ("quotation_mark",),
        "pasting:fill_down",
        "fill the cell below with this value",
        "",
        ("queue", "standards"),
    ),
    Command("action", ("t",), "changing:action", "what was done about this finding", "action taken", ("quality",)),
    Command("note", ("t",), "changing:note", "note on this row", "", ROWS),
    Command("remove", ("x", "delete"), "changing:remove", "remove this row, after a question", "", ROWS),
    Command(
        "move_up", ("less_than_sign", "ctrl+up"), "changing:move_up", "move this row up", "", ("queue", "standards")
    ),
    Command(
        "move_down",
        ("greater_than_sign", "ctrl+down"),
        "changing:move_down",
        "move this row down",
        "",
        ("queue", "standards"),
    ),
    Command("jump", ("j",), "moving:jump", "go to the row this finding names", "row", ("quality",)),
    Command("history", ("G",), "history_pages:open_history", "history: control charts of this folder's runs", ""),
    Command("across", ("A",), "history_pages:search", "find a sample, lot, person or photometer across runs", ""),
    Command("report", ("R",), "looking:report", "the report as it stands", ""),
    Command("write_report", ("W",), "looking:write_report", "write the report to a file", ""),
    Command("review", ("V",), "reviewing:review", "walk a reviewer through the exceptions and one row in ten", ""),
    Command("sign", ("S",), "changing:sign", "sign the run off: analyst first, then another person as reviewer", ""),
    Command("issue", ("O",), "issuing:issue", "issue the report of the signed run, under its number", ""),
    Command("undo", ("u", "ctrl+z"), "changing:undo", "undo", ""),
    Command("redo", ("U", "ctrl+y"), "changing:redo", "redo", ""),
    Command("pane_setup", ("f2",), "moving:to_setup", "setup checks", ""),
    Command("pane_standards", ("f3",), "moving:to_standards", "standard table", ""),
    Command("pane_queue", ("f4",), "moving:to_queue", "sample queue", ""),
    Command("pane_quality", ("f5",), "moving:to_quality", "QC status", ""),
    Command("pane_after", ("right_square_bracket",), "moving:to_pane_after", "next pane", "pane"),
    Command("pane_before", ("left_square_bracket",), "moving:to_pane_before", "pane before", ""),
    Command("quit", ("q",), "leaving:leave", "quit; asks first where something is not on the disk", "quit"),
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


def of(name: str, commands: Sequence[Command] = COMMANDS) -> str:
    """The first key of a command, by its name, as a person would write it."""
    return shown(next(command.keys[0] for command in commands if command.name == name))


SAID = {
    "{} reads it": "dilute",
    "it again with {}": "reread",
    "it again ({})": "reread",
    "{} begins another": "new_calibration",
    "{} plans the shortest": "repeat_held",
    "{} notes what was done": "action",
    "({} in the QC pane)": "action",
    "first row with {}": "insert",
    "{} in the standard table": "insert",
    "press {} to insert": "insert",
    "{} inserts a row": "insert",
    "{} inserts it again": "insert",
    "{} plans one": "plan",
    "{} issues the report": "issue",
    "{} reviews": "review",
    "{} goes on": "review",
    "{} types it again": "review",
    "{} signs": "sign",
    "{} shows the charts": "history",
    "{} shows all cautions": "cautions",
    "{} edits these facts": "facts",
    "({} has the step)": "facts",
    "void ({})": "void",
    "the row ({})": "void",
    "out ({})": "toggle_use",
    "changed with {}": "edit",
    "{} says how": "why",
    "{} goes to the next": "go_next",
    "{} takes it back": "undo",
    "{} lists what came": "lines",
    "older: {})": "lines",
}
"""How a sentence names a key, and the command it is of."""
_OURS = {phrase.format(of(name)): (phrase, name) for phrase, name in SAID.items()}
_SAID = re.compile("|".join(rf"(?<!\w){re.escape(phrase)}" for phrase in _OURS))


def in_words(text: str, commands: Sequence[Command]) -> str:
    """A sentence of ours with the user's own keys: rooms below this one know no key file."""
    if commands is COMMANDS:  # as most have them; each line painted is asked
        return text

    def own(found: re.Match[str]) -> str:
        phrase, name = _OURS[found[0]]
        return phrase.format(of(name, commands))

    return _SAID.sub(own, text)


def bindings(pane: str, commands: Sequence[Command] = COMMANDS) -> dict[str, Command]:
    """The commands that work in a pane, by key."""
    return {key: command for command in commands if pane in command.panes for key in command.keys}


def customised(text: str) -> tuple[tuple[Command, ...], list[Problem]]:
    """The commands with the keys of a user's key file, and what is wrong with that file.

    The file is TOML: a command's name and its keys, as `dilute = ["d", "f12"]`. A line that names no command, is no
    list of keys, or takes a key another command has in the same pane is a problem, and that command keeps its keys. All
    lines together are looked at, so that two commands may exchange theirs.
    """
    data, problems = tables.parse(text)
    commands = {command.name: command for command in COMMANDS}
    for name, given in (data or {}).items():
        if name not in commands:
            near = difflib.get_close_matches(name, commands, n=1)
            problems.append(Problem(name, f"is no command{f'; did you mean {near[0]}?' if near else ''}"))
        elif not isinstance(given, list) or not given or not all(isinstance(key, str) and key for key in given):
            problems.append(Problem(name, 'expected a list of keys, as ["d", "f12"]'))
        elif wrong := next((key for key in given if not _is_key(key)), ""):
            problems.append(Problem(name, f"{wrong} is the name of no key, as f12, ctrl+g or question_mark"))
        else:
            commands[name] = commands[name]._replace(keys=tuple(given))
    own, taken = {command.name: command for command in COMMANDS}, list(commands)
    while taken:  # from the last on; where one keeps its keys, they may clash with another's
        name = taken.pop()
        if commands[name] != own[name] and (clash := _clash(commands[name], commands.values())):
            problems.append(Problem(name, clash))
            commands[name] = own[name]
            taken = list(commands)
    return tuple(commands.values()), problems


def _is_key(key: str) -> bool:
    """Whether some key has this name."""
    from textual.keys import Keys  # not needed by the line by line mode, which reads no key file

    plain = re.sub(r"^((ctrl|shift|alt)\+)+(?=.)", "", key)
    if len(plain) == 1 or plain in {each.value for each in Keys}:
        return True
    try:
        return bool(unicodedata.lookup(plain.replace("_", " ")))
    except KeyError:
        return plain in ("slash", "backslash", "at", "underscore", *RESERVED)  # Textual's own names


def _clash(changed: Command, commands: Iterable[Command]) -> str:
    """Which other command has one of the keys in one of the panes, or that typing needs it."""
    names = {short: name for name, short in SHOWN.items()}
    for key in changed.keys:
        if key.isdigit() or key in RESERVED or key in "+-.,":
            return f"{key} is needed for typing and moving"
        for other in commands:
            theirs = {names.get(each, each) for each in other.keys}
            if other.name != changed.name and names.get(key, key) in theirs and set(other.panes) & set(changed.panes):
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
    """Every command as keys, title and panes, for the help."""
    return [
        (" ".join(map(shown, command.keys)), command.title, "" if command.panes == ALL else ", ".join(command.panes))
        for command in commands
    ]
