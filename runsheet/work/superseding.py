"""A row in the place of another, whose sample it reads again.

Owns: how a row says by which it was superseded. Invariant: what it says stays true whatever is done here: a row that
took the place of another is renamed there too, and gives the place back where it is removed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.run import edit

if TYPE_CHECKING:
    from runsheet.run.edit import Edit
    from runsheet.run.model import Run


def why(by: str) -> str:
    """Why a row no longer reports, in words: the row named `by` reads its sample again."""
    return f"read again as {by}"


def supersede(run: Run, at: int, by: str) -> list[Edit]:
    """The edits by which row number `at` of the queue no longer reports."""
    path = f"queue[{at}]"
    return [edit.set_value(run, f"{path}.report", value=False), edit.set_value(run, f"{path}.reason", why(by))]


def by_row(run: Run, name: str) -> list[int]:
    """The numbers of the rows that no longer report because of the row called `name`."""
    return [at for at, row in enumerate(run.queue, 1) if row.report is False and row.reason == why(name)]


def reports_again(run: Run, name: str) -> list[int]:
    """The numbers of the rows that report again once the row called `name` is removed: none, if it was read again."""
    last = any(row.id == name and row.report is not False for row in run.queue)
    return by_row(run, name) if last else []


def give_back(run: Run, name: str) -> list[Edit]:
    """The edits that leave no row superseded by the one called `name`, which is about to be removed.

    They report again, or are superseded by what it was superseded by itself.
    """
    if again := reports_again(run, name):
        paths = (f"queue[{at}].{field}" for at in again for field in ("report", "reason"))
        return [edit.set_value(run, path, None) for path in paths]
    reason = next((row.reason for row in run.queue if row.id == name), None)
    return [edit.set_value(run, f"queue[{at}].reason", reason) for at in by_row(run, name)]


def rename(run: Run, old: str, new: str) -> list[Edit]:
    """The edits by which rows say the new name of the row that took their place."""
    return [edit.set_value(run, f"queue[{at}].reason", why(new)) for at in by_row(run, old)]
