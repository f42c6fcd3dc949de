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
        return Style.null()

    def head(self) -> Style:
        """Titles."""
        return Style(bold=True, underline=True)

    def cursor(self, *, active: bool) -> Style:
        """The cell the cursor is on."""
        return Style(reverse=True) if active else Style(underline=True)

    def entry(self) -> Style:
        """A cell being typed."""
        return Style(reverse=True, bold=True)

    def strong(self) -> Style:
        """What must be seen."""
        return Style(bold=True)

    def state(self, word: str) -> Style:
        """A verdict, a row's state or an urgency."""
        verdict = "fail" if word.startswith("FAIL") else STATE_OF.get(word, word)
        bold = verdict == "fail"
        if not self.colour or verdict not in COLOURS:
            return Style(bold=True) if bold else Style.null()
        return Style(color=COLOURS[verdict], bold=bold)
