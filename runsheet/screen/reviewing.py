"""The reviewer's walk on the screen: rows typed again from the notebook, then the exceptions, one after the other.

Owns: how these are asked for and kept. Invariant: while a walk asks, nothing the sheet holds of a row is in sight, and
rows come first, since an exception may tell a reading; each answer is a step of its own, so leaving loses nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.rules import notebook
from runsheet.figures import counted
from runsheet.review import signing, walk
from runsheet.run import edit, entry
from runsheet.run.disk.lock import login
from runsheet.run.model import Review, Row
from runsheet.screen import keys, pages
from runsheet.screen.content import Content
from runsheet.screen.context import Leave, because
from runsheet.screen.read_only import READ_ONLY
from runsheet.screen.typing_line import agreed

if TYPE_CHECKING:
    from typing import Any

    from runsheet.screen.context import Context

WHAT = (
    "A reviewer types one row in ten again from the notebook and looks at every",
    "exception. The rows are drawn by the sheet's digest; the sheet is covered",
    "meanwhile. Each answer is kept at once; Escape leaves, V goes on.",
    "",
)
SHORT = 16
"""Characters of an id that a question has room for; the page has it in full."""


def review(context: Context) -> None:
    """Ask who reviews and begin the walk, or go on with it."""
    if context.session.read_only:
        context.say(READ_ONLY)
    else:
        context.ask("Reviewer, name:", lambda name: _begin(context, name.strip()), words=True)


def _begin(context: Context, name: str) -> None:
    run = context.session.run
    if why := walk.refusal(run, name, pages.reported(context).audit.entered_by):
        context.say(f"not begun: {why}")
    elif any(signature.role == "reviewer" for signature in signing.standing(run)):
        question = "A reviewer signed this run. Why is it reviewed again?"
        because(context, question, lambda why: Walk(context, name, why).go())
    else:
        Walk(context, name, "").go()


class Walk:
    """One walk, from where the last one was left to the end or to Escape."""

    def __init__(self, context: Context, name: str, why: str) -> None:
        """Take what is left for this reviewer; `why` goes with a change of a run that a reviewer signed."""
        left = walk.remaining(context.session.sheet, pages.reported(context).audit)
        self.context, self.name, self.why = context, name, why
        self.rows, self.exceptions = list(left.rows), list(left.exceptions)
        self.row_count = left.rows_done + len(left.rows)
        self.exception_count = left.exceptions_done + len(left.exceptions)

    def go(self) -> None:
        """Ask the next thing, or end."""
        if self.rows:
            self._ask_row(self.rows[0])
        elif self.exceptions:
            self._ask_exception(self.exceptions[0])
        else:
            self.context.close_page()
            self.context.say(self._done())

    def _ask(
        self, title: str, lines: list[str], label: str, answer: Any, trouble: str = "", *, words: bool = False
    ) -> None:
        content = Content(
            f"Review by {self.name}: {title}", [*(keys.in_words(line, self.context.commands) for line in WHAT), *lines]
        )
        content.foot = "up, down and page keys scroll; Escape leaves the walk"
        self.context.open_page(content)
        self.context.ask(label, answer, leave=Leave(self._leave, "leaves the walk; V goes on"), words=words)
        self.context.say(trouble)

    def _keep(self, **said: Any) -> None:
        context = self.context
        run, now = context.session.run, context.session.now()
        at = login()
        made = Review(by=self.name, at=now, account=at["account"], machine=at["machine"], **said)
        if not context.commit([edit.insert_row(run, "review", len(run.review) + 1, made)], self.why):
            context.close_page()  # the message line says why
            return
        (self.rows if made.row is not None else self.exceptions).pop(0)
        self.go()

    # --- rows -------------------------------------------------------------------------------------------------------

    def _ask_row(self, name: str, trouble: str = "", differing: tuple[Any, ...] = ()) -> None:
        """Ask what the notebook has; `differing` was typed, and is not what the sheet has."""
        row = notebook.rows(self.context.session.run)[name]
        kind = row.kind.replace("-", " ") if isinstance(row, Row) else "standard"
        at = f"{self.row_count - len(self.rows) + 1} of {self.row_count}"
        short = name if len(name) <= SHORT else name[:SHORT] + self.context.look.more
        label = f"{at}, {short} ({kind}), its raw reading from the notebook:"
        lines = [f"{name}, {kind}" + (f", read {row.at:%Y-%m-%d %H:%M}" if row.at else ""), ""]
        lines.append("Type its raw readings as the notebook has them, a space between two.")
        if differing:
            label = "differs: y keeps it as a finding, or type it again:"
            lines += ["", f"Typed {entry.shown(differing)}: that differs from the sheet."]
            lines += ["y keeps it as a finding, for the analyst; or type it again."]
        self._ask(f"row {at}", lines, label, lambda text: self._typed(name, text.strip(), differing), trouble)

    def _typed(self, name: str, text: str, differing: tuple[Any, ...]) -> None:
        if differing and agreed(text):  # what the sheet had is said beside it, whatever becomes of it
            had = notebook.rows(self.context.session.run)[name].readings
            self._keep(row=name, readings=differing, note=f"differed: the sheet had {entry.shown(had)}")
            return
        parsed = entry.parse(Review, "readings", text, self.context.session.clock())
        values = tuple(parsed.value or ())
        if parsed.complaint:
            self._ask_row(name, f"not taken: {parsed.complaint}", differing)
        elif not values:  # an Enter struck twice, too
            self._ask_row(name, "not taken: nothing was typed", differing)
        elif values == notebook.rows(self.context.session.run)[name].readings:
            self._keep(row=name, readings=values)
        else:
            self._ask_row(name, "", values)

    # --- exceptions -------------------------------------------------------------------------------------------------

    def _ask_exception(self, words: str) -> None:
        at = f"{self.exception_count - len(self.exceptions) + 1} of {self.exception_count}"
        label = f"Seen {at}, Enter, or a remark:"
        self._ask(f"exception {at}", [words], label, lambda text: self._seen(words, text), words=True)

    def _seen(self, words: str, remark: str) -> None:
        self._keep(exception=words, note=remark.strip() or None)

    # --- the end ----------------------------------------------------------------------------------------------------

    def _leave(self) -> None:
        self.context.close_page()
        rows, exceptions = counted(len(self.rows), "row"), counted(len(self.exceptions), "exception")
        self.context.say(f"left: {rows} and {exceptions} are open; V goes on")

    def _done(self) -> str:
        differ = [f.rows[0] for f in self.context.session.sheet.quality if f.rule == "review" and f.state == "fail"]
        if differ:
            rows = f"{len(differ)} rows differ" if len(differ) > 1 else "1 row differs"
            return f"{rows}: correct {differ[0]} with its reason, or V types it again"
        seen, typed = counted(self.exception_count, "exception"), counted(self.row_count, "row")
        why = signing.refusal(self.context.session.sheet, self.name, pages.reported(self.context).audit.entered_by)
        return f"{seen} seen, {typed} typed again; {why or 'S signs as reviewer'}"
