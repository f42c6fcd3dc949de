"""Finding rows: search, and which rows are shown.

Owns: the filters of the queue and what a search looks at. Invariant: neither changes the run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import counted
from runsheet.screen.grid import Filter

if TYPE_CHECKING:
    from runsheet.screen.bench import Bench

FILTERS = (
    None,
    Filter("unread", lambda row: row.state == "unread"),
    Filter("flagged", lambda row: bool(row.flags)),
    Filter("held or open", lambda row: row.state in ("held", "open")),
)


def turn_filter(bench: Bench) -> None:
    """Show all rows, then only those unread, flagged, held."""
    names = [each and each.name for each in FILTERS]
    now = bench.grid.filter and bench.grid.filter.name
    bench.grid.filter = FILTERS[(names.index(now) + 1) % len(FILTERS)]
    bench.recompute()
    rows = counted(len(bench.grid.items), "row")
    bench.say(f"shown: {bench.grid.filter.name if bench.grid.filter else 'all'}, {rows}")


def search(bench: Bench) -> None:
    """Ask for a text and go to the row of that name, else to the next row that has it in any column.

    Enter alone looks for the last one again.
    """
    bench.ask("Find:", lambda text: _find(bench, text), bench.sought)


def _find(bench: Bench, text: str) -> None:
    bench.sought = text
    grid, columns = bench.grid, bench.pane.columns
    count = len(grid.items)
    named = next((at for at in range(count) if columns[0].text(grid.items[at]) == text), None)
    if named is not None:  # a whole name is that row's, be it the present one: what is typed next is meant for it
        bench.go(grid.places[named])
        return
    for step in range(1, count + 1):
        at = (grid.row + step) % count
        if any(text.lower() in column.text(grid.items[at]).lower() for column in columns):
            grid.move(rows=at - grid.row)
            return
    bench.say(f"{text!r} is in no row shown here")
