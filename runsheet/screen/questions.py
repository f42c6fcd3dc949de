"""What a person is asked before something is taken, whoever asks.

Owns: the questions about a reading and about a document changed outside. Invariant: the screen and the line by line
mode ask the same, for the same reasons.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, Literal

from runsheet.run import entry
from runsheet.run.clock import clock_behind

if TYPE_CHECKING:
    from runsheet.run.disk.saver import Conflict
    from runsheet.screen.context import Context
    from runsheet.screen.session import Session

FAR = {"absorbance": 3.0, "transmittance": 150.0, "concentration": 1e6}
"""Readings from here on are asked about: 3 A lets 0.1 % through, which no bench photometer tells from none."""


def about_readings(session: Session, array: str, place: int, name: str, new: Any) -> str:
    """Ask before readings are overwritten, or taken that no photometer gives or the clock denies; or nothing."""
    row = getattr(session.run, array)[place]
    old = row.readings
    if old and not adds(old, new):
        moved = _moved_with(session, array, place, new)
        change = f"{name}: {entry.shown(old)} -> {entry.shown(new) or 'nothing'}"
        return f"{change}{'; ' if moved else ''}{moved}. Why does it change?"
    if not old and new and row.at is None and (behind := clock_behind(session.run, session.now())):
        return f"{name}: {behind}. Why is it right?"
    reads = session.run.instrument.reads or "absorbance"
    typed = new or () if array != "setup" else ()
    if far := [reading for reading in typed if not -1 < float(reading) < FAR[reads]]:
        return f"{name}: {entry.shown(far)} is no usual {reads}. Why is it right?"
    return ""


def about_name(session: Session, array: str, place: int, new: Any) -> str:
    """Ask before a row that was read gets another name; or nothing."""
    row = getattr(session.run, array)[place]
    read = getattr(row, "readings", ())  # a calibration has none of its own
    return f"Rename {row.id}: {row.id} -> {entry.shown(new)}. Why?" if read and new != row.id else ""


def no_name(text: str) -> str:
    """Why a text is no name of a row, or nothing."""
    decimal = re.fullmatch(r"[+-]?\d*[.,]\d*", text.strip()) and text.strip()
    return "a decimal number is no name: it may be a reading" if decimal else ""


def adds(old: Any, new: Any) -> bool:
    """Whether new readings only go on after the old ones."""
    return bool(new) and list(new[: len(old)]) == list(old)


def _moved_with(session: Session, array: str, place: int, new: Any) -> str:
    """What else a standard's or a blank's new reading moves; of a row of its own, its result is in sight."""
    if array == "setup" or (array == "queue" and session.run.queue[place].kind != "blank"):
        return ""
    return session.moved(session.writing(array, place, "readings", new))


def whose(context: Context, conflict: Conflict) -> None:
    """Ask with which of two documents to go on, where ours was changed outside; both are kept."""

    def answer(text: str) -> None:
        words: dict[str, Literal["ours", "theirs"]] = {"o": "ours", "t": "theirs"}
        which = words.get(text.strip().lower()[:1])
        if which is None:
            context.say("asked again: the document was changed outside")
        elif complaint := context.session.settle(which):
            context.say(f"not settled: {complaint}")
        else:
            context.recompute()
            context.say(f"going on with {which}; the other is kept beside it")

    context.ask(
        f"{conflict.words}. Ours is in {conflict.ours.name}. Go on with ours or theirs? o/t:", answer, words=True
    )
