"""Escape and the key after it, which a slow line brings together, told apart.

Owns: what Textual's reader makes of both, and what a screen makes of that. Invariant: an Escape that was pressed is
never lost with the next key, so that Enter after it takes what it should have left.

A terminal sends Alt and a key as Escape and the key. Textual takes both for one when they come within its delay: of a
letter it makes an Alt key, of a digit a currency sign, of Enter and of all other keys the key without the Escape. Only
f and b stay the words to go by that they are where Alt and an arrow send them. Two private names of it
are touched: `XTermParser._sequence_to_key_events` and `_ansi_sequences.ANSI_SEQUENCES_KEYS`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual import _ansi_sequences, events
from textual._xterm_parser import XTermParser

if TYPE_CHECKING:
    from collections.abc import Iterable

ALT = "alt+"
for _key in "0123456789-":  # signs of another keyboard are made of these
    _ansi_sequences.ANSI_SEQUENCES_KEYS.pop(f"\x1b{_key}", None)  # type: ignore[attr-defined]


_events_of = XTermParser._sequence_to_key_events  # noqa: SLF001 - a name is given to what it leaves nameless


def _named(reader: XTermParser, sequence: str, alt: bool = False) -> Iterable[events.Key]:  # noqa: FBT001, FBT002
    """The keys of a sequence; those that came with Escape, whatever they are, say so."""
    for event in _events_of(reader, sequence):
        yield events.Key(f"{ALT}{event.key}", event.character) if alt else event


XTermParser._sequence_to_key_events = _named  # type: ignore[method-assign, assignment, unused-ignore]  # noqa: SLF001


def apart(event: events.Key, *, idle: bool) -> list[events.Key]:
    """The keys one is made of: Escape, then the other, save a letter with nothing open: with Alt it is no command."""
    if not event.key.startswith(ALT):
        return [event]
    escape, key = events.Key("escape", "\x1b"), events.Key(event.key.removeprefix(ALT), event.character)
    return [escape] if idle and (event.character or "").isalpha() else [escape, key]
