"""Colours and glyphs.

Owns: how a state looks, with and without colour, with and without UTF-8. Invariant: a state is always a word or a mark
too; colour only repeats it.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.style import Style

COLOURS = {"pass": "green", "fail": "red", "warn": "yellow", "todo": "cyan"}
STATE_OF = {
    "accepted": "pass",
    "held": "fail",
    "open": "todo",
    "unread": "todo",
    "void": "none",
    "superseded": "none",
    "ok": "pass",
    "soon": "todo",
    "due": "warn",
    "overdue": "fail",
}
"""Row states and urgencies, and the verdict whose colour they take."""

# Made once: a thousand cells are drawn at a key, and neighbours of one style are told by being one object.
PLAIN = Style.null()
STRONG = Style(bold=True)
HEAD = Style(bold=True, underline=True)
CURSOR = Style(reverse=True)
ELSEWHERE = Style(underline=True)
ENTRY = Style(reverse=True, bold=True)
IN_COLOUR = {verdict: Style(color=colour, bold=verdict == "fail") for verdict, colour in COLOURS.items()}


@dataclass(frozen=True)
class Look:
    """What the terminal can show."""

    colour: bool = True
    ascii_only: bool = False

    @property
    def more(self) -> str:
        """The mark of a text that goes on."""
        return ">" if self.ascii_only else "…"

    def plain(self) -> Style:
        """The terminal's own colours, cheapest to send."""
        return PLAIN

    def head(self) -> Style:
        """Titles."""
        return HEAD

    def cursor(self, *, active: bool) -> Style:
        """The cell the cursor is on."""
        return CURSOR if active else ELSEWHERE

    def entry(self) -> Style:
        """A cell being typed."""
        return ENTRY

    def strong(self) -> Style:
        """What must be seen."""
        return STRONG

    def state(self, word: str) -> Style:
        """A verdict, a row's state or an urgency."""
        verdict = "fail" if word.startswith("FAIL") else STATE_OF.get(word, word)
        if not self.colour or verdict not in COLOURS:
            return STRONG if verdict == "fail" else PLAIN
        return IN_COLOUR[verdict]
