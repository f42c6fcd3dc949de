"""A run document as text: reading and writing it.

Owns: `read`, `write`, and `Writer`, which writes a run again and again. Invariant: `read(write(run))` is `run`; reading
never raises on content and reports every problem with its place.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from functools import lru_cache
from typing import Any, NamedTuple

import tomli_w

from runsheet import tables
from runsheet.problem import Problem
from runsheet.run import valid
from runsheet.run.model import Run

FORMAT = 1
"""The format this program writes, and the newest it reads."""


def read(text: str) -> tuple[Run | None, list[Problem]]:
    """Read a run document.

    Returns the run (None where nothing could be made of it) and all problems found, errors and warnings. With an
    error among them the run holds only what could be read and is not to be computed from.
    """
    run, problems = _read(text)
    return run, list(problems)


@lru_cache(maxsize=4)
def _read(text: str) -> tuple[Run | None, tuple[Problem, ...]]:
    """A document is read for the screen, its log, its trail and its signatures: the same text is read once."""
    data, problems = tables.parse(text)
    if data is None:
        return None, tuple(problems)
    if refusal := _newer(data):
        return None, (refusal,)
    run = tables.table(Run, data, "", problems)
    if run is not None:
        problems += valid.problems(run, _kept(run, data))
    return run, tuple(tables.placed(problems, text))


def _kept(run: Run, data: dict[str, Any]) -> dict[str, list[int]]:
    """Give the numbers of the rows that could be read, for the arrays where some could not."""
    kept = {}
    for name, items in data.items():
        rows = getattr(run, name, None)
        if isinstance(rows, tuple) and rows and len(rows) != len(items):
            made = (tables.table(type(rows[0]), item, "", []) for item in items)
            kept[name] = [number for number, row in enumerate(made, 1) if row is not None]
    return kept


def _newer(data: dict[str, Any]) -> Problem | None:
    found = data.get("format")
    if type(found) is int and found > FORMAT:
        return Problem(
            "format", f"the document has format {tables.shown(found)}; this program reads up to format {FORMAT}"
        )
    return None


def write(run: Run) -> str:
    """Write a run document; tables in the order of the model, each row of an array under its own header."""
    return Writer().write(run).decode()


class _Written(NamedTuple):
    """One table of a run as it was last written, or an array with each of its rows."""

    value: Any
    text: str
    rows: dict[int, tuple[Any, str]]
    """By identity: two rows that are equal may differ in how their numbers were typed."""


class Writer:
    """Writes one run after the other, each row's text only once: a hundred rows cost what one does."""

    def __init__(self) -> None:
        """Start with nothing written."""
        self._tables: dict[str, _Written] = {}

    def write(self, run: Run) -> bytes:
        """The document's bytes."""
        parts = []
        for name in _NAMES:
            value = getattr(run, name)
            if value is None or (isinstance(value, tuple) and not value):
                continue
            kept = self._tables.get(name)
            if kept is None or kept.value is not value:
                kept = self._tables[name] = _written(name, value, kept.rows if kept else {})
            parts.append(kept.text)
        return "\n".join(parts).encode()


_NAMES = tuple(field.name for field in fields(Run))


def _written(name: str, value: Any, known: dict[int, tuple[Any, str]]) -> _Written:
    """The text of a table, with that of every row where it is an array; `known` are the rows of the time before."""
    if not isinstance(value, tuple):
        plain = tables.plain(value) if is_dataclass(value) else value
        return _Written(value, tomli_w.dumps({name: plain}), {})
    rows = {id(row): known.get(id(row)) or (row, _row(name, tables.plain(row))) for row in value}
    return _Written(value, "\n".join([rows[id(row)][1] for row in value]), rows)


def _row(name: str, plain: dict[str, Any]) -> str:
    """A row of an array under its header; rows within it under theirs, which name both."""
    within = {key: value for key, value in plain.items() if _is_rows(value)}
    head = f"[[{name}]]\n{tomli_w.dumps({key: value for key, value in plain.items() if key not in within})}"
    return "\n".join([head, *(_row(f"{name}.{key}", row) for key, rows in within.items() for row in rows)])


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
