"""A page over the panes: text to read, or a list to choose from.

Owns: scrolling, choosing and filtering. Invariant: it closes with Escape or q and leaves everything as it was.
"""

from __future__ import annotations

import textwrap
from dataclasses import replace
from typing import TYPE_CHECKING

from textual.geometry import Offset

from runsheet.figures import visible
from runsheet.screen.canvas import Canvas, Line, clipped

if TYPE_CHECKING:
    from runsheet.screen.content import Content
    from runsheet.screen.style import Look


def _wrapped(line: str, width: int) -> list[str]:
    """Wrap a line under its own beginning; one that fits stays as it is, drawn or not."""
    if len(line) <= width:
        return [line]
    indent = " " * min(len(line) - len(line.lstrip()) + 4, width // 2)
    return textwrap.wrap(line, width, subsequent_indent=indent)


class Page(Canvas):
    """The widget; hidden while it has no content."""

    def __init__(self, look: Look) -> None:
        """Start empty."""
        super().__init__(id="page")
        self.look = look
        self.content: Content | None = None
        self._at = self._top = 0

    def open(self, content: Content, at: int = 0) -> None:
        """Show a page from its top, or with one of its choices under the cursor."""
        if not content.is_list:  # a text is read to its end; a choice is one line
            width = max(20, self.app.size.width)
            wrapped = [part for line in content.texts for part in _wrapped(line, width)]
            content = replace(content, texts=wrapped)
        self.content, self._at, self._top = content, at, 0
        self._drawn = []
        self.paint()

    def _matching(self) -> list[int]:
        """The numbers of the texts the filter lets through."""
        content = self.content
        if content is None:
            return []
        words = content.filter.text.lower().split()
        found = [at for at, text in enumerate(content.texts) if all(word in text.lower() for word in words)]
        first = words[0] if words else ""

        def later(at: int) -> tuple[bool, bool]:
            text = content.texts[at].lower().strip()
            return text.split()[:1] != words[:1], not text.startswith(first)

        # A text that begins with what was typed comes first: DUP before LCSD, which is a "duplicate" too.
        return sorted(found, key=later) if words else found

    def lines(self, width: int, height: int) -> list[Line]:
        """The title, the texts in sight, and how to leave."""
        content = self.content
        if content is None or height < 3:
            return []
        matching = self._matching()
        self._at = max(0, min(self._at, len(matching) - 1))
        room = height - 2
        if content.is_list:
            self._top = max(min(self._top, self._at), self._at - room + 1)
        self._top = max(0, min(self._top, len(matching) - room))
        shown = matching[self._top : self._top + room]
        self.caret = Offset(0, 1 + (self._at - self._top if content.is_list else 0))
        place = f"{min(self._top + room, len(matching))}/{len(matching)}"
        lines: list[Line] = [((clipped(f"{content.title}", width - len(place) - 1) + " " + place, self.look.head()),)]
        for number, at in enumerate(shown):
            here = content.is_list and self._top + number == self._at
            style = self.look.cursor(active=True) if here else self.look.plain()
            lines.append(((clipped(visible(content.texts[at]), width, more=self.look.more), style),))
        lines += [((" " * width, self.look.plain()),)] * (height - 1 - len(lines))
        lines.append(((clipped(self._foot(content), width), self.look.strong()),))
        return lines

    def _foot(self, content: Content) -> str:
        if content.whole:
            return "Enter does all of this, Escape nothing"
        if content.choose is None:
            return content.foot
        return f"Enter chooses, Escape closes, type to filter: {content.filter.text}"

    def key(self, name: str, character: str | None) -> bool:
        """Take a key; say whether the page is done with."""
        content = self.content
        if content is None or name == "escape" or (name == "q" and content.choose is None):
            return True
        if name in ("enter", "ctrl+j"):
            matching = self._matching()
            if content.choose is None or not matching:
                return content.choose is None
            content.choose(matching[max(0, min(self._at, len(matching) - 1))])
            return self.content is content  # a choice may have opened another page
        if step := {"up": -1, "down": 1, "pageup": -self.size.height + 3, "pagedown": self.size.height - 3}.get(name):
            self._at, self._top = self._at + step, self._top + (0 if content.is_list else step)
        elif name in ("home", "end"):
            self._at = self._top = 0 if name == "home" else len(content.texts)
        elif content.is_list and content.filter.key(name, character):
            self._at = 0
        self.paint()
        return False
