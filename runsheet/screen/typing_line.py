"""One line being typed.

Owns: the text and the caret of an entry, in a cell or at a prompt. Invariant: only printable characters get in, and
what a key does here is the same everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

STRANGE = "¡™£¢∞§¶•ªº\u2013≠"
"""What some terminals send for Alt and a digit; never meant."""


def agreed(answer: str) -> bool:
    """Whether a question was answered with yes."""
    return answer.strip().lower() in ("y", "yes")


@dataclass
class TypingLine:
    """A line with a caret; `caret` counts from 0 and may stand after the last character."""

    text: str = ""
    caret: int = 0
    proposed: bool = False
    """Whether the text is only a proposal, which the first character typed replaces."""

    @classmethod
    def holding(cls, text: str, *, proposed: bool = False) -> TypingLine:
        """Start with a text, the caret at its end."""
        return cls(text, len(text), proposed)

    def put(self, characters: str) -> None:
        """Insert characters at the caret."""
        if self.proposed:
            self._clear()
        good = "".join(c for c in characters if c.isprintable() and c not in STRANGE)
        self.text = self.text[: self.caret] + good + self.text[self.caret :]
        self.caret += len(good)

    def key(self, name: str, character: str | None) -> bool:
        """Take a key; say whether it meant anything here."""
        if move := _MOVES.get(name):
            self.proposed = False
            move(self)
            return True
        if character is not None and character.isprintable() and character not in STRANGE:
            self.put(character)
            return True
        return False

    def _back(self) -> None:
        if self.caret:
            self.text = self.text[: self.caret - 1] + self.text[self.caret :]
            self.caret -= 1

    def _delete(self) -> None:
        self.text = self.text[: self.caret] + self.text[self.caret + 1 :]

    def _left(self) -> None:
        self.caret = max(0, self.caret - 1)

    def _right(self) -> None:
        self.caret = min(len(self.text), self.caret + 1)

    def _home(self) -> None:
        self.caret = 0

    def _end(self) -> None:
        self.caret = len(self.text)

    def _clear(self) -> None:
        self.text, self.caret, self.proposed = "", 0, False

    def window(self, width: int) -> tuple[str, int]:
        """The part of the text around the caret that fits, and where the caret stands in it."""
        start = max(0, self.caret - width + 1)
        return self.text[start : start + width], self.caret - start


_MOVES = {
    "backspace": TypingLine._back,  # noqa: SLF001 - the table of this class's own moves
    "ctrl+h": TypingLine._back,  # noqa: SLF001
    "delete": TypingLine._delete,  # noqa: SLF001
    "left": TypingLine._left,  # noqa: SLF001
    "right": TypingLine._right,  # noqa: SLF001
    "home": TypingLine._home,  # noqa: SLF001
    "end": TypingLine._end,  # noqa: SLF001
    "ctrl+u": TypingLine._clear,  # noqa: SLF001
}
