"""What is still to be read, and where in the queue it comes.

Owns: the place of what is read next, the events that come before all else, and those it will stand on. Invariant:
what is said is a place or a kind; what is to be done there is for `next_step` to say.
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from runsheet.run.kinds import EVENTS

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import DueResult, Sheet
    from runsheet.run.kinds import Event


def first_unread(sheet: Sheet, start: int = 0, kinds: Iterable[str] = ()) -> int | None:
    """Where in the queue the first row stands that is to be read, at a place or below, of some kinds; or None."""
    rows, of = sheet.rows, tuple(kinds)
    unread = (at for at in range(start, len(rows)) if rows[at].state == "unread")
    return next((at for at in unread if not of or rows[at].kind in of), None)


def place_of_next(sheet: Sheet) -> int:
    """Where in the queue, from 0, a row belongs that is read next: before the first that is to be read.

    A row passed over is no such one where more was read below it than is left above, or as much as an interval holds:
    what is put before it would stand above what was read before, and a blank or check there would stay due.
    """
    first = first_unread(sheet)
    last = max((at for at, row in enumerate(sheet.rows) if row.signals), default=-1)
    if first is None or last < first:
        return len(sheet.rows) if first is None else first
    below = sum(len(row.signals) for row in sheet.rows[first:] if row.kind not in EVENTS)
    above = sum(row.state == "unread" for row in sheet.rows[first:last])
    every = [due.every_readings for due in sheet.due if due.every_readings is not None]
    return last + 1 if below >= min([above, *every]) else first


def place_again(sheet: Sheet, place: int) -> int:
    """Where in the queue a row belongs that reads the one at a place again: below it, and an event below those read."""
    least = max(place_of_next(sheet), place + 1)
    if sheet.rows[place].kind not in EVENTS:
        return least
    return max(least, *(at + 1 for at, row in enumerate(sheet.rows) if row.kind in EVENTS and row.signals), 0)


def last_events(sheet: Sheet, first: int | None) -> list[int]:
    """Where the last events read stand: of each kind, those what is read next will stand on.

    The blank comes first, for a check is computed from the baseline it leaves. Where nothing is left to read, the very
    last alone: what it and others hold is told as held.
    """
    read = [n for n in range(len(sheet.rows) - 1, -1, -1) if sheet.rows[n].kind in EVENTS and sheet.rows[n].signals]
    if first is None:
        return read[:1]
    mine = [n for n in read if sheet.rows[n].calibration is sheet.rows[first].calibration]
    last = {sheet.rows[n].kind: n for n in reversed(mine)}
    return [last[kind] for kind in EVENTS if kind in last]


def events_first(sheet: Sheet, start: int | None = None) -> set[str]:
    """The kinds of event that are read before anything else from a place on; without one, from that of the next row."""
    return kinds_first(sheet, place_of_next(sheet) if start is None else start, EVENTS)


def kinds_first(sheet: Sheet, start: int, kinds: Iterable[str]) -> set[str]:
    """Those of some kinds that are read from a place on before anything that is none of them."""
    unread = (row for row in sheet.rows[start:] if row.state == "unread")
    return {row.kind for row in itertools.takewhile(lambda row: row.kind in kinds, unread)}


def unread_after(sheet: Sheet, pane: str, place: int) -> int | None:
    """The next thing to read in a pane below a place, or None."""
    if pane == "queue":
        return first_unread(sheet, place + 1)
    if pane == "standards":
        standards = sheet.run.standard
        unread = (
            at
            for at in range(place + 1, len(standards))
            if not standards[at].readings and standards[at].use is not False
        )
        return next(unread, None)
    return next((at for at in range(place + 1, len(sheet.setup)) if sheet.setup[at].state == "todo"), None)


def offered_kind(due: tuple[DueResult, ...]) -> Event:
    """The kind of row to offer when one is asked for: what is most urgent."""
    order = {"overdue": 0, "due": 1, "soon": 2, "ok": 3}
    return min(due, key=lambda result: order[result.state]).what if due else "blank"
