"""Another calibration, set of setup checks or extraction batch.

Owns: the commands that begin one, and what they ask. Invariant: nothing is changed before the last answer, so that
Escape leaves no trace, and then it is one step.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet.run import entry
from runsheet.run.model import Batch, Calibration, Standard
from runsheet.screen import forms
from runsheet.screen.content import Content
from runsheet.screen.read_only import READ_ONLY
from runsheet.work import another
from runsheet.work.another import Other

if TYPE_CHECKING:
    from runsheet.screen.context import Context

ASKED = (
    ("cell_mm", Calibration, "cell, mm"),
    ("solvent_lot", Calibration, "solvent lot, Enter: as the day's"),
    ("lot", Standard, "lot of its standards"),
)
"""What may be other in a new calibration, one after the other."""


def calibration(context: Context) -> None:
    """Begin another calibration from the levels of the last one, after its cell and lots are asked for."""
    if not context.session.run.calibration:
        context.say("there is no calibration to begin another from: i in the standard table begins one")
    elif context.session.read_only:
        context.say(READ_ONLY)
    else:
        _ask(context, Other())


def _ask(context: Context, other: Other, at: int = 0) -> None:
    """Ask for what is other, one after the other; then make the calibration and go to its first standard."""
    run = context.session.run
    if at == len(ASKED):
        first = len(run.standard)
        if context.commit(another.calibration(run, other)):
            context.activate("standards")
            context.go(first)
        return
    name, model, words = ASKED[at]
    last = run.calibration[-1]
    mine = [each for each in run.standard if each.calibration in (None, last.id)]
    old = getattr(last, name, None) if model is Calibration else next((s.lot for s in reversed(mine) if s.lot), None)
    made = next((n for n, each in enumerate(run.standard, 1) if each in mine and each.stock is not None), None)
    of = made or len(run.standard)  # one that is made from a stock says what a lot of stock is offered for
    array = f"calibration[{len(run.calibration)}]" if model is Calibration else f"standard[{of}]"
    known = mine or model is Calibration
    offers = forms.offered(context, forms.Field(f"{array}.{name}", model, name)) if known else []

    asked = ""

    def answer(text: str) -> str | None:
        nonlocal asked
        parsed = entry.parse(model, name, text.strip(), context.session.clock())
        if parsed.complaint:
            return f"not accepted: {parsed.complaint}"
        chosen = next((offer for offer in offers if offer.text == text.strip()), None)
        if chosen is not None and chosen.doubt and text != asked:
            asked = text
            return f"Enter takes it; unusual: {chosen.doubt}"
        changed: dict[str, Any] = {name: None if parsed.value == old else parsed.value}
        if name == "lot" and chosen is not None:
            changed["of_lot"] = {path.rpartition(".")[2]: new for path, new in chosen.fills.items()}
        _ask(context, other._replace(**changed), at + 1)
        return None

    context.ask(f"{another.calibration_name(run)}: {words}:", answer, entry.shown(old), offers=offers)


def setup_checks(context: Context) -> None:
    """Add another warm-up and its setup checks; Enter on the warm-up starts it."""
    if context.commit(another.setup_checks(context.session.run)):
        context.go_to_next()


def batch(context: Context) -> None:
    """Begin an extraction batch; where the rows so far are one without a name, ask whether it is theirs."""
    run = context.session.run
    if run.batch or not another.orphans(run):
        _name(context, second=bool(run.batch) and len(run.batch) == 1)
        return

    def choose(number: int) -> None:
        context.close_page()
        _name(context, second=number == 0)

    lines = [
        "another batch begins: the rows so far are B1, new ones B2",
        "the rows so far are the batch: note its facts",
    ]
    context.open_page(Content("An extraction batch", lines, choose))


def _name(context: Context, *, second: bool) -> None:
    """Ask what the batch is called, begin it and open its form."""
    run = context.session.run
    taken = [each.id for each in run.batch]
    proposed = another.unused("B", taken if taken or not second else ["B1"])

    def answer(text: str) -> str | None:
        name = text.strip()
        if not name or name in taken:
            return "not accepted: " + (f"there is a batch {name}" if name else "no name typed")
        made = another.batch(context.session.run, name, context.session.now(), second=second)
        at = max(len(taken), int(second)) + 1
        context.commit(made, then=lambda: _form(context, name, at))
        return None

    context.ask("Batch that begins now, name:", answer, proposed)


def _form(context: Context, name: str, at: int) -> None:
    forms.open_form(context, f"Batch {name}", lambda _run: list(forms.fields_of(Batch, f"batch[{at}]")))
