"""Cells written together: a pasted block, or one filled down.

Owns: how a block's cells land in the rows and columns from the cursor on. Invariant: a block is one step; a cell that
is no value keeps all of it out, with its place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import counted
from runsheet.run import edit, entry
from runsheet.run.clock import clock_behind
from runsheet.run.edit import EditError
from runsheet.screen.content import Content
from runsheet.screen.context import place_of
from runsheet.work import usual

if TYPE_CHECKING:
    from runsheet.run.edit import Edit
    from runsheet.screen.bench import Bench


def cells(text: str) -> list[list[str]]:
    """Split a pasted block: lines, and tabs (else semicolons, else commas) between cells."""
    lines = text.strip("\n").split("\n")
    mark = next((mark for mark in ("\t", ";") if mark in text), ",")
    return [[cell.strip() for cell in line.split(mark)] for line in lines]


def paste(bench: Bench, text: str) -> None:
    """Show what a pasted block would change, and change it where that is confirmed."""
    if bench.session.read_only or not bench.pane.array:
        bench.say("nothing can be pasted here")
        return
    block = cells(text)
    try:
        edits = _edits(bench, block)
    except EditError as error:
        bench.say(f"not pasted: {error}")
        return
    complaint = next((each for each in edits if isinstance(each, str)), None)
    if complaint is not None:
        bench.say(f"not pasted: {complaint}")
        return
    steps = [each for each in edits if not isinstance(each, str)]
    again = any(each.path.endswith(".readings") and each.old for each in steps)
    lines = [f"{each.path}: {edit.typed(each.old)} -> {edit.typed(each.new)}" for each in steps]
    lines[:0] = usual.of_step(bench.session.run, steps, bench.session.laboratory.dilutions)
    if any(each.path.endswith(".at") for each in steps) and (
        behind := clock_behind(bench.session.run, bench.session.now())
    ):
        lines.insert(0, behind)

    def choose(_: int) -> None:
        bench.close_page()
        question = bench.session.question(steps) or ("Readings taken before are replaced. Why?" if again else "")
        if question:
            bench.ask(question, lambda why: take(why) if why.strip() else bench.say("nothing pasted"), words=True)
        else:
            take("")

    def take(why: str) -> None:
        if bench.commit(steps, f"pasted block: {why.strip()}" if why.strip() else "pasted block"):
            bench.say(f"{counted(len(steps), 'cell')} pasted")

    bench.open_page(Content(f"Paste {counted(len(steps), 'cell')}", lines, choose, whole=True))


def _edits(bench: Bench, block: list[list[str]]) -> list[Edit | str]:
    """The edits of a block, or what is wrong with a cell of it."""
    grid, pane = bench.grid, bench.pane
    columns = [column for column in pane.columns[grid.column :] if column.edits]
    run = bench.session.run
    names = {standard.id for standard in run.standard} | {row.id for row in run.queue}
    found: list[Edit | str] = []
    for down, line in enumerate(block):
        if grid.row + down >= len(grid.items):
            found.append(f"line {down + 1}: there is no row for it")
            break
        place = grid.places[grid.row + down]
        for cell, column in zip(line, columns, strict=False):
            field = column.edits or ""
            parsed = entry.parse(pane.model, field, cell, bench.session.clock())
            if parsed.complaint:
                found.append(f"line {down + 1}, {column.title}: {cell!r}: {parsed.complaint}")
                continue
            edits = bench.session.writing(pane.array, place, field, parsed.value)
            if edits and field == "id" and parsed.value in names:  # a list in another order, or begun at another row
                found.append(
                    f"line {down + 1}, {column.title}: {parsed.value} is another row: paste in the order of the rows"
                )
            found += edits
    return found


def fill_down(bench: Bench) -> None:
    """Write the present cell's value into the cell below, and go there; a reading is never filled."""
    grid = bench.grid
    field = bench.pane.columns[grid.column].edits
    if field in (None, "readings", "id") or grid.row + 1 >= len(grid.items):
        bench.say("nothing to fill down here")
        return
    value = edit.value_at(bench.session.run, place_of(bench, field or ""))
    steps = bench.session.writing(bench.pane.array, grid.places[grid.row + 1], field or "", value)
    if not steps:
        grid.move(rows=1)
    else:
        bench.commit(steps, then=lambda: grid.move(rows=1))
