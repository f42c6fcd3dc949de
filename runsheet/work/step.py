"""The shape of what is to be done next.

Owns: `NextStep`, the names of the panes. Invariant: each has its place and its reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from runsheet.run.kinds import Event

PaneName = Literal["setup", "standards", "queue", "quality"]


class NextStep(NamedTuple):
    """The next thing to do."""

    pane: PaneName
    row: int
    """The row of that pane it is about, from 0."""
    words: str
    why: str
    offer: Event | None = None
    """The kind of row to insert, where one falls due."""
    on: str = ""
    """The calibration that row is to name, where it would else be read on another."""
    done: bool = False
    """Whether nothing is left at the bench: what is next is said by who signed."""
