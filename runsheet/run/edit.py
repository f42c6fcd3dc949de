"""An edit of a run, and a run edited.

Owns: `Edit` and what makes, applies and turns one round. Invariant: applying an edit and then its inverse gives the
same document, digit for digit; an edit that does not fit the run, or would spoil it, raises and changes nothing.
"""

from __future__ import annotations

import functools
import itertools
import json
import re
from dataclasses import dataclass, is_dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables
from runsheet.problem import Problem, has_errors
from runsheet.run import valid
from runsheet.run.model import Run

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ACTIONS = ("set", "insert", "remove", "move")
"""What changes a document. Any other word (`note`, `sign`) is a remark: logged, and nothing changes."""


@dataclass(frozen=True, slots=True)
class Received:
    """What a photometer sent to the cell that a reading was accepted in."""

    port: str
    raw: str
    """The line as it came."""
    typed: bool = False
    """Whether the reading was typed in its place, and is not what was sent."""


@dataclass(frozen=True, slots=True)
class Edit:
    """One change: what stood at a place and what is to stand there, as plain TOML values; None is "not there"."""

    action: str
    path: str
    """`queue[3].readings` or `method.blank.absorbance` for `set`, `queue[3]` for the others; counted from 1."""
    old: Any = None
    """The value or the row that was there; for `move` the row's number."""
    new: Any = None
    """The value or the row to be there; for `move` the number it gets."""
    received: Received | None = None
    """What the photometer had sent, where it sent something: kept by the log, no part of the document."""

    @property
    def changes(self) -> bool:
        """Whether it changes the document, and is no remark."""
        return self.action in ACTIONS


class EditError(ValueError):
    """An edit that does not fit the run or would spoil it; `problems` say where and why."""

    def __init__(self, *problems: Problem) -> None:
        """Take what is wrong."""
        super().__init__("; ".join(f"{problem.path}: {problem.message}" for problem in problems))
        self.problems = problems


# --- making edits -----------------------------------------------------------------------------------------------


def set_value(run: Run, path: str, value: Any) -> Edit:
    """Make the edit that writes `value` (None: nothing) at a field; a table not there yet is made with it."""
    while (parent := _parent(path)) and value_at(run, parent) is None:
        value, path = {_place(path).keys[-1]: value}, parent
    old = value_at(run, path)
    # Read back, so that a default the reader fills in is part of the edit and of its inverse.
    return Edit("set", path, old, value_at(apply(run, Edit("set", path, old, value)), path))


def insert_row(run: Run, array: str, at: int, row: Any) -> Edit:
    """Make the edit that inserts `row` (of the model, or a plain table) as number `at` of an array."""
    path = f"{array}[{at}]"
    new = tables.plain(row) if is_dataclass(row) else row
    return Edit("insert", path, None, value_at(apply(run, Edit("insert", path, None, new)), path))


def remove_row(run: Run, array: str, at: int) -> Edit:
    """Make the edit that removes row number `at` of an array."""
    return Edit("remove", f"{array}[{at}]", value_at(run, f"{array}[{at}]"), None)


def move_row(run: Run, array: str, at: int, to: int) -> Edit:
    """Make the edit that moves row number `at` of an array so that it becomes number `to`."""
    made = Edit("move", f"{array}[{at}]", at, to)
    apply(run, made)
    return made


def value_at(run: Run, path: str) -> Any:
    """The plain TOML value at a path; None where there is none. Raises EditError for a place no run has."""
    place = _place(path)
    found = _item(run, place)
    for key in place.keys:
        found = found.get(key) if isinstance(found, dict) else None
    return found


# --- applying them ----------------------------------------------------------------------------------------------


def apply(run: Run, edit: Edit) -> Run:
    """The run with one edit made. Raises EditError where it does not fit."""
    if edit.action == "set":
        return _set(run, edit)
    return _reorder(run, [edit]) if edit.changes else run


def apply_each(run: Run, edits: Iterable[Edit]) -> Run:
    """The run with edits made in order, those of one array's rows at once. Raises EditError where one does not fit.

    Whether the result could be computed from is not looked at.
    """
    for array, group in itertools.groupby(edits, _reordered_array):
        together = list(group)
        run = _reorder(run, together) if array else functools.reduce(apply, together, run)
    return run


def _reordered_array(edit: Edit) -> str:
    """The array whose rows an edit inserts, removes or moves; empty for any other edit."""
    return _place(edit.path).name if edit.changes and edit.action != "set" else ""


def apply_all(run: Run, edits: Iterable[Edit]) -> Run:
    """The run with the edits of a step made, in order.

    Raises EditError where one does not fit or the result is a document that could not be computed from: what is
    written must be readable tomorrow.
    """
    run = apply_each(run, edits)
    if has_errors(found := valid.problems(run)):
        raise EditError(*(problem for problem in found if problem.level == "error"))
    return run


def inverse(edit: Edit) -> Edit:
    """The edit that takes `edit` back."""
    action = {"insert": "remove", "remove": "insert"}.get(edit.action, edit.action)
    path = edit.path if edit.action != "move" else f"{_place(edit.path).name}[{edit.new}]"
    return Edit(action, path, edit.new, edit.old)


def _set(run: Run, edit: Edit) -> Run:
    place = _place(edit.path)
    _expect(edit, value_at(run, edit.path))
    item = _item(run, place)
    item = _with(item, place.keys, edit.new, edit.path) if place.keys else edit.new
    made = _read(place, item)
    if place.row:
        rows = getattr(run, place.name)
        made = (*rows[: place.row - 1], made, *rows[place.row :])
    return _put(run, place.name, made)


def _put(run: Run, name: str, value: Any) -> Run:
    changed: dict[str, Any] = {name: value}
    return replace(run, **changed)


