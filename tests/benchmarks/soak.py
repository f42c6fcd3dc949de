"""Type a long day at a steady pace and print memory, log, and how far the program lags behind at the end.

Run by hand: `python -m tests.benchmarks.soak` takes five minutes: 3,000 readings within the range, ten a second, on a
terminal of its own. The ordinary tests type fewer and look at the log alone. Exit code 1 where a reading is not there.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

from runsheet.run.disk import files, opening
from tests.make import document, row
from tests.terminal import PROGRAM, Terminal


class Told(NamedTuple):
    """What a day came to."""

    readings: int
    """Read rows on the disk."""
    before_mb: float
    after_mb: float
    log: int
    """Bytes of the log."""
    steps: int
    wrong: list[str]
    """What verifying it finds."""
    lag: float
    """Seconds from the last key until its reading was in the log."""
    late: float
    """Seconds by which the last key itself was late: the line took no more."""


def new_run(folder: Path, count: int) -> Path:
    """Write a run of unread rows with a calibration that is read."""
    path = folder / "soak.toml"
    path.write_text(document([row(f"R{number}") for number in range(1, count + 1)]), encoding="utf-8")
    return path


def reading(number: int) -> str:
    """A reading within the range of the standards, like none of its neighbours."""
    return f"0.{100 + number % 300:03}"


def typed(path: Path, count: int, rate: float) -> Told:
    """Type `count` readings, so many a second, into a run of as many rows."""
    terminal = Terminal([*PROGRAM, str(path)])
    try:
        terminal.wait("NEXT")
        terminal.settle()
        before = _memory(terminal.pid)
        begun = time.perf_counter()
        for number in range(count):
            _until(terminal, begun + number / rate)
            terminal.send(f"{reading(number)}\r")
        sent = time.perf_counter()
        late = sent - begun - (count - 1) / rate
        log = files.log_of(path)
        while not log.exists() or log.read_bytes().count(b'.readings"') < count:
            if time.perf_counter() - sent > 60 + count / 50 or terminal.ended:
                break
            terminal.pump(0.02)
        lag, after = time.perf_counter() - sent, _memory(terminal.pid)
        terminal.settle()
        terminal.send("q")
        terminal.exit_code(60)
    finally:
        terminal.kill()
    found = opening.look(path)
    read = [item for item in found.run.queue if item.readings] if found.run else []
    right = sum(str(item.readings[0]) == reading(number) for number, item in enumerate(read))
    return Told(
        right, before, after, len(found.log_bytes), len(found.log.steps),
        [str(problem) for problem in opening.verify(path)], lag, late,
    )  # fmt: skip


def _until(terminal: Terminal, moment: float) -> None:
    while (left := moment - time.perf_counter()) > 0:
        terminal.pump(min(left, 0.02))


def _memory(pid: int) -> float:
    """What a process has in memory, in MB."""
    told = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(next(line.split()[1] for line in told.splitlines() if line.startswith("VmRSS"))) / 1024


def main() -> int:
    """Type the day and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--rate", type=float, default=10.0, help="readings a second")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["RUNSHEET_STATE"] = f"{folder}/state"
        told = typed(new_run(Path(folder), given.count), given.count, given.rate)
    print(f"{told.readings} of {given.count} readings at {given.rate:g} a second, each in its row")
    print(f"memory {told.before_mb:.0f} MB at the start, {told.after_mb:.0f} MB at the end")
    print(f"log {told.log / 1e6:.1f} MB, {told.steps} steps; verified: {'; '.join(told.wrong) or 'whole'}")
    print(f"lag {told.lag:.2f} s from the last key to its reading in the log; the last key {told.late:.2f} s late")
    return 0 if told.readings == given.count and not told.wrong else 1


if __name__ == "__main__":
    sys.exit(main())
