"""What a quality rule is, as data.

Owns: `Rule`. Invariant: everything the rest of the program asks about a rule stands here: which limits of the method it
reads, what it marks, whether it tells every verdict. A new rule needs nothing anywhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.compute.results import Finding
    from runsheet.compute.rules.computed import Computed


Point = Literal[
    "times", "weights", "photometer", "blanks", "standards", "second source", "brackets", "batch", "dilutions",
    "corrections", "order", "study",
]  # fmt: skip
"""What reviewers look at first (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One quality rule."""

    name: str
    title: str
    """What it is about, in words."""
    judge: Callable[[Computed], Iterator[Finding]]
    """Its findings; the docstring says the rule."""
    limits: tuple[str, ...] = ()
    """The limits of the method it reads, by their paths below `method`; their words, units and sources follow."""
    source: str = "common practice, no source"
    """Where the rule itself comes from, where no limit of the method says so."""
    point: Point = "order"
    """The reviewer's point it belongs to, which answers it on a report's first page."""
    below: bool = False
    """Whether its value must be below the upper limit; at it, it is not good enough."""
    every_verdict: bool = False
    """Whether it is listed with every verdict; the others only when they warn or fail."""
    passes_counted: bool = False
    """Whether a report counts its passes and does not list them."""
    marks: bool = False
    """Whether its failing is shown at the rows it names."""
    flag: str = "Q"
    """What a failing finding puts on the results it affects; empty where they have another flag, or need none."""
    walked: bool = True
    """Whether a reviewer looks at what it finds."""
    actable: bool = True
    """Whether an action can settle its failing."""

    @property
    def words(self) -> str:
        """The rule in a sentence."""
        return " ".join((self.judge.__doc__ or "").split("\n\n", maxsplit=1)[0].split())
