"""What differs between two documents of a run, value by value.

Owns: `changes`. Invariant: pure; two runs that hold the same values have no changes, however they are written,
and every value that differs is in one of them, the whole row where a row came or went.
"""

from __future__ import annotations

import difflib
from dataclasses import fields
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables
from runsheet.run import edit
from runsheet.run.model import Run

if TYPE_CHECKING:
    from collections.abc import Iterator

NAMED_BY = ("id", "check", "number")
"""What a row is recognised by, where it has any of these; else by all it holds."""


class Change(NamedTuple):
    """One value, or one row, that is not what it was."""

    path: str
    """As `queue[3].readings`, or `queue[3]` for a row that came or went; of the later document, of a row that went the
    earlier one's."""
    old: str
    """As one line of TOML; empty where nothing stood."""
    new: str


def changes(before: Run, after: Run) -> tuple[Change, ...]:
    """Every value of `after` that is not what it is in `before`."""
    return tuple(_all(before, after))


def _all(before: Run, after: Run) -> Iterator[Change]:
    for field in fields(Run):
        old, new = getattr(before, field.name), getattr(after, field.name)
        if isinstance(old, tuple):
            yield from _rows(field.name, list(map(tables.plain, old)), list(map(tables.plain, new)))
        else:
            yield from _value(field.name, _plain(old), _plain(new))


def _plain(value: Any) -> Any:
    return tables.plain(value) if hasattr(value, "__dataclass_fields__") else value


def _value(path: str, old: Any, new: Any) -> Iterator[Change]:
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*old, *new]):
            yield from _value(f"{path}.{key}", old.get(key), new.get(key))
    elif _typed(old) != _typed(new):
        yield Change(path, _typed(old), _typed(new))


def _rows(name: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[Change]:
    """The changes of an array: rows are held against those of the same name, in order."""
    had, has = (list(map(_name, rows)) for rows in (old, new))
    for how, first, last, begin, end in difflib.SequenceMatcher(None, had, has, autojunk=False).get_opcodes():
        if how == "equal" or (how == "replace" and last - first == end - begin):
            for at in range(end - begin):
                yield from _value(f"{name}[{begin + at + 1}]", old[first + at], new[begin + at])
            continue
        yield from (Change(f"{name}[{at + 1}]", _typed(old[at]), "") for at in range(first, last))
        yield from (Change(f"{name}[{at + 1}]", "", _typed(new[at])) for at in range(begin, end))


def _name(row: dict[str, Any]) -> str:
    return next((f"{key} {row[key]}" for key in NAMED_BY if key in row), _typed(row))


def _typed(value: Any) -> str:
    return "" if value is None else edit.typed(value)
