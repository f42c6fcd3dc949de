"""What the sections of a report are made with.

Owns: `Report`, everything a report is made from, and the small makers of tables and facts. Invariant: nothing here
judges; a report made from the same parts is the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet.report.blocks import Facts, Table
from runsheet.review.entries import Audit
from runsheet.review.trail import NO_TRAIL, Trail

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import TypeVar

    from runsheet.compute.results import Sheet
    from runsheet.report.blocks import Block
    from runsheet.review.issue import Issue
    from runsheet.show.columns import Column

    T = TypeVar("T")

DIGITS = 16
"""Of a SHA-256, as many as a person compares."""


NO_LOG = Audit()


@dataclass(frozen=True, slots=True)
class Report:
    """What a report is made from."""

    sheet: Sheet
    audit: Audit = NO_LOG
    """What the edit log tells."""
    charts: tuple[Block, ...] = ()
    """The control charts of the runs this one stands among, ready to read."""
    trail: Trail = NO_TRAIL
    """What the edit log says of the document."""
    issue: Issue | None = None
    """The issue this is the report of; None: it is a draft."""
    no_issue: str = ""
    """Why it is a draft although the document names a report as issued; empty where it names none."""
    short: bool = False
    """Whether it is the client's pages only."""


def table(chosen: Sequence[Column[T]], rows: Sequence[T]) -> Table:
    """Lay rows out by columns."""
    return Table(
        tuple(column.title for column in chosen),
        tuple(tuple(column.text(row) for column in chosen) for row in rows),
        tuple(column.left for column in chosen),
    )


def pick(columns: Sequence[Column[T]], *keys: str) -> list[Column[T]]:
    """Choose columns by their keys."""
    known = {column.key: column for column in columns}
    return [known[key] for key in keys]


def facts(*pairs: tuple[str, object]) -> Facts:
    """The facts that say something."""
    return Facts(tuple((name, str(value)) for name, value in pairs if value not in (None, "")))
