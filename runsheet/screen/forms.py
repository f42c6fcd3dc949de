"""Forms: the fields of the document that no table shows.

Owns: which fields a form has and how one is changed. Invariant: the fields follow from the model's annotations, so a
new field is on its form by itself; every change is a step like any other.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from runsheet import tables
from runsheet.figures import counted
from runsheet.methods import solvents
from runsheet.run import edit, entry
from runsheet.run.edit import EditError
from runsheet.run.model import (
    About,
    Batch,
    BlankLimits,
    Calibration,
    Instrument,
    Method,
    Row,
    Sample,
    Setup,
    Solvent,
    Standard,
)
from runsheet.screen import questions
from runsheet.screen.content import Content
from runsheet.screen.context import Leave, because
from runsheet.show import places
from runsheet.work import another, limit_source, offers, photometer, usual
from runsheet.work.renaming import NAMED

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run
    from runsheet.screen.context import Context
    from runsheet.work.offers import Offer


@dataclass(frozen=True)
class Field:
    """One line of a form."""

    path: str
    """Where it stands in the document."""
    model: type
    name: str
    sample: str = ""
    """The sample whose table the first value makes, where there is none yet: a form that is looked at makes none."""


NOT_TYPED = ("sources", "readings", "struck", "log")
"""Fields that have a way of their own; which log a document belongs to is said by that log."""


def fields_of(model: Any, path: str) -> Iterator[Field]:
    """The fields of a table of the document, those of tables within it too."""
    hints = get_type_hints(model)
    for field in fields(model):
        inner = next((arg for arg in (hints[field.name], *get_args(hints[field.name])) if is_dataclass(arg)), None)
        if isinstance(inner, type):
            yield from fields_of(inner, f"{path}.{field.name}")
        elif field.name not in NOT_TYPED:
            yield Field(f"{path}.{field.name}", model, field.name)


def open_form(context: Context, title: str, made: Callable[[Run], list[Field]], at: int = 0) -> None:
    """Show a form; a chosen field is asked for and the form comes back where it was."""
    found = made(context.session.run)
    run = next((_laid(context.session.run, field)[0] for field in found if field.sample), context.session.run)
    names = [places.place(run, field.path) for field in found]
    width = min(max(map(len, names), default=0), NAMES)

    def choose(number: int) -> None:
        field = found[number]
        old = entry.shown(edit.value_at(_laid(context.session.run, field)[0], field.path))
        context.close_page()
        ask_field(context, field, names[number], old, lambda: open_form(context, title, made, number))

    texts = [
        f"{_cut(name, context.look.more):{width}}  {entry.shown(edit.value_at(run, field.path)):18} {field.path}"
        for name, field in zip(names, found, strict=True)
    ]
    context.open_page(Content(title, texts, choose), at)


def _laid(run: Run, field: Field) -> tuple[Run, list[Edit]]:
    """The run with the table a field stands in, and what makes that."""
    if not field.sample or any(each.id == field.sample for each in run.sample):
        return run, []
    made = edit.insert_row(run, "sample", len(run.sample) + 1, Sample(id=field.sample))
    return edit.apply(run, made), [made]


NAMES = 60
"""The widest a name is on a form: at 80 columns its value still stands beside it. It is asked for by its whole name."""


def _cut(name: str, more: str) -> str:
    return name if len(name) <= NAMES else name[: NAMES - 1] + more


def ask_field(
    context: Context, field: Field, name: str, text: str, again: Callable[[], None], leave: Leave | None = None
) -> None:
    """Ask for a field, offering what the house has; `again` is done once it is taken.

    With `leave` it belongs to a step that is taken already, and an empty text leaves what is there.
    """
    found = offered(context, field)
    asked = _Asked(context, field, again, found, keeps=leave is not None)
    context.ask(f"{name}:", asked.answer, text, leave=leave, offers=found)


def offered(context: Context, field: Field) -> list[Offer]:
    """What the laboratory file has for a field."""
    session = context.session
    return offers.offers(session.laboratory, session.run, field.path, session.now().date())


class _Asked:
    """A field that is asked for: a value that is none, or not usual, leaves the question with what was typed."""

    def __init__(
        self, context: Context, field: Field, again: Callable[[], None], found: Sequence[Offer], *, keeps: bool
    ) -> None:
        """Ask for a field; `again` is done once it is taken, `found` is what may be chosen."""
        self.context, self.field, self.again, self.offers = context, field, again, found
        self.keeps = keeps
        """Whether an empty text leaves what is there."""
        self._asked: str | None = None

    def answer(self, text: str) -> str | None:
        """Take the text as the field's value, or say why not."""
        context, field = self.context, self.field
        parsed = entry.parse(field.model, field.name, text.strip(), context.session.clock())
        complaint = parsed.complaint or (refused(field, parsed.value) if parsed.value else "")
        named = _NAME.fullmatch(field.path) if parsed.value else None
        complaint = complaint or (questions.no_name(text) if named else "")
        if complaint:
            return f"not accepted: {complaint}"
        run, first = _laid(context.session.run, field)
        if self.keeps and parsed.value is None:
            self.again()
            return None
        try:
            chosen = next((offer for offer in self.offers if offer.text == text), None)
            plain = [edit.set_value(run, field.path, parsed.value)]
            if named:  # what names the row follows
                plain = context.session.writing(named[1], int(named[2]) - 1, "id", parsed.value)
            made = chosen.edits(run, field.path, parsed.value) if chosen is not None else plain
            made = [*first, *photometer.followed(run, made)]
            edit.apply_all(context.session.run, made)
        except EditError as error:
            return f"not accepted: {'; '.join(places.problem(run, problem) for problem in error.problems)}"
        if text != self._asked:
            why = self._doubt(parsed.value, chosen)
            why = why or ("" if context.session.question(made) else self._unusual(parsed.value))
            if why:
                self._asked = text
                return f"Enter takes it; unusual: {why}"
        asks = _is_limit(field) and parsed.value is not None
        if made == first or (entry.shown(edit.value_at(run, field.path)) == entry.shown(parsed.value) and not chosen):
            self.again()
            return None
        if field.path == "run.analyst" and parsed.value and another.read_by_the_first(run):
            self._another_analyst(parsed.value)
            return None
        why = questions.about_name(context.session, named[1], int(named[2]) - 1, parsed.value) if named else ""
        if why:
            because(self.context, why, lambda reason: self.context.commit(made, reason, self.again))
            return None
        again = self.again if photometer.blank_limit_wanted(run) else partial(_with_blank_limit, context, self.again)
        context.commit(made, then=(lambda: _ask_source(context, field, again)) if asks else again)
        return None

    def _another_analyst(self, name: str) -> None:
        """Ask whose the rows are that were read before somebody else is the analyst."""
        context, run = self.context, self.context.session.run
        old, rows = run.run.analyst, counted(len(another.read_by_the_first(run)), "row")
        ways = {
            f"{name} from now on: the {rows} read so far stay {old}'s": another.analyst(run, name),
            f"{name} all day: {old} is a slip": [edit.set_value(run, "run.analyst", name)],
        }

        def choose(number: int) -> None:
            context.close_page()
            context.commit(list(ways.values())[number], then=self.again)

        context.open_page(Content("Another analyst", list(ways), choose))

    def _doubt(self, value: Any, chosen: Offer | None) -> str:
        """Why a value is asked about whatever else is asked: it is expired, or what stays beside it is another's."""
        fills = chosen.fills if chosen is not None else ()
        doubt = chosen.doubt if chosen is not None else ""
        return doubt or usual.of_another(self.context.session.run, self.field.path, value, fills)

    def _unusual(self, value: Any) -> str:
        session = self.context.session
        found = re.fullmatch(r"(\w+)\[(\d+)\]\.(\w+)", self.field.path)
        if found is None or found[3] == "lot":  # a lot is doubted already
            return ""
        return usual.why_not(session.run, found[1], int(found[2]) - 1, found[3], value, session.laboratory.dilutions)


