"""What is wrong with a document, as data.

Owns: `Problem`, which the reader, the method loader and the command line all speak.
Invariant: a problem names its place; a line number is given only where it is known, since a made-up number is
worse than none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable

Level = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a document."""

    path: str
    """Where, as `queue[3].dilution`, counted from 1; empty for the document as a whole."""
    message: str
    """What was expected and what was found."""
    level: Level = "error"
    line: int | None = None
    """The line in the text, counted from 1, where it is known."""

    @property
    def words(self) -> str:
        """Place, line where known, and message, without the level."""
        return ": ".join(filter(None, (self.path, f"line {self.line}" if self.line else "", self.message)))

    def __str__(self) -> str:
        """One line for a person: level, line where known, place, message."""
        line = f"line {self.line}: " if self.line else ""
        path = f"{self.path}: " if self.path else ""
        return f"{self.level}: {line}{path}{self.message}"


def has_errors(problems: Iterable[Problem]) -> bool:
    """Whether any of the problems makes the document unfit to compute from."""
    return any(problem.level == "error" for problem in problems)
