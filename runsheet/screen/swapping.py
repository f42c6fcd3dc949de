"""Readings put where they belong: two rows exchanged, one filling struck out.

Owns: how both are asked for. Invariant: each is one step with one reason.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import readings
from runsheet.screen.content import Content
from runsheet.screen.context import because, name_of
from runsheet.work import fillings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.run.edit import Edit
    from runsheet.screen.context import Context


def swap(context: Context) -> None:
    """Ask for another row and exchange what was read as the two, with its times."""
    if context.item is None:
        return
    rows = getattr(context.session.run, context.pane.array)
    array, at = context.pane.array, context.place
    near = [place for place in (at - 1, at + 1) if 0 <= place < len(rows) and rows[place].readings]

    def answer(text: str) -> None:
        other = next((place for place, row in enumerate(rows) if row.id == text.strip()), None)
        if other is None or other == at:
            context.say(f"nothing changed: {text.strip() or 'nothing'} is no other row here")
            return
        edits = fillings.exchange(context.session.run, array, at, other)
        told = " <-> ".join(f"{rows[place].id} {readings(rows[place].readings) or 'unread'}" for place in (at, other))
        because(context, f"Exchange {told}. Why?", lambda why: _exchange(context, edits, why))

    context.ask(f"Exchange what was read as {name_of(context)} with the row:", answer, rows[near[0]].id if near else "")


def _exchange(context: Context, edits: Sequence[Edit], why: str) -> None:
    if edits:
        context.commit(edits, why)
    else:
        context.say("nothing changed: both were read alike")


def strike(context: Context) -> None:
    """List the fillings of the row; the chosen one is struck out with a reason, or counts again."""
    if context.item is None:
        return
    array, at = context.pane.array, context.place
    row = getattr(context.session.run, array)[at]
    if not row.readings and not row.struck:
        context.say(f"{row.id} is not read yet")
        return
    if len(row.readings) < 2 and not row.struck:
        instead = "void the row (v), or read it again (r)" if array == "queue" else "leave the standard out (o)"
        context.say(f"only one filling: {instead}")
        return
    out = [f"strike out {value}" for value in row.readings] if len(row.readings) > 1 else []

    def choose(number: int) -> None:
        context.close_page()
        if number >= len(out):
            back = fillings.take_back(context.session.run, array, at, number - len(out))
            label = f"{row.id}: {row.struck[number - len(out)]} counts again. Why?"
            because(context, label, lambda why: context.commit(back, why))
            return

        def strike_out(why: str) -> None:
            context.commit(fillings.strike(context.session.run, array, at, number, why), why)

        because(context, f"{row.id}: {row.readings[number]} struck out, because:", strike_out)

    texts = [*out, *(f"let {value} count again" for value in row.struck)]
    context.open_page(Content(f"Fillings of {row.id}", texts, choose))
