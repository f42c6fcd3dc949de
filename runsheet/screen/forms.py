"""Forms: the fields of the document that no table shows.

Owns: which fields a form has and how one is changed. Invariant: the fields follow from the model's annotations, so a
new field is on its form by itself; every change is a step like any other.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

from runsheet.methods import solvents
from runsheet.run import edit, entry
from runsheet.run.edit import EditError
from runsheet.run.model import About, Batch, Calibration, Instrument, Method, Row, Sample, Solvent, Standard
from runsheet.screen.page import Content

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.run.model import Run
    from runsheet.screen.bench import Bench


@dataclass(frozen=True)
class Field:
    """One line of a form."""

    path: str
    """Where it stands in the document."""
    model: type
    name: str


def fields_of(model: Any, path: str) -> Iterator[Field]:
    """Give the fields of a table of the document, those of tables within it too."""
    hints = get_type_hints(model)
    for field in fields(model):
        inner = next((arg for arg in (hints[field.name], *get_args(hints[field.name])) if is_dataclass(arg)), None)
        if isinstance(inner, type):
            yield from fields_of(inner, f"{path}.{field.name}")
        elif field.name not in ("sources", "readings"):
            yield Field(f"{path}.{field.name}", model, field.name)


def open_form(bench: Bench, title: str, made: Callable[[Run], list[Field]], at: int = 0) -> None:
    """Show a form; a chosen field is asked for and the form comes back where it was."""
    run = bench.run_document
    found = made(run)
    width = max((len(field.path) for field in found), default=0)

    def choose(number: int) -> None:
        field = found[number]
        old = entry.shown(edit.value_at(bench.run_document, field.path))
        bench.close_page()
        bench.ask(
            f"{field.path}:",
            lambda text: _answer(bench, field, text, lambda: open_form(bench, title, made, number)),
            old,
        )

    texts = [f"{field.path:{width}}  {entry.shown(edit.value_at(run, field.path))}" for field in found]
    bench.open_page(Content(title, texts, choose), at)


def _answer(bench: Bench, field: Field, text: str, again: Callable[[], None]) -> None:
    parsed = entry.parse(field.model, field.name, text, bench.clock())
    complaint = parsed.complaint or (refused(field, parsed.value) if parsed.value else "")
    if complaint:
        bench.say(f"not accepted: {complaint}")
        return
    try:
        made = edit.set_value(bench.run_document, field.path, parsed.value)
    except EditError as error:
        bench.say(f"not accepted: {error}")
        return
    if bench.commit([made]):
        again()


def refused(field: Field, value: Any) -> str:
    """Say why a solvent cannot be used here, or nothing."""
    return solvents.refusal(str(value)) if field.path == "solvent.name" else ""


def facts(bench: Bench) -> None:
    """Open the form of the run, its instrument, solvent, calibrations and batches."""
    open_form(bench, "Facts of the run", _facts)


def _facts(run: Run) -> list[Field]:
    found = [*fields_of(About, "run"), *fields_of(Instrument, "instrument"), *fields_of(Solvent, "solvent")]
    for at in range(1, len(run.calibration) + 1):
        found += fields_of(Calibration, f"calibration[{at}]")
    for at in range(1, len(run.batch) + 1):
        found += fields_of(Batch, f"batch[{at}]")
    return found


def limits(bench: Bench) -> None:
    """Open the form of the method: an edit of it is an edit of this run."""
    open_form(bench, "The method's limits in this run", lambda _run: list(fields_of(Method, "method")))


def row(bench: Bench) -> None:
    """Open the form of the present row: every field, with its sample as received."""
    place, pane = bench.grid.place, bench.active
    if bench.grid.item is None:
        return
    if pane == "queue":
        _with_sample(bench)
        open_form(bench, "This row", lambda run: _row_fields(run, place))
    elif pane == "standards":
        open_form(bench, "This standard", lambda _run: list(fields_of(Standard, f"standard[{place + 1}]")))


def _with_sample(bench: Bench) -> None:
    """Make the table of the sample as received, where the row reads one from the field and there is none yet."""
    item, run = bench.grid.item, bench.run_document
    if item.kind == "sample" and item.sample not in {sample.id for sample in run.sample} and not bench.read_only:
        bench.commit([edit.insert_row(run, "sample", len(run.sample) + 1, Sample(id=item.sample))])


def _row_fields(run: Run, place: int) -> list[Field]:
    read = run.queue[place]
    found = list(fields_of(Row, f"queue[{place + 1}]"))
    for at, sample in enumerate(run.sample, 1):
        if sample.id == (read.sample or read.id):
            found += fields_of(Sample, f"sample[{at}]")
    return found


def new_batch(bench: Bench) -> None:
    """Begin an extraction batch and open its form."""
    run = bench.run_document
    taken = {batch.id for batch in run.batch}
    name = next(f"B{n}" for n in range(1, len(taken) + 2) if f"B{n}" not in taken)
    at = len(run.batch) + 1
    if bench.commit([edit.insert_row(run, "batch", at, Batch(id=name, started=bench.clock().replace(microsecond=0)))]):
        open_form(bench, f"Batch {name}", lambda _run: list(fields_of(Batch, f"batch[{at}]")))
