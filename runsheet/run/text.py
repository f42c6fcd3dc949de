"""A run document as text: reading and writing it.

Owns: `read`, `write`, and `Pages`, which writes a run again and again. Invariant: `read(write(run))` is `run`; reading
never raises on content and reports every problem with its place.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

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
    data, problems = tables.parse(text)
    if data is None:
        return None, problems
    if refusal := _newer(data):
        return None, [refusal]
    run = tables.table(Run, data, "", problems)
    if run is not None:
        problems += valid.problems(run, _kept(run, data))
    lines = tables.positions(text)
    return run, [
        problem if problem.line else replace(problem, line=tables.line_of(problem.path, lines)) for problem in problems
    ]


def _kept(run: Run, data: dict[str, Any]) -> dict[str, list[int]]:
    """The numbers of the rows that could be read, for the arrays where some could not."""
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
    return Pages().write(run).decode()


class Pages:
    """Writes one run after the other, each row's text only once: a hundred rows cost what one does."""

    def __init__(self) -> None:
        """Start with nothing written."""
        self._written: dict[int, tuple[Any, str]] = {}

    def write(self, run: Run) -> bytes:
        """The document's bytes."""
        known, self._written = self._written, {}
        parts = []
        for field in fields(run):
            value = getattr(run, field.name)
            rows = value if isinstance(value, tuple) else () if value is None else (value,)
            parts += [self._part(field.name, row, isinstance(value, tuple), known) for row in rows]
        return "\n".join(parts).encode()

    def _part(self, name: str, value: Any, is_row: bool, known: dict[int, tuple[Any, str]]) -> str:  # noqa: FBT001
        # By identity: two rows that are equal may differ in how their numbers were typed.
        kept = known.get(id(value))
        if kept is None or kept[0] is not value:
            plain = tables.plain(value) if is_dataclass(value) else value
            kept = (value, _row(name, plain) if is_row else tomli_w.dumps({name: plain}))
        self._written[id(value)] = kept
        return kept[1]


def _row(name: str, plain: dict[str, Any]) -> str:
    """A row of an array under its header; rows within it under theirs, which name both."""
    within = {key: value for key, value in plain.items() if _is_rows(value)}
    head = f"[[{name}]]\n{tomli_w.dumps({key: value for key, value in plain.items() if key not in within})}"
    return "\n".join([head, *(_row(f"{name}.{key}", row) for key, rows in within.items() for row in rows)])


def _is_rows(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
