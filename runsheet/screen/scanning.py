"""A scan: what a scanner, or a device that types, has sent while nothing was asked.

Owns: what becomes of it. Invariant: no letter of a scan is a command; a row or sample of that id is gone to, one number
is a reading like any other, and anything else is only shown.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import visible

if TYPE_CHECKING:
    from runsheet.run.model import Run
    from runsheet.screen.bench import Bench


def is_a_code(run: Run, text: str) -> bool:
    """Whether what came at once may be a code: one word, or the name of a row or of a sample.

    Then it is no answer to a question for words. Several words that come at once are: a slow line hands on what was
    typed in one piece.
    """
    return bool(text) and (" " not in text or any(text in (row.id, row.sample) for row in run.queue))


def take(bench: Bench, text: str) -> None:
    """Go to the row of an id, accept a number that is being typed, or show what came."""
    queue = bench.session.run.queue
    places = [at for at, row in enumerate(queue) if row.id == text] or [
        at for at, row in enumerate(queue) if row.sample == text
    ]
    typed = bench.grid.entry
    if places:
        _drop(bench)
        bench.activate("queue")
        bench.go(places[-1])
        bench.say(f"scanned {visible(text)}")
    elif typed is not None and typed.text == text and bench.editing.is_number(text):
        bench.editing.accept(advance=True)
    else:
        _drop(bench)
        received = any(sample.id == text for sample in bench.session.run.sample)
        why = "no row reads that sample" if received else "no row and no sample has that name"
        bench.say(f"scanned {visible(text)}: {why}")


def _drop(bench: Bench) -> None:
    """Put away what the scan's first digits have begun: an entry, or the question for a lot with those of the house."""
    bench.prompt = None
    if bench.grid.entry is not None:
        bench.editing.drop()