def _with(item: Any, keys: tuple[str, ...], value: Any, path: str) -> dict[str, Any]:
    """A plain table with `value` at the end of `keys`."""
    if not isinstance(item, dict):
        raise EditError(Problem(path, "expected a table to write into, found none"))
    changed = {**item, keys[0]: _with(item.get(keys[0]), keys[1:], value, path) if keys[1:] else value}
    return {key: kept for key, kept in changed.items() if kept is not None}


def _reorder(run: Run, edits: Sequence[Edit]) -> Run:
    """The run with rows of one array inserted, removed and moved, in order."""
    name = _place(edits[0].path).name
    rows = getattr(run, name)
    rows = list(rows) if isinstance(rows, tuple) else rows
    for edit in edits:
        _change(rows, edit, _place(edit.path))
    return _put(run, name, tuple(rows))


def _change(rows: list[Any], edit: Edit, place: _Place) -> None:
    """Insert, remove or move one row, in place."""
    if place.keys or not place.row:
        raise EditError(Problem(edit.path, "expected a row, as queue[3]"))
    at = place.row - 1
    if not 0 <= at < len(rows) + (edit.action == "insert"):
        raise EditError(Problem(edit.path, f"there are {len(rows)} rows"))
    if edit.action == "insert":
        rows.insert(at, _read(place, edit.new))
    else:
        _expect(edit, place.row if edit.action == "move" else tables.plain(rows[at]))
        row = rows.pop(at)
    if edit.action == "move":
        if type(edit.new) is not int or not 1 <= edit.new <= len(rows) + 1:
            raise EditError(Problem(edit.path, f"cannot become number {typed(edit.new)} of {len(rows) + 1}"))
        rows.insert(edit.new - 1, row)


def _expect(edit: Edit, found: Any) -> None:
    # Compared as typed: 0.130 is not 0.13 here. An empty array is not written, so it is as good as none.
    if typed(found) != typed(None if edit.old == [] else edit.old):
        raise EditError(Problem(edit.path, f"expected {typed(edit.old)}, found {typed(found)}"))


def _read(place: _Place, data: Any) -> Any:
    """Read one table or row as the document's reader would: as the only one of a run that is empty otherwise."""
    if data is None and (place.row or place.name in _BARE):
        raise EditError(Problem(place.name, "is required"))
    problems: list[Problem] = []
    given = {} if data is None else {place.name: [data] if place.row else data}
    made = tables.table(Run, {**_BARE, **given}, "", problems)
    try:
        typed(data).encode()
    except UnicodeEncodeError:
        problems.append(Problem(place.name, "expected text, found characters that cannot be written as UTF-8"))
    if problems:
        raise EditError(*(replace(problem, path=_moved(problem.path, place)) for problem in problems))
    value = getattr(made, place.name)
    return value[0] if place.row else value


_BARE = {"format": 1, "run": {"id": "bare"}}


def _moved(path: str, place: _Place) -> str:
    return path.replace(f"{place.name}[1]", f"{place.name}[{place.row}]", 1) if place.row else path


# --- places -----------------------------------------------------------------------------------------------------


class _Place(NamedTuple):
    name: str
    """The run's field."""
    row: int
    """Counted from 1; 0 where the field is no array of tables."""
    keys: tuple[str, ...]
    """The way from there."""


_PATH = re.compile(r'([a-z_]+)(?:\[([1-9]\d{0,8})\])?((?:\.(?:[\w-]+|"[^"]*"))*)')
_KEY = re.compile(r'\.(?:([\w-]+)|"([^"]*)")')


def _place(path: str) -> _Place:
    found = _PATH.fullmatch(path)
    is_array = isinstance(Run.__dataclass_fields__[found[1]].default, tuple) if found and found[1] in _FIELDS else None
    if not found or is_array is None or is_array != bool(found[2]):
        raise EditError(Problem(path, "expected a place in the run, as queue[3].readings"))
    return _Place(found[1], int(found[2] or 0), tuple(bare or quoted for bare, quoted in _KEY.findall(found[3])))


_FIELDS = frozenset(Run.__dataclass_fields__)


def _parent(path: str) -> str:
    """The path of the table a field stands in; empty for a row or a table of the run itself."""
    place = _place(path)
    if not place.keys:
        return ""
    head = f"{place.name}[{place.row}]" if place.row else place.name
    return head + "".join(f".{_key(key)}" for key in place.keys[:-1])


def _item(run: Run, place: _Place) -> Any:
    value = getattr(run, place.name)
    if place.row:
        if place.row > len(value):
            raise EditError(Problem(f"{place.name}[{place.row}]", f"there are {len(value)} rows"))
        value = value[place.row - 1]
    return tables.plain(value) if is_dataclass(value) else value


# --- values as one line of TOML ---------------------------------------------------------------------------------


def typed(value: Any) -> str:
    """Write a plain TOML value on one line, its digits as they were typed; "nothing" for None."""
    if value is None:
        return "nothing"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list | tuple):
        return f"[{', '.join(typed(item) for item in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_key(key)} = {typed(item)}' for key, item in value.items())}}}"
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, Decimal) and str(value).lstrip("+-").isdecimal():
        return f"{value}.0"  # as the document's writer has it; without the point it would be read as an integer
    return str(value).lower() if isinstance(value, bool) else str(value)


def untyped(text: str) -> Any:
    """Read what `typed` wrote. Raises EditError for other text."""
    data, problems = tables.parse(f"v = {text}")
    if data is None or list(data) != ["v"]:
        raise EditError(*(problems or [Problem("", "expected one TOML value")]))
    return data["v"]


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else typed(key)
