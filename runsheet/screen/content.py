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
    filter: TypingLine = field(default_factory=TypingLine)
    foot: str = "arrows and page keys scroll; Escape or q closes"
    """How to leave a page that is only read."""