def _with_blank_limit(context: Context, again: Callable[[], None]) -> None:
    """Ask for the limit on a blank where a change has left the method without one that fits; Enter leaves it so."""
    if not (why := photometer.blank_limit_wanted(context.session.run)):
        again()
        return
    field = Field("method.blank.concentration", BlankLimits, "concentration")
    label = f"{why[0].upper()}{why[1:]}. Its limit in mg/L of extract, Enter: none yet"
    ask_field(context, field, label, "", again, Leave(again, "leaves it without one", covers=False))


def _is_limit(field: Field) -> bool:
    """Whether a field is a limit of the method, which has a source."""
    return field.path.startswith("method.") and tables.said(field.model, field.name) is not None


def _ask_source(context: Context, field: Field, again: Callable[[], None]) -> None:
    """Ask where a limit that was changed comes from; without an answer it is printed as set in this run."""

    def answer(text: str) -> None:
        limit = field.path.removeprefix("method.")
        if text.strip():
            context.commit([edit.set_value(context.session.run, limit_source.path(limit), text.strip())])
        again()

    words = places.place(context.session.run, field.path)
    leave = Leave(again, f"leaves it as {limit_source.HERE}", covers=False)
    context.ask(f"Where does the limit ({words}) come from? Enter: {limit_source.HERE}:", answer, leave=leave)


