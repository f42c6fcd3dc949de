"""What a page over the panes shows, whoever shows it.

Owns: `Content`. Invariant: no widget is named here, so that a command shows a page without knowing how.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from runsheet.screen.typing_line import TypingLine

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


@dataclass
class Content:
    """What a page shows."""

    title: str
    texts: Sequence[str]
    choose: Callable[[int], None] | None = None
    """Called with the number of the text chosen; None for a page that is only read."""
    whole: bool = False
    """Whether the choice is all of it: nothing is chosen from it, and a key typed by mistake does nothing."""
    filter: TypingLine = field(default_factory=TypingLine)
    foot: str = "arrows and page keys scroll; Escape or q closes"
    """How to leave a page that is only read."""

    @property
    def is_list(self) -> bool:
        """Whether one of its texts is chosen."""
        return self.choose is not None and not self.whole
