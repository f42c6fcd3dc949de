"""Print how the time of what grows with its input grows: each at one size and at twice that.

Run by hand: `python -m tests.benchmarks.scaling`. Twice the input is to take about twice the time; a key of many parts
and a search of many stars are refused or done in next to none.
"""

from __future__ import annotations

import sys
import tempfile
import time
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import demo, evaluate, read
from runsheet.history import cache, search
from runsheet.run import edit, text
from runsheet.run.disk import log, replay
from runsheet.work import batch_plan, sample_list
from tests import many

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.run.disk.log import Entry
    from runsheet.run.model import Run

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)


def timed(what: Callable[[], object]) -> float:
    """Seconds something takes."""
    begun = time.perf_counter()
    what()
    return time.perf_counter() - begun


def told(name: str, size: int, work: Callable[[int], Callable[[], object]]) -> None:
    """Print a line: the times at two sizes, and their ratio."""
    first, second = (timed(work(n)) for n in (size, 2 * size))
    print(f"{name}: {size:,}: {first:.2f} s, {2 * size:,}: {second:.2f} s, ratio {second / max(first, 1e-6):.1f}")


def planning(count: int) -> Callable[[], object]:
    """Plan a list of samples and make what it comes to."""
    run, _ = read(demo.text("water-day"))
    now = demo.NOW["water-day"]
    lines = "id,amount\n" + "".join(f"Z-{n},1000\n" for n in range(count))

    def work() -> None:
        assert run is not None
        planned, _ = sample_list.parse(lines, run, now)
        made = batch_plan.plan(run, planned, evaluate(run, now), now)
        edit.apply_all(run, batch_plan.edits(run, made.rows, made.samples, len(run.queue) + 1))

    return work


def verifying(count: int, rows: int = 60) -> Callable[[], object]:
    """Verify a log of so many edits."""
    head = 'format = 1\n[run]\nid = "K"\n'
    document = head + "".join(f'[[queue]]\nid = "R{n}"\nkind = "sample"\n' for n in range(rows))
    run, _ = text.read(document)
    pages, lines, chain = text.Writer(), [], ""
    made: list[Entry] = log.start(document.encode(), NOW, "I. Varga")
    data = b""
    for number in range(count + 1):
        chained = log.chained(made, chain, number + 1)
        lines += [log.line(entry) for entry in chained]
        chain = chained[-1].chain
        run, made, data = _next(run, number, rows, pages)
    return lambda: replay.verify(b"".join(lines), data)


def _next(run: Run | None, number: int, rows: int, pages: text.Writer) -> tuple[Run, list[Entry], bytes]:
    assert run is not None
    done = edit.set_value(run, f"queue[{1 + number % rows}].readings", [Decimal(number) / 1000 + 1])
    run = edit.apply(run, done)
    data = pages.write(run)
    return run, log.entries([done], data, NOW, "I. Varga"), data


def deep_key(parts: int) -> Callable[[], object]:
    """Read a document with a key of so many parts."""
    line = ".".join("a" * parts)
    return lambda: read(f"format = 1\n{line} = 1\n")


def main() -> int:
    """Print a line for each."""
    told("a key of many parts", 20_000, deep_key)
    told("planning a list of samples", 10_000, planning)
    told("log --verify, by edits", 20_000, verifying)
    told("log --verify of 2,000 edits, by rows", 300, lambda rows: verifying(2000, rows))
    with tempfile.TemporaryDirectory() as place:
        many.write(Path(place) / "runs", 400)
        tables = cache.bring_up(Path(place) / "runs", file=Path(place) / "cache" / "tables")
        told("find with many stars, by stars", 20, lambda stars: lambda: search.samples(tables, "*a" * stars + "*b"))
        tables.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
