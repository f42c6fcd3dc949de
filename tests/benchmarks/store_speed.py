"""Time what an analyst waits for: an edit accepted, a run opened.

Run by hand: `python tests/benchmarks/store_speed.py`.
"""

from __future__ import annotations

import os
import statistics
import tempfile
import time
from datetime import UTC, datetime
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.run import edit
from runsheet.run.disk import opening, store

if TYPE_CHECKING:
    from collections.abc import Callable

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
EDITS = 300


def timed(work: Callable[[], object]) -> float:
    """Milliseconds the work takes."""
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


def measure(folder: Path, rows: int) -> str:
    """Type readings into a run of so many rows, then open, read and verify it."""
    document = folder / f"{rows}.toml"
    row = '[[queue]]\nid = "R{}"\nkind = "sample"\namount = 980\nextract_ml = 100\ndilution = 1\n'
    document.write_text('format = 1\n[run]\nid = "KB-0311"\n' + "".join(map(row.format, range(1, rows + 1))))
    run = store.open_for_writing(document, "I. Varga", NOW)
    spent = []
    for number in range(EDITS):
        made = edit.set_value(run.run, f"queue[{1 + number % rows}].readings", [Decimal(f"0.{number:03}")])
        spent.append(timed(partial(run.accept, [made], NOW)))
    run.close()
    opened = timed(lambda: store.open_for_writing(document, "I. Varga", NOW).close())
    verified = timed(lambda: opening.verify(document))
    quantiles = statistics.quantiles(spent, n=20)
    return (
        f"{rows:6} rows: accept {statistics.median(spent):.2f} ms (19 of 20 within {quantiles[-1]:.2f}), "
        f"opened with a log of {EDITS} edits in {opened:.0f} ms, verified in {verified:.0f} ms"
    )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        os.environ["RUNSHEET_STATE"] = f"{place}/state"
        for count in (20, 100, 1000):
            print(measure(Path(place), count))
