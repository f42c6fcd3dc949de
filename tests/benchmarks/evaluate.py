"""The computation alone: milliseconds by rows, and how it grows. Run by hand.

    python tests/benchmarks/evaluate.py

Figures to reach: 100 rows 3 ms, 1,000 rows 20 ms, linear to 10,000. Each run has another reading than the one before,
as while typing; the standards stay, so the fit is made once.
"""

from __future__ import annotations

import statistics
import time
from dataclasses import replace
from decimal import Decimal

from runsheet import demo, evaluate, read
from runsheet.compute import curve

SIZES = (100, 1000, 10_000)


def main() -> None:
    """Measure and print."""
    document, _ = read(demo.text("water-day"))
    assert document is not None
    now = demo.NOW["water-day"]
    first = 0.0
    print(f"{'rows':>7} {'ms':>8} {'us a row':>9} {'growth':>7}")
    for size in SIZES:
        copies = size // 18 + 1
        queue = [replace(row, id=f"{row.id}-{n}", of=row.of) for n in range(copies) for row in document.queue[:18]][
            :size
        ]
        times = []
        for n in range(25 if size < 5000 else 5):
            changed = replace(queue[5], readings=(Decimal("0.1") + Decimal(n) / 1000,))
            run = replace(document, queue=(*queue[:5], changed, *queue[6:]))
            began = time.perf_counter()
            evaluate(run, now)
            times.append((time.perf_counter() - began) * 1e3)
        median = statistics.median(times)
        first = first or median / size
        print(f"{size:7} {median:8.2f} {median / size * 1e3:9.1f} {median / size / first:7.2f}")
    print(f"fits made: {curve.fit.cache_info().misses}, used again: {curve.fit.cache_info().hits}")


if __name__ == "__main__":
    main()
