"""Rows of the queue: inserted, read again, made void, re-zeroed.

Owns: what a row inserted by a command holds and where it goes. Invariant: a new row takes what its neighbours share
and has no reading; ids are never used twice.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, get_args

from runsheet.compute.brackets import asked_for
from runsheet.run import edit, entry
from runsheet.run.kinds import ABBREVIATIONS, CHECK_STANDARDS, CLIENTS, SOLVENT_STANDARDS, WORDS, Kind
from runsheet.run.model import Row, Setup, SetupKind, Standard
from runsheet.screen.content import Content
from runsheet.screen.context import Leave, because, place_of
from runsheet.screen.forms import Field, ask_field
from runsheet.screen.typing_line import agreed
from runsheet.show import findings
from runsheet.work import new_run, next_step, photometer, superseding, to_come, usual
from runsheet.work.new_row import Names, advised, new_row, offer_words, read_again

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.compute.results import RowResult, Sheet
    from runsheet.screen.context import Context
    from runsheet.tables import Number


def word(kind: Kind) -> str:
    """A kind of row in words, with its abbreviation."""
    short = ABBREVIATIONS[kind]
    return f"{short:5} {WORDS[kind]}" if short else "      sample"


def _put(context: Context, at: int, row: Row) -> bool:
    if not context.commit([edit.insert_row(context.session.run, "queue", at, row)]):
        return False
    context.activate("queue")
    context.go(at - 1)
    return True


def _ask_on(context: Context, at: int, fields: list[str]) -> None:
    """Ask for the fields of a new row, one after the other; an empty answer leaves one as it is."""
    if not fields:
        return
    name, rest, row = fields[0], fields[1:], context.session.run.queue[at - 1]
    field = Field(f"queue[{at}].{name}", Row, name)
    label = f"{row.id}, {ASK_WORDS.get(name, name)}"
    stays = Leave(
        lambda: context.say(f"the new row {row.id} stays as it is"), "leaves the new row as it is", covers=False
    )
    ask_field(context, field, label, entry.shown(getattr(row, name)), lambda: _ask_on(context, at, rest), stays)


ASKS = {
    "sample": ("id", "amount"),
    "field-blank": ("id", "amount"),
    "equipment-blank": ("id", "amount"),
    "trip-blank": ("id", "amount"),
    "duplicate": ("of", "amount"),
    "spike": ("of", "amount", "added_mg"),
    "spike-duplicate": ("of", "amount", "added_mg"),
    "control": ("added_mg",),
    "control-duplicate": ("added_mg",),
    "detection-spike": ("added_mg",),
    "capability": ("added_mg",),
    "second-source": ("expected", "lot"),
    "check": ("expected",),
}
"""What is asked of a new row, by kind."""
ASK_WORDS = {
    "id": "name of the sample",
    "amount": "amount measured (mL, g or cm2)",
    "of": "the sample it belongs to",
    "added_mg": "added mg",
    "expected": "its certified mg/L",
    "lot": "its lot",
}


def _insert(context: Context, kind: Kind) -> None:
    """Insert a row of a kind after the present one, and ask what only the context knows of it."""
    run = context.session.run
    at = context.place + 2 if context.item is not None else 1
    near = run.queue[context.place] if context.item is not None else None
    row = new_row(run, kind, Names(run).of(kind), None if kind in SOLVENT_STANDARDS else near)
    if len(run.batch) > 1 and row.batch is None and kind not in SOLVENT_STANDARDS:
        row = replace(row, batch=run.batch[-1].id)  # the one being worked on; a row without a name would be in none
    if _put(context, at, row):
        _ask_on(context, at, list(ASKS.get(kind, ())))


def _insert_event(context: Context, kind: Kind) -> None:
    """Insert a blank or check before the next row to read."""
    run = context.session.run
    row, at = new_row(run, kind, Names(run).of(kind)), to_come.place_of_next(context.session.sheet) + 1
    step = next_step.next_step(context.session.sheet)
    if step.on and step.offer == kind:
        row = replace(row, calibration=step.on)
    if _put(context, at, row) and kind in CHECK_STANDARDS and row.expected is None:
        _ask_on(context, at, ["expected"])


def _again(context: Context, place: int, dilution: Number | None = None) -> None:
    """Read the sample of the row at a place again; at a dilution where that is given."""
    run, item = context.session.run, context.session.sheet.rows[place]
    stem = f"{item.sample}-" if item.kind == "sample" else ABBREVIATIONS[item.kind]
    new = read_again(item.row, Names(run).first(stem), item.sample, dilution)
    step = next_step.next_step(context.session.sheet)
    if step.on and (step.pane, step.row) == ("queue", place):
        new = replace(new, calibration=step.on)
    below = to_come.place_again(context.session.sheet, place)
    old = _reported(context.session.sheet, item)
    edits = [made for at in old for made in superseding.supersede(run, at + 1, new.id)]
    edits.append(edit.insert_row(run, "queue", below + 1, new))

    def go() -> None:
        context.go(next(at for at, other in enumerate(context.session.run.queue) if other.id == new.id))

    context.commit(edits, context.session.own_reason(edits, superseding.why(new.id)) if old else "", go)


def _reported(sheet: Sheet, item: RowResult) -> list[int]:
    """Where the rows stand that a new reading of an item takes the place of: one of a sample and fraction reports."""
    rows = enumerate(sheet.rows) if item.kind in CLIENTS else ()
    return [at for at, row in rows if row.for_client and (row.sample, row.fraction) == (item.sample, item.fraction)]


def _again_asked(context: Context, place: int, dilution: Number | None = None) -> None:
    """Read a sample again, asked about once where that looks like a slip."""
    slip = _slip(context.session.sheet, place, diluted=dilution is not None)

    def answer(text: str) -> None:
        if agreed(text):
            _again(context, place, dilution)
        else:
            context.say("nothing inserted")

    if slip:
        context.ask(f"{slip} y/n:", answer, words=True)
    else:
        _again(context, place, dilution)


def _slip(sheet: Sheet, place: int, *, diluted: bool) -> str:
    """Ask, of a row that was read, whether one more reading of it is meant where that is unlikely; else empty."""
    row = sheet.rows[place]
    if row.kind in SOLVENT_STANDARDS:
        return ""
    what = (row.kind, row.sample, row.fraction)
    unread = (other for other in sheet.rows if other.state == "unread")
    waiting = [other for other in unread if (other.kind, other.sample, other.fraction) == what]
    if waiting:
        return f"{waiting[0].id} waits to read {row.sample} again. Another one?"
    if row.advice and not diluted:
        return f"{row.id} is {row.over}, and d reads it diluted. Read it as it is?"
    return ""


def _to_repeat(context: Context, *, diluted: bool) -> int | None:
    """The place of the row meant: the present one, else the one NEXT speaks of; None where neither can be."""
    step = next_step.next_step(context.session.sheet)
    places = [context.place, *([step.row] if step.pane == "queue" else [])]
    for place in places:
        row = context.session.sheet.rows[place] if place < len(context.session.sheet.rows) else None
        if row is not None and (row.advice if diluted else row.state != "unread"):
            return place
    here = context.session.sheet.rows[context.place : context.place + 1]
    return context.place if diluted and here and here[0].kind not in SOLVENT_STANDARDS else None


# --- commands ---------------------------------------------------------------------------------------------------


def insert(context: Context) -> None:
    """Ask which kind of row and insert it after the present one."""
    if context.active == "queue":
        words = [f"{word(kind)}" for kind in get_args(Kind)]
        _choose(context, "Insert a row here", words, lambda at: _insert(context, get_args(Kind)[at]))
    elif context.active == "setup":
        kinds = get_args(SetupKind)
        _choose(context, "Insert a setup check", list(kinds), lambda at: _put_setup(context, kinds[at]))
    else:
        run = context.session.run
        standard = Standard(id=Names(run).first("S"), concentration=0, calibration=_calibration_named(context))
        first = new_run.first_calibration(direct=run.instrument.reads == "concentration")
        _put_below(context, standard, [] if run.calibration else [edit.insert_row(run, "calibration", 1, first)])


def _put_setup(context: Context, check: SetupKind) -> None:
    """Insert a setup check, typed in what the photometer reads."""
    reads = photometer.in_percent(check, context.session.run.instrument.reads)
    _put_below(context, Setup(check=check, reads="transmittance" if reads else None))


def _calibration_named(context: Context) -> str | None:
    item, several = context.item, context.session.run.calibration[1:]
    if item is not None:
        return item.standard.calibration  # type: ignore[no-any-return]
    return several[-1].id if several else None


def _put_below(context: Context, row: Any, before: Sequence[edit.Edit] = ()) -> None:
    """Insert a row of the present table below the cursor, in one step with what it needs to be there `before`."""
    at = context.place + 2 if context.item is not None else 1
    if context.commit([*before, edit.insert_row(context.session.run, context.pane.array, at, row)]):
        context.go(at - 1, same_column=True)


def _choose(context: Context, title: str, words: list[str], choose: Callable[[int], None]) -> None:
    def chosen(number: int) -> None:
        context.close_page()
        choose(number)

    context.open_page(Content(title, words, chosen))


def insert_due(context: Context) -> None:
    """Insert the blank or check that is due, before the next row to read."""
    step = next_step.next_step(context.session.sheet)
    wanted = step.offer or to_come.offered_kind(context.session.sheet.due)
    sheet, at = context.session.sheet, to_come.place_of_next(context.session.sheet)
    coming = sheet.rows[at].kind if at < len(sheet.rows) and sheet.rows[at].state == "unread" else ""
    others = [kind for kind in asked_for(context.session.run.method) if kind != wanted]
    _insert_event(context, others[0] if wanted == coming and others else wanted)


def reread(context: Context) -> None:
    """Insert a row that reads this sample again."""
    place = _to_repeat(context, diluted=False)
    if place is None:
        context.say("this row is not read yet")
    else:
        _again_asked(context, place)


def dilute(context: Context) -> None:
    """Ask for a dilution: of a row not read yet its own, of a read one that of a new row."""
    place = _to_repeat(context, diluted=True)
    if place is None:
        context.say("no extract to dilute here")
        return
    row, asked = context.session.sheet.rows[place], ""
    steps = context.session.laboratory.dilutions
    offered = context.session.dilution_offered(row)

    def answer(text: str) -> str | None:
        nonlocal asked
        parsed = entry.parse(Row, "dilution", text.strip(), context.session.clock())
        if parsed.complaint or parsed.value is None:
            return f"not accepted: {parsed.complaint or 'no dilution typed'}"
        why = usual.why_not(context.session.run, "queue", place, "dilution", parsed.value, steps)
        if why and text != asked and parsed.value != advised(row):
            asked = text
            return f"Enter takes it; unusual: {why}"
        if row.state == "unread":
            context.commit([edit.set_value(context.session.run, f"queue[{place + 1}].dilution", parsed.value)])
        else:
            _again_asked(context, place, parsed.value)
        return None

    told = f"diluted {offer_words(row, offered)}. Enter, or type another" if row.advice else "dilution"
    context.ask(f"{row.id}: {told}:", answer, entry.shown(offered))


def void(context: Context) -> None:
    """Make the row void with a reason, or take that back."""
    if context.item is None:
        return
    row = context.session.run.queue[context.place]
    if row.void is not None:
        edits = [edit.set_value(context.session.run, place_of(context, "void"), None)]
        context.commit(edits, context.session.own_reason(edits, "counts again"))
        return
    path = place_of(context, "void")
    told = findings.if_voided(context.item, context.session.sheet)
    label = f"{row.id} {told}: voiding it is a finding. Because:" if told else f"{row.id} void, because:"
    because(context, label, lambda why: context.commit([edit.set_value(context.session.run, path, why)], why))


def rezero(context: Context) -> None:
    """Say that the photometer was re-zeroed on this blank, and what it read then; or take that back."""
    if context.item is None or context.item.kind != "blank":
        context.say("only a solvent blank is re-zeroed")
        return
    path, run = place_of(context), context.session.run
    if context.item.state == "unread" and not context.item.row.rezeroed:
        context.say(f"{context.item.id} is not read yet")
        return
    if run.queue[context.place].rezeroed:
        context.commit([edit.set_value(run, f"{path}.rezeroed", None), edit.set_value(run, f"{path}.as_left", None)])
        return
    context.ask(f"{context.item.id} re-zeroed; it then read (empty for zero):", lambda text: _left(context, path, text))


def _left(context: Context, path: str, text: str) -> None:
    parsed = entry.parse(Row, "as_left", text, context.session.clock())
    if parsed.complaint:
        context.say(f"not accepted: {parsed.complaint}")
        return
    run = context.session.run
    left = [] if parsed.value is None else [edit.set_value(run, f"{path}.as_left", parsed.value)]
    context.commit([edit.set_value(run, f"{path}.rezeroed", value=True), *left])


def insert_blank(context: Context) -> None:
    """Insert a blank before the next row to read."""
    _insert_event(context, "blank")


def insert_check(context: Context) -> None:
    """Insert a check standard before the next row to read."""
    _insert_event(context, "check")
