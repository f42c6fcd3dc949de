"""The rule about what a reviewer typed again from the notebook.

Owns: which entry counts, and when it agrees. Invariant: digits are compared as decimals, exactly, in number and order:
both stand for what one notebook says, so there is no tolerance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.results import Finding

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.rules.computed import Computed
    from runsheet.run.model import Review, Row, Run, Standard


def latest(run: Run) -> dict[str, Review]:
    """The last entry of each row that was typed again, by its id."""
    return {made.row: made for made in run.review if made.row is not None}


def rows(run: Run) -> dict[str, Row | Standard]:
    """The standards and queue rows by id, in the order of the document, without those that are void."""
    found: tuple[Row | Standard, ...] = (*run.standard, *(row for row in run.queue if row.void is None))
    return {row.id: row for row in found}


def review(run: Computed) -> Iterator[Finding]:
    """What a reviewer typed again from the notebook is what the sheet has; void rows are not compared."""
    entries = latest(run.run)
    if not entries:
        return
    void = {row.id for row in run.run.queue if row.void is not None}
    known = rows(run.run)
    for name, made in entries.items():
        if name in known:
            yield _compared(name, made, known[name])
        elif name not in void:
            why = "typed again from the notebook, and no longer in the sheet"
            yield Finding("review", (name,), state="warn", why=why)


def _compared(name: str, made: Review, row: Row | Standard) -> Finding:
    if made.readings == row.readings:
        return Finding("review", (name,), state="pass")
    again, has = (" ".join(map(str, values)) for values in (made.readings, row.readings))
    why = f"typed again from the notebook as {again}, the sheet has {has or 'nothing'}"
    return Finding("review", (name,), state="fail", why=why, read_at=row.at)
