"""A folder of many runs: reading it cold, looking at it warm, a search, and one that is killed. Run by hand.

    python -m tests.benchmarks.many_runs [10000]

Figures to reach with 100,000 runs: cold under 2 ms a run, warm under 0.5 s, whatever is asked.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import processes
from runsheet.history import cache, charts, export, search, studies, uncertainty
from tests import many
from tests.make import START

if TYPE_CHECKING:
    from collections.abc import Callable


def timed(words: str, what: Callable[[], object], of: int = 1, unit: str = "s") -> None:
    """Print how long something takes, the best of three unless it is long."""
    times: list[float] = []
    while len(times) < 3 and sum(times) < 5:
        began = time.perf_counter()
        what()
        times.append(time.perf_counter() - began)
    print(f"{words:48} {min(times) / of * (1000 if unit == 'ms' else 1):8.3f} {unit}")


def main(count: int) -> None:
    """Generate, measure, print, collecting as seldom as the program does."""
    processes.collect_seldom()
    with tempfile.TemporaryDirectory() as place:
        folder, file = Path(place) / "runs", Path(place) / "cache.sqlite3"
        began = time.perf_counter()
        many.write(folder, count)
        print(f"{count} runs of 19 rows written in {time.perf_counter() - began:.0f} s")
        began = time.perf_counter()
        cache.bring_up(folder, file=file).close()
        cold = time.perf_counter() - began
        print(f"{'cold, a run':48} {cold / count * 1000:8.3f} ms")
        print(f"{'the cache, a run':48} {file.stat().st_size / count / 1024:8.3f} KiB")

        def look(ask: Callable[[cache.Tables], object]) -> Callable[[], None]:
            def go() -> None:
                tables = cache.bring_up(folder, file=file)
                ask(tables)
                tables.close()

            return go

        timed("warm, nothing asked", look(lambda _tables: None))
        timed("warm, all charts", look(charts.all_charts))
        timed("warm, a sample", look(lambda tables: search.samples(tables, "w-17-3")))
        timed("warm, samples that begin with a text", look(lambda tables: search.samples(tables, "w-17-*")))
        timed("warm, samples that end with one", look(lambda tables: search.samples(tables, "*17-3")))
        timed("warm, samples with a text in the middle", look(lambda tables: search.samples(tables, "w-*7-3")))
        timed("warm, a lot of 60 runs", look(lambda tables: search.lots(tables, "RO-3")))
        timed("warm, lots that end with a text", look(lambda tables: search.lots(tables, "*O-3")))
        timed("warm, a run", look(lambda tables: search.runs(tables, "*-00017")))
        timed("warm, recall", look(lambda tables: search.recall(tables, "*O-3")))
        timed("warm, uncertainty", look(uncertainty.evaluations))
        timed("warm, detection studies", look(lambda tables: studies.detections(tables, START)))
        timed("warm, as SQL", look(lambda tables: sum(map(len, export.sql(tables)))))
        (folder / "000" / "R-00000.toml").write_text(many.Lab(7).run(0), encoding="utf-8")
        began = time.perf_counter()
        look(charts.all_charts)()
        print(f"{'after one run changed, all charts':48} {time.perf_counter() - began:8.3f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
