"""Readings in the wrong place: two rows exchanged, one filling struck out.

Owns: the edits of both. Invariant: no reading is lost; what is struck out stays in the document beside its reason.

A struck filling moves from `readings` to `struck` of its row, with `struck_reason`. So nothing that computes has to
know of it: the row is as if it had not been read, and every table shows it in brackets. The extract it took is gone
all the same. A row's only reading is not struck out: the row is void then.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.run import edit

if TYPE_CHECKING:
    from runsheet.run.edit import Edit
    from runsheet.run.model import Row, Run, Standard

EXCHANGED = ("readings", "at", "struck", "struck_reason")
"""What belongs to the reading and not to what was read."""
OF_BLANKS = ("rezeroed", "as_left")
"""What does between two blanks: nothing else is re-zeroed on."""


def exchange(run: Run, array: str, one: int, other: int) -> list[Edit]:
    """The edits that give each of two rows, counted from 0, what was read as the other, with its time."""
    paths = [f"{array}[{at + 1}]" for at in (one, other)]
    edits = []
    blanks = array == "queue" and all(run.queue[at].kind == "blank" for at in (one, other))
    for name in (*EXCHANGED, *(OF_BLANKS if blanks else ())):
        first, second = (edit.value_at(run, f"{path}.{name}") for path in paths)
        if edit.typed(first) != edit.typed(second):
            edits += [_set(run, f"{paths[0]}.{name}", second), _set(run, f"{paths[1]}.{name}", first)]
    return edits


def _set(run: Run, path: str, value: object) -> Edit:
    return edit.set_value(run, path, value)


def strike(run: Run, array: str, at: int, filling: int, reason: str) -> list[Edit]:
    """The edits that strike out one filling of a row, both counted from 0."""
    row, path = _row(run, array, at), f"{array}[{at + 1}]"
    left = [*row.readings[:filling], *row.readings[filling + 1 :]]
    because = "; ".join(filter(None, (row.struck_reason, reason)))
    return [
        edit.set_value(run, f"{path}.readings", left),
        edit.set_value(run, f"{path}.struck", [*row.struck, row.readings[filling]]),
        edit.set_value(run, f"{path}.struck_reason", because),
    ]


def take_back(run: Run, array: str, at: int, filling: int) -> list[Edit]:
    """The edits that let a struck filling count again."""
    row, path = _row(run, array, at), f"{array}[{at + 1}]"
    left = [*row.struck[:filling], *row.struck[filling + 1 :]]
    edits = [
        edit.set_value(run, f"{path}.readings", [*row.readings, row.struck[filling]]),
        edit.set_value(run, f"{path}.struck", left or None),
    ]
    return edits if left or row.struck_reason is None else [*edits, edit.set_value(run, f"{path}.struck_reason", None)]


def _row(run: Run, array: str, at: int) -> Row | Standard:
    found: Row | Standard = getattr(run, array)[at]
    return found
