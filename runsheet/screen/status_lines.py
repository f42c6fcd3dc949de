"""The lines above and below the panes.

Owns: the title line, the other panes' states, the cell's explanation, the next thing to do, what is saved, the keys.
Invariant: the state of saving is always in sight, and the next thing too, save beside a question that covers the sheet.
"""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from rich.cells import cell_len
from textual.geometry import Offset

from runsheet.figures import counted, visible
from runsheet.screen import keys, status_words
from runsheet.screen.canvas import Canvas, Line, clipped
from runsheet.show import state as words

if TYPE_CHECKING:
    from runsheet.screen.bench import Bench
    from runsheet.screen.style import Look


ANSWER = 16
"""Columns kept for an answer beside its question."""


class TitleLine(Canvas):
    """The title line."""

    def __init__(self, bench: Bench, look: Look) -> None:
        """Belong to a bench."""
        super().__init__(id="head")
        self.bench, self.look = bench, look

    def lines(self, width: int, _height: int) -> list[Line]:
        """The run, its state and the time."""
        about, sheet = self.bench.session.run.run, self.bench.session.sheet
        state = f" {words.short(sheet)} "
        right = f" {sheet.now:%H:%M}"
        name = visible(about.id if not about.title else f"{about.id}  {about.title}")
        mode = " read-only" if self.bench.session.read_only else ""
        if rescued := self.bench.session.store.rescued:
            mode += f" {counted(rescued, 'entry', 'entries')} not in the log: rescued"
        trail = self.bench.session.trail
        said = f" {trail.words}" if trail.state in ("changed", "broken") else ""
        after = self.bench.receiving.head
        if self.bench.session.signed:
            after += f" {visible(self.bench.session.signed)}"
        room = max(0, width - len(state) - len(right))
        if trail.state == "changed" and len(about.id + mode + said + after) > room:
            said = " changed outside log"  # its words begin with a whole log, and would be cut there
        mode += said + after
        title = clipped(clipped(name, max(len(about.id), room - len(mode)), more=self.look.more) + mode, room)
        return [((title, self.look.strong()), (state, self.look.state(sheet.state)), (right, self.look.plain()))]


class StatusLines(Canvas):
    """The lines below."""

    def __init__(self, bench: Bench, look: Look) -> None:
        """Belong to a bench."""
        super().__init__(id="foot")
        self.bench, self.look, self._typed = bench, look, 0

    def lines(self, width: int, _height: int) -> list[Line]:
        """The lines, those of the other panes first where they are not in sight."""
        bench, look = self.bench, self.look
        plain = look.plain()
        lines: list[Line] = []
        covered = bench.prompt is not None and bench.prompt.covers
        if bench.wide:
            lines.append((("", plain),))  # for a message of two lines: all panes are in sight
        elif not bench.has_class("low"):
            for key, pane in status_words.others(bench):
                text = "" if covered else f"{key} {pane.title}: {visible(pane.summary(bench.session.sheet))}"
                lines.append(((clipped(text, width, more=look.more), plain),))
        *above, message = self._messages(width)
        more = above[-len(lines) :] if lines else []  # whole: the other panes can wait
        lines[len(lines) - len(more) :] = more
        self.caret = Offset(self._typed, len(lines))
        lines.append(message)
        trouble = wrap(visible(status_words.trouble(bench)), max(1, width))
        saved = status_words.saved(bench)
        told = bench.message if covered else status_words.next_thing(bench)
        next_words = clipped(self._said(told), max(0, width - len(saved) - 1), more=look.more)
        lines.append(((f"{next_words} {saved}", look.strong()),))
        room = len(lines) if not (bench.prompt or bench.message) else len(lines) - 2
        for at, line in enumerate(trouble[:room]):  # whole, with its path: the other panes can wait
            lines[at] = ((line, look.strong()),)
        lines.append(((clipped(keys.in_words(status_words.footer(bench, width), bench.commands), width), plain),))
        return lines

    def _said(self, text: str) -> str:
        """A sentence as it is shown: with the user's own keys, and nothing that a terminal would obey."""
        return visible(keys.in_words(text, self.bench.commands))

    def _messages(self, width: int) -> list[Line]:
        """What was asked, what went wrong, or why the cell is what it is; what is long in several lines."""
        bench, look = self.bench, self.look
        if bench.prompt is not None:
            # Room for what is typed beside the last line of a long question.
            *above, last = wrap(self._said(bench.prompt.label), max(20, width - ANSWER)) or [""]
            label = f"{last} "
            text, caret = bench.prompt.line.window(max(1, width - len(label) - 1))
            self._typed = cell_len(label + text[:caret])
            line = ((label, look.strong()), (clipped(text + "_", max(0, width - len(label))), look.plain()))
            return [*(((clipped(part, width), look.strong()),) for part in above), line]
        if bench.message:
            parts = wrap(self._said(bench.message), max(20, width)) or [""]
            return [((clipped(part, width, more=look.more), look.strong()),) for part in parts]
        return [((clipped(self._said(status_words.cell(bench)), width, more=look.more), look.plain()),)]
