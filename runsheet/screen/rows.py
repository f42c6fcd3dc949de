"""Rows of the queue: inserted, read again, made void, re-zeroed.

Owns: what a row inserted by a command holds and where it goes. Invariant: a new row takes what its neighbours share
and has no reading; ids are never used twice.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any, get_args

from runsheet.compute.amounts import PREPARED
from runsheet.run import edit, entry
from runsheet.run.kinds import ABBREVIATIONS, WORDS, Kind
from runsheet.run.model import ReportingLimits, Row, Setup, SetupKind, Standard
from runsheet.screen.commands import place_of
from runsheet.screen.page import Content
from runsheet.screen.typing_line import TypingLine
from runsheet.work import next_step

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import RowResult
    from runsheet.run.model import Run
    from runsheet.screen.bench import Bench


def word(kind: Kind) -> str:
    """Give a kind of row in words, with its abbreviation."""
    short = ABBREVIATIONS[kind]
    return f"{short:5} {WORDS[kind]}" if short else "      sample"


def unused(run: Run, stem: str) -> str:
    """Give the first id of a stem that no standard and no row has."""
    taken = {standard.id for standard in run.standard} | {row.id for row in run.queue}
    return next(name for number in range(1, len(taken) + 2) if (name := f"{stem}{number}") not in taken)


def _first_unread(run: Run) -> int:
    """Give the number of the first row to read, counted from 1; after the last where none is."""
    return next(
        (at for at, row in enumerate(run.queue, 1) if not row.readings and row.void is None), len(run.queue) + 1
    )


def _put(bench: Bench, at: int, row: Row) -> bool:
    if not bench.commit([edit.insert_row(bench.run_document, "queue", at, row)]):
        return False
    bench.activate("queue")
    bench.go(at - 1)
    return True


def _ask_on(bench: Bench, at: int, fields: list[str]) -> None:
    """Ask for the fields of a new row, one after the other; an empty answer leaves one as it is."""
    if not fields:
        return
    name, rest, row = fields[0], fields[1:], bench.run_document.queue[at - 1]

    def answer(text: str) -> None:
        parsed = entry.parse(Row, name, text.strip(), bench.clock())
        if parsed.complaint:
            bench.say(f"not accepted: {parsed.complaint}")
            _ask_on(bench, at, fields)
            return
        place = f"queue[{at}].{name}"
        if parsed.value is not None and entry.shown(getattr(row, name)) != entry.shown(parsed.value):
            try:
                if not bench.commit([edit.set_value(bench.run_document, place, parsed.value)]):
                    return
            except edit.EditError as error:
                bench.say(f"not accepted: {error}")
                _ask_on(bench, at, fields)
                return
        _ask_on(bench, at, rest)

    bench.ask(f"{row.id}, {ASK_WORDS.get(name, name)}:", answer)
    if bench.prompt is not None:
        bench.prompt.line = TypingLine.holding(entry.shown(getattr(row, name)), proposed=True)
        bench.paint()


ASKS = {
    "sample": ("id", "amount"),
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


def _insert(bench: Bench, kind: Kind) -> None:
    """Insert a row of a kind after the present one, and ask what only the bench knows of it."""
    run = bench.run_document
    at = bench.grid.place + 2 if bench.grid.items else 1
    if _put(bench, at, new_row(run, kind, bench.grid.item)):
        _ask_on(bench, at, list(ASKS.get(kind, ())))


def _insert_event(bench: Bench, kind: Kind) -> None:
    """Insert a blank or check before the next row to read."""
    run = bench.run_document
    _put(bench, _first_unread(run), new_row(run, kind, None))


def new_row(run: Run, kind: Kind, near: RowResult | None) -> Row:
    """Make a row of a kind, with what its neighbours have in common."""
    stem = ABBREVIATIONS[kind] or "X"
    row = Row(id=unused(run, stem), kind=kind)
    if kind == "blank":
        return row
    if kind in ("check", "second-source"):
        return replace(row, expected=_expected(run, kind))
    like = near.row if near is not None and near.amounts is not None else None
    limits = run.method.limits or ReportingLimits()
    petroleum = like.silica_gel if like else (run.method.name or "").startswith("tph") or None
    prepared = kind in PREPARED  # only these are made at the nominal amounts; a bottle is measured
    return replace(
        row,
        amount=limits.nominal_amount if prepared else None,
        extract_ml=limits.nominal_extract_ml,
        dilution=1,
        silica_gel=petroleum,
        batch=like.batch if like else None,
    )


def _expected(run: Run, kind: Kind) -> Any:
    """Give what the last one of the kind was, else for a check a standard near the middle of the curve.

    A second source is certified by its own supplier: nothing is proposed for the first one.
    """
    before = [row.expected for row in run.queue if row.kind == kind and row.expected is not None]
    levels = sorted((s.concentration for s in run.standard if s.concentration), key=float)
    middle = levels[len(levels) // 2] if levels and kind == "check" else None
    return before[-1] if before else middle


def _again(bench: Bench, *, diluted: bool = False) -> None:
    """Read a row's sample again; at the advised dilution where that is asked."""
    place = _to_repeat(bench, diluted=diluted)
    if place is None:
        bench.say("this row is not above the range" if diluted else "this row is not read yet")
        return
    run, item = bench.run_document, bench.sheet.rows[place]
    new = _repeated(run, item, diluted=diluted)
    edits = [edit.insert_row(run, "queue", max(_first_unread(run), place + 2), new)]
    row = item.row
    if row.readings and row.void is None and row.report is not False and item.kind == "sample":
        why = f"read again as {new.id}" + (f", {new.dilution}x" if diluted else "")
        old = f"queue[{place + 1}]"
        edits = [edit.set_value(run, f"{old}.report", value=False), edit.set_value(run, f"{old}.reason", why), *edits]
    if bench.commit(edits):
        bench.go(next(at for at, other in enumerate(bench.run_document.queue) if other.id == new.id))


