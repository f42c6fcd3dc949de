"""What the lines above and below the panes say.

Owns: the next thing to do, what is saved, why the cell is what it is, the keys. Invariant: words only, from what the
bench holds; nothing changes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet.figures import readings
from runsheet.screen import keys, panes
from runsheet.show import explain, findings
from runsheet.work.new_row import offer_words
from runsheet.work.next_step import next_step

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult
    from runsheet.screen.bench import Bench
    from runsheet.screen.panes import Pane
    from runsheet.show.columns import Column

SMALLEST = (80, 24)
"""Columns and rows the screen is made for."""


def others(bench: Bench) -> Iterator[tuple[str, Pane[Any]]]:
    """The panes not in sight, with the key that opens each."""
    for pane in panes.PANES:
        if pane.name != bench.active:
            yield keys.of(f"pane_{pane.name}", bench.commands), pane


def next_thing(bench: Bench) -> str:
    """What to do next and why."""
    step = next_step(bench.session.sheet, bench.session.dilution_offered)
    if step.done and bench.session.next_to_sign:
        return f"NEXT {bench.session.next_to_sign}: {step.why}"
    offer = f" with {keys.of('insert_due', bench.commands)}" if step.offer else ""
    return f"NEXT {step.words}{offer}: {step.why}"


def too_small(bench: Bench) -> str:
    """That the screen is smaller than it is made for; empty where it is not."""
    if bench.size.width >= SMALLEST[0] and bench.size.height >= SMALLEST[1]:
        return ""
    return f"this screen needs {SMALLEST[0]}x{SMALLEST[1]}, it has {bench.size.width}x{bench.size.height}"


def trouble(bench: Bench) -> str:
    """Why the run is not saved, or not followed, and where its entries are; empty when all is well."""
    if not bench.session.store.trouble:
        return ""
    return f"NOT {'FOLLOWED' if bench.session.read_only else 'SAVED'}: {bench.session.store.trouble}"


def saved(bench: Bench) -> str:
    """When the run was last saved, or that it is not."""
    if bench.session.store.trouble:
        return "NOT FOLLOWED" if bench.session.read_only else "NOT SAVED"
    if bench.session.read_only:
        return "read-only"
    if bench.session.store.pending:
        return "saving"
    return f"saved {bench.session.store.saved_at:%H:%M:%S}" if bench.session.store.saved_at else "nothing to save"


def cell(bench: Bench) -> str:
    """Explain the present cell in one line."""
    if bench.receiving.cell_words:
        return bench.receiving.cell_words
    item, column = bench.item, bench.pane.columns[bench.grid.column]
    if item is None:
        return ""
    if bench.active == "queue":
        return _row(bench, item, column)
    if bench.active == "quality":
        told = (f"{item.why}{findings.bears_on(item, 4)}", findings.taken(item, bench.session.sheet))
        return "; ".join(filter(None, told))
    return getattr(item, "why", "") or f"{column.title}: {column.text(item)}"


def _row(bench: Bench, row: RowResult, column: Column[RowResult]) -> str:
    if row.advice and row.reports and column.key in ("readings", "reported", "flags"):
        offered = offer_words(row, bench.session.dilution_offered(row))
        return f"{row.id} is {row.over}: d reads it again diluted {offered}"
    if row.row.struck and column.key == "readings":
        return f"{row.id}: {readings(row.row.struck)} struck out: {row.row.struck_reason or 'no reason given'}"
    lines = explain.lines(row, bench.session.sheet, column.key if column.explains else "state")
    return " ".join(line.strip() for line in lines[:2])


def footer(bench: Bench, width: int) -> str:
    """The keys of the pane, or of what is being done."""
    if bench.prompt is not None and bench.prompt.trouble:
        return f"{bench.prompt.trouble}; Escape {bench.prompt.escape}"
    if bench.prompt is not None and bench.prompt.offers:
        whole = bench.prompt.completion
        completes = f"Tab completes {whole.text}, " if whole else ""
        return f"Enter confirms, {completes}Down lists, Escape {bench.prompt.escape}"
    if bench.prompt is not None:
        return f"Enter confirms, Escape {bench.prompt.escape}"
    if bench.editing.asks and bench.editing.received:
        return "Enter takes what was received, Escape leaves it; nothing else is taken"
    if bench.editing.asks:
        return "Enter takes what is typed, Escape goes back to it; nothing else is taken"
    if bench.grid.entry is not None:
        return "Enter accepts and goes on, Tab and arrows accept, Escape puts the old value back"
    if small := too_small(bench):
        return small
    return keys.footer(bench.active, width, bench.commands)
