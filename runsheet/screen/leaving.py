"""Leaving, also while entries are in memory only.

Owns: the command, its question, and what its answers do. Invariant: the program does not end with an accepted entry
nowhere but in its memory unless a person says the word for it, and then those entries are printed.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.exits import Exit
from runsheet.figures import counted
from runsheet.run.disk import files

if TYPE_CHECKING:
    from runsheet.screen.context import Context

WORD = "lose"


def leave(context: Context) -> None:
    """Leave; everything accepted is saved, or it is asked what is to become of it."""
    context.session.store.flush()
    if context.session.store.unkept:
        _ask(context)
    else:
        context.leave()


def _ask(context: Context) -> None:
    entries = counted(context.session.store.lost, "entry", "entries")
    context.ask(
        f"{entries} in memory only. Free space, then Enter; or a folder; or {WORD}:", lambda text: _done(context, text)
    )


def _done(context: Context, text: str) -> None:
    if text.strip().lower() == WORD:
        context.leave(Exit.BAD)
    elif not text.strip():
        _again(context)
    else:
        _kept_in(context, Path(text.strip()))


def _again(context: Context) -> None:
    if context.session.store.flush() or not context.session.store.unkept:
        context.leave()
    else:
        context.say("not left: there is still no room")


def _kept_in(context: Context, folder: Path) -> None:
    """Write run and log into another folder, and leave where that is done."""
    try:
        if not folder.expanduser().is_dir():
            context.say(f"not left: no such folder: {folder}")
            return
        context.session.store.copy_to(folder.expanduser())
    except (OSError, RuntimeError) as error:  # ~ and the name of nobody here
        context.say(f"not left: {files.words(error) if isinstance(error, OSError) else error}: {folder}")
        return
    context.leave()