def _to_repeat(bench: Bench, *, diluted: bool) -> int | None:
    """Give the place of the row meant: the present one, else the one NEXT speaks of; None where neither can be."""
    step = next_step.next_step(bench.sheet)
    places = [bench.grid.place, *([step.row] if step.pane == "queue" else [])]
    for place in places:
        row = bench.sheet.rows[place] if place < len(bench.sheet.rows) else None
        if row is not None and (row.advice if diluted else row.state != "unread"):
            return place
    return None


def _repeated(run: Run, item: RowResult, *, diluted: bool) -> Row:
    """Make the row that reads a row's sample again: same amounts, no reading yet."""
    row = item.row
    dilution = Decimal(item.advice.removeprefix("dilute ").removesuffix("x")) if diluted else row.dilution
    if isinstance(dilution, Decimal) and dilution == dilution.to_integral_value():
        dilution = int(dilution)
    stem = f"{item.sample}-" if item.kind == "sample" else ABBREVIATIONS[item.kind]
    sample = None if item.kind in ("blank", "check", "second-source") else item.sample
    return replace(
        row, id=unused(run, stem), sample=sample, dilution=dilution, readings=(), at=None, void=None,
        report=None, reason=None, rezeroed=None, as_left=None, note=None,
    )  # fmt: skip


# --- commands ---------------------------------------------------------------------------------------------------


def insert(bench: Bench) -> None:
    """Ask which kind of row and insert it before the present one."""
    if bench.active == "queue":
        words = [f"{word(kind)}" for kind in get_args(Kind)]
        _choose(bench, "Insert a row here", words, lambda at: _insert(bench, get_args(Kind)[at]))
    elif bench.active == "setup":
        kinds = get_args(SetupKind)
        _choose(bench, "Insert a setup check", list(kinds), lambda at: _put_below(bench, Setup(check=kinds[at])))
    else:
        standard = Standard(id=unused(bench.run_document, "S"), concentration=0, calibration=_calibration_named(bench))
        _put_below(bench, standard)


def _calibration_named(bench: Bench) -> str | None:
    item = bench.grid.item
    return item.standard.calibration if item is not None else None


def _put_below(bench: Bench, row: Any) -> None:
    at = bench.grid.place + 2 if bench.grid.items else 1
    if bench.commit([edit.insert_row(bench.run_document, bench.pane.array, at, row)]):
        bench.grid.go(at - 1)


def _choose(bench: Bench, title: str, words: list[str], choose: Callable[[int], None]) -> None:
    def chosen(number: int) -> None:
        bench.close_page()
        choose(number)

    bench.open_page(Content(title, words, chosen))


def insert_due(bench: Bench) -> None:
    """Insert the blank or check that is due, before the next row to read."""
    step = next_step.next_step(bench.sheet)
    wanted = step.offer or next_step.offered_kind(bench.sheet.due)
    at = _first_unread(bench.run_document)
    coming = bench.run_document.queue[at - 1].kind if at <= len(bench.run_document.queue) else ""
    _insert_event(bench, "check" if wanted == coming == "blank" else "blank" if wanted == coming == "check" else wanted)


def reread(bench: Bench) -> None:
    """Insert a row that reads this sample again."""
    _again(bench)


def dilute(bench: Bench) -> None:
    """Insert a row that reads this extract at the dilution advised."""
    _again(bench, diluted=True)


def void(bench: Bench) -> None:
    """Make the row void with a reason, or take that back."""
    if bench.grid.item is None:
        return
    row = bench.run_document.queue[bench.grid.place]
    if row.void is not None:
        bench.commit([edit.set_value(bench.run_document, place_of(bench, "void"), None)], "counts again")
        return
    path = place_of(bench, "void")
    bench.ask(f"{row.id} void, because:", lambda text: _with_reason(bench, path, text))


def _with_reason(bench: Bench, path: str, text: str) -> None:
    if not text.strip():
        bench.say("nothing changed: a reason is needed")
    else:
        bench.commit([edit.set_value(bench.run_document, path, text.strip())], text.strip())


def rezero(bench: Bench) -> None:
    """Say that the photometer was re-zeroed on this blank, and what it read then; or take that back."""
    if bench.grid.item is None or bench.grid.item.kind != "blank":
        bench.say("only a solvent blank is re-zeroed")
        return
    path, run = place_of(bench), bench.run_document
    if run.queue[bench.grid.place].rezeroed:
        bench.commit([edit.set_value(run, f"{path}.rezeroed", None), edit.set_value(run, f"{path}.as_left", None)])
        return
    bench.ask(f"{bench.grid.item.id} re-zeroed; it then read (empty for zero):", lambda text: _left(bench, path, text))


def _left(bench: Bench, path: str, text: str) -> None:
    parsed = entry.parse(Row, "as_left", text, bench.clock())
    if parsed.complaint:
        bench.say(f"not accepted: {parsed.complaint}")
        return
    run = bench.run_document
    left = [] if parsed.value is None else [edit.set_value(run, f"{path}.as_left", parsed.value)]
    bench.commit([edit.set_value(run, f"{path}.rezeroed", value=True), *left])
