"""Places of the document in the words of the bench.

Owns: what a field is called in forms, messages and the list of steps. Invariant: the row is named as the screen names
it and a limit as the methods page does; the path stands at the end, for whoever opens the file.
"""

from __future__ import annotations

import re
from dataclasses import is_dataclass
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from runsheet import tables
from runsheet.figures import some
from runsheet.methods.words import AMOUNTS, FRACTIONS
from runsheet.run import edit
from runsheet.run.model import Method

if TYPE_CHECKING:
    from runsheet.problem import Problem
    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

FIELDS = {
    "readings": "reading",
    "at": "time read",
    "id": "name",
    "of": "parent",
    "extract_ml": "extract, mL",
    "added_mg": "added, mg",
    "expected": "certified value, mg/L",
    "cell_mm": "cell, mm",
    "full_g": "bottle full, g",
    "empty_g": "bottle empty, g",
    "density": "density, g/mL",
    "not_sample_ml": "no sample in the bottle, mL",
    "dish_g": "dish, g",
    "wet_g": "dish with the wet portion, g",
    "dry_g": "dish with the dried portion, g",
    "solids_percent": "solids, %",
    "silica_gel": "silica gel used",
    "silica_gel_g": "silica gel, g",
    "use": "used",
    "report": "reported",
    "received_c": "temperature on receipt, C",
    "step": "display step",
    "stock": "stock, mg/L",
    "aliquot_ml": "aliquot, mL",
    "final_ml": "final volume, mL",
    "concentration": "concentration, mg/L",
    "drift": "baseline",
    "verified": "verified in another run, by which second source",
}
"""Where the field's own name is not the bench's word."""
TABLES = {"run": "run", "instrument": "photometer", "solvent": "solvent", "setup": "setup check"}
_ROW = re.compile(r"(\w+)\[(\d+)\](?:\.(\w+))?")


def field(name: str) -> str:
    """A field in words."""
    return FIELDS.get(name, name.replace("_", " "))


def place(run: Run, path: str) -> str:
    """A place in words: `OS-08 dilution` for `queue[19].dilution`."""
    if found := _ROW.fullmatch(path):
        name = _name(run, found[1], int(found[2]))
        return f"{name} {field(found[3])}" if found[3] else name
    if path.startswith("method."):
        return _limit(run, path.split(".")[1:])
    table, _, name = path.partition(".")
    return f"{TABLES.get(table, table)} {field(name)}" if name else TABLES.get(table, table)


def problem(run: Run, found: Problem) -> str:
    """What is wrong, in words, with its place at the end."""
    return f"{place(run, found.path)}: {found.message} ({found.path})" if found.path else found.message


def step(run: Run, edits: tuple[Edit, ...]) -> str:
    """What a step changed, in words; `run` is as it was before the step.

    A row that came or went is named by itself, and one that was changed or moved as it stood at its place just then.
    """
    told: dict[str, None] = {}
    since: list[Edit] = []
    for made in edits:
        if made.action in ("set", "move") and any(each.action != "set" for each in since):
            run, since = edit.apply_each(run, since), []
        if made.action in _DOES:
            told[f"{_DOES[made.action]}{_where(run, made)}"] = None
            since.append(made)
    names = list(told)
    return some(names, 4, ", ")


_DOES = {"set": "", "insert": "inserted ", "remove": "removed ", "move": "moved "}


def _where(run: Run, made: Edit) -> str:
    row = {"insert": made.new, "remove": made.old}.get(made.action)
    found = _ROW.fullmatch(made.path)
    if found and isinstance(row, dict):
        return _called(found[1], int(found[2]), row.get("id") or row.get("check"))
    return place(run, made.path)


def _name(run: Run, array: str, number: int) -> str:
    """The name of the row that stands at a place."""
    rows = getattr(run, array, ())
    row = rows[number - 1] if isinstance(rows, tuple) and number <= len(rows) else None
    return _called(array, number, getattr(row, "id", None) or getattr(row, "check", None))


def _called(array: str, number: int, name: object) -> str:
    """A row by its id or check, else by the table and its number."""
    if array in ("queue", "standard", "setup") and name:
        return str(name)
    word = TABLES.get(array, "row" if array == "queue" else array)
    return f"{word} {name or number}"


def _limit(run: Run, keys: list[str]) -> str:
    """A field of the method: the words of a limit, with its fraction and unit."""
    model: type | None = Method
    for key in keys[:-1]:
        model = _inner(model, key) if model is not None else None
    known = model is not None and keys[-1] in getattr(model, "__dataclass_fields__", {})
    said = tables.said(model, keys[-1]) if model is not None and known else None
    if said is None:
        return f"method {' '.join(map(field, keys))}"
    unit = said.unit.format(unit=run.method.unit, amount=AMOUNTS.get(run.method.unit, ""))
    group = keys[0].replace("check", "check standard") if len(keys) > 1 else ""
    fraction = next((FRACTIONS[key] for key in keys if key in FRACTIONS), "")  # only a batch has limits by fraction
    return f"{fraction or group}: {said.words}{f', {unit}' if unit else ''}"


def _inner(model: type, key: str) -> type | None:
    """The table a field holds, if it holds one."""
    hint: Any = get_type_hints(model).get(key)
    return next((arg for arg in (hint, *get_args(hint)) if isinstance(arg, type) and is_dataclass(arg)), None)