REASONS = ("void", "reason", "struck_reason")
"""Fields that say why."""
_NAME = re.compile(rf"({'|'.join(NAMED)})\[(\d+)\]\.id")


def refused(field: Field, value: Any) -> str:
    """Why a solvent cannot be used here, a reason is none, or a no would be taken for a second source; or nothing."""
    if field.name == "verified" and str(value).lower() in ("y", "yes", "n", "no", "none", "-"):
        return "name the run and its second source, or leave it empty"
    if field.name in REASONS and not any(character.isalpha() for character in str(value)):
        return "a number is no reason"
    return solvents.refusal(str(value)) if field.path == "solvent.name" else ""


def facts(context: Context) -> None:
    """Open the form of the run, its instrument, solvent, calibrations and batches."""
    open_form(context, "Facts of the run", _facts)


def _facts(run: Run) -> list[Field]:
    found = [*fields_of(About, "run"), *fields_of(Instrument, "instrument"), *fields_of(Solvent, "solvent")]
    for at in range(1, len(run.calibration) + 1):
        found += fields_of(Calibration, f"calibration[{at}]")
    for at in range(1, len(run.batch) + 1):
        found += fields_of(Batch, f"batch[{at}]")
    return found


def limits(context: Context) -> None:
    """Open the form of the method: an edit of it is an edit of this run."""
    open_form(context, "The method's limits in this run", lambda _run: list(fields_of(Method, "method")))


def row(context: Context) -> None:
    """Open the form of the present row: every field, with its sample as received."""
    place, pane = context.place, context.active
    if context.item is None:
        return
    if pane == "queue":
        open_form(context, "This row", lambda run: _row_fields(run, place))
    elif pane == "standards":
        open_form(context, "This standard", lambda run: _standard_fields(run, place))
    elif pane == "setup":
        open_form(context, "This setup check", lambda _run: list(fields_of(Setup, f"setup[{place + 1}]")))


def _standard_fields(run: Run, place: int) -> list[Field]:
    """The fields of a standard and of its calibration."""
    named = run.standard[place].calibration
    mine = next((at for at, each in enumerate(run.calibration, 1) if named in (None, each.id)), None)
    found = list(fields_of(Standard, f"standard[{place + 1}]"))
    return found if mine is None else [*found, *fields_of(Calibration, f"calibration[{mine}]")]


def _row_fields(run: Run, place: int) -> list[Field]:
    read, found = run.queue[place], list[Field]()
    name = read.sample or read.id
    tables_ = [at for at, sample in enumerate(run.sample, 1) if sample.id == name]
    new = name if not tables_ and read.kind == "sample" else ""
    for at in [len(run.sample) + 1] if new else tables_:
        fields_ = fields_of(Sample, f"sample[{at}]")
        found += (replace(each, sample=new) for each in fields_ if each.name != "id")  # its row's name
    return [*fields_of(Row, f"queue[{place + 1}]"), *found]
