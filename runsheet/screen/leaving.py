"""Leaving while entries are in memory only.

Owns: the question, and what its answers do. Invariant: the program does not end with an accepted entry nowhere but in
its memory unless a person says the word for it, and then those entries are printed.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.exits import Exit
from runsheet.figures import counted
from runsheet.run.disk import files

if TYPE_CHECKING:
    from runsheet.screen.bench import Bench

WORD = "lose"


def ask(bench: Bench) -> None:
    """Ask what is to become of the entries that no disk has."""
    entries = counted(len(bench.store.unkept), "entry", "entries")
    bench.ask(
        f"{entries} in memory only. Free space, then Enter; or a folder; or {WORD}:", lambda text: _done(bench, text)
    )


def _done(bench: Bench, text: str) -> None:
    if text.strip().lower() == WORD:
        bench.store.close()
        bench.app.exit(return_code=Exit.BAD)
    elif not text.strip():
        _again(bench)
    else:
        _kept_in(bench, Path(text.strip()))


def _again(bench: Bench) -> None:
    if bench.store.flush() or not bench.store.unkept:
        bench.store.close()
        bench.app.exit(0)
    else:
        bench.say("not left: there is still no room")


def _kept_in(bench: Bench, folder: Path) -> None:
    """Write run and log into another folder, and leave where that is done."""
    try:
        if not folder.expanduser().is_dir():
            bench.say(f"not left: no such folder: {folder}")
            return
        bench.store.copy_to(folder.expanduser())
    except (OSError, RuntimeError) as error:  # ~ and the name of nobody here
        bench.say(f"not left: {files.words(error) if isinstance(error, OSError) else error}: {folder}")
        return
    bench.store.close()
    bench.app.exit(0)
