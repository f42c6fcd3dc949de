"""The computation alone: milliseconds of processor time by rows, and how it grows. Run by hand.

    python tests/benchmarks/evaluate.py

Figures to reach: 100 rows 3 ms, 1,000 rows 20 ms, linear to 10,000. Each run has another reading than the one before,
as while typing; the standards stay, so the fit is made once.
"""

from __future__ import annotations

import statistics
import time
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

from runsheet import demo, evaluate, processes, read
from runsheet.compute import curve
from runsheet.run.kinds import SOLVENT_STANDARDS

if TYPE_CHECKING:
    from runsheet.run.model import Row

SIZES = (100, 1000, 10_000)


def again(row: Row, n: int) -> Row:
    """The row once more, of a sample of its own and with a parent of its own."""
    sample = None if row.kind in SOLVENT_STANDARDS else f"{row.sample or row.id}-{n}"
    return replace(row, id=f"{row.id}-{n}", sample=sample, of=None if row.of is None else f"{row.of}-{n}")


def main() -> None:
    """Measure and print, collecting as rarely as the program does."""
    processes.collect_seldom()
    document, _ = read(demo.text("water-day"))
    assert document is not None
    now = demo.NOW["water-day"]
    first = 0.0
    print(f"{'rows':>7} {'ms':>8} {'us a row':>9} {'growth':>7}")
    for size in SIZES:
        queue = [again(row, n) for n in range(size // 18 + 1) for row in document.queue[:18]][:size]
        times = []
        for n in range(25 if size < 5000 else 5):
            changed = replace(queue[5], readings=(Decimal("0.1") + Decimal(n) / 1000,))
            run = replace(document, queue=(*queue[:5], changed, *queue[6:]))
            began = time.process_time()
            evaluate(run, now)
            times.append((time.process_time() - began) * 1e3)
        median = statistics.median(times)
        first = first or median / size
        print(f"{size:7} {median:8.2f} {median / size * 1e3:9.1f} {median / size / first:7.2f}")
    print(f"fits made: {curve.fit.cache_info().misses}, used again: {curve.fit.cache_info().hits}")


if __name__ == "__main__":
    main()
