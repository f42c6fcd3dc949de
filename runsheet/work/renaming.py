"""Another name for a row, a standard, a calibration or a batch.

Owns: where in a document such names stand. Invariant: what named a thing by its old name has the new one in the same
step; words that a person wrote are left as they are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.run import edit
from runsheet.work import superseding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

NAMED = ("queue", "standard", "calibration", "batch")
"""The arrays whose rows have names that others use."""


def edits(run: Run, array: str, place: int, name: str) -> list[Edit]:
    """The edits that give the row at a place of an array, from 0, another name, with all that names it."""
    old = getattr(run, array)[place].id
    paths = [f"{array}[{place + 1}].id", *_paths(run, array, place, old)]
    made = [edit.set_value(run, path, name) for path in paths]
    if array == "queue":
        made += superseding.rename(run, old, name)
    if not any(row.id == old for other in NAMED if other != array for row in getattr(run, other)):
        made += _actions(run, old, name)
    return made


def _paths(run: Run, array: str, place: int, old: str) -> Iterator[str]:
    if array == "queue" and run.queue[place].sample is None:  # a sample has the name of its own row
        yield from _having(run, "sample", "id", old)
        yield from _having(run, "queue", "sample", old)
        yield from _having(run, "queue", "of", old)
    if array in ("queue", "standard"):
        yield from _having(run, "review", "row", old)
    else:
        yield from _having(run, "queue", array, old)
    if array == "calibration":
        yield from _having(run, "standard", array, old)


def _having(run: Run, array: str, field: str, old: str) -> Iterator[str]:
    return (f"{array}[{at}].{field}" for at, row in enumerate(getattr(run, array), 1) if getattr(row, field) == old)


def _actions(run: Run, old: str, name: str) -> list[Edit]:
    """What was done about a finding stays the answer to it."""
    named = [(at, action) for at, action in enumerate(run.action, 1) if old in action.rows]
    new = [[name if row == old else row for row in action.rows] for _, action in named]
    return [edit.set_value(run, f"action[{at}].rows", rows) for (at, _), rows in zip(named, new, strict=True)]
