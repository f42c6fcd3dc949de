"""Seconds that the Monte Carlo of a run takes, by draws. Run by hand.

    python tests/benchmarks/monte_carlo.py

Figure to reach: 100,000 draws of a run of 60 rows in under 2 s.
"""

from __future__ import annotations

import time
from dataclasses import replace

from runsheet import demo, evaluate, read
from runsheet.compute.statistics.monte_carlo import propagate


def main() -> None:
    """Measure and print."""
    document, _ = read(demo.text("water-day"))
    assert document is not None
    rows = [row for row in document.queue if row.readings]
    queue = [replace(row, id=f"{row.id}-{n}") for n in range(4) for row in rows][:60]
    sheet = evaluate(replace(document, queue=tuple(queue)), demo.NOW["water-day"])
    for draws in (10_000, 100_000):
        began = time.process_time()
        made = propagate(sheet, draws)
        print(f"{len(queue)} rows, {len(made)} results, {draws} draws: {time.process_time() - began:.2f} s")


if __name__ == "__main__":
    main()
