"""What a key and an Enter cost on a disk whose every sync takes 200 ms: `python -m tests.benchmarks.slow_disk`.

Prints, for entries typed one after the other, how long a key of a half-typed entry and how long Enter took, and how
many syncs Enter itself waited for; the document is written by a thread and is waited for at the end only.
"""

from __future__ import annotations

import tempfile
import threading
import time
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from statistics import median

from runsheet import demo
from runsheet.run import edit
from runsheet.run.disk import store
from runsheet.run.disk.files import Disk

SYNC = 0.2
"""Seconds."""


class Slow(Disk):
    """A disk that takes its time to sync."""

    def __init__(self) -> None:
        """Count the syncs of each thread."""
        self.by_thread: dict[int, int] = {}

    def _wait(self) -> None:
        here = threading.get_ident()
        self.by_thread[here] = self.by_thread.get(here, 0) + 1
        time.sleep(SYNC)

    def sync(self, fd: int) -> None:
        """As it is, later."""
        self._wait()
        super().sync(fd)

    def sync_data(self, fd: int) -> None:
        """As it is, later."""
        self._wait()
        super().sync_data(fd)


def main() -> None:
    """Type twenty readings."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "day.toml"
        path.write_text(demo.text("water-day"), encoding="utf-8")
        disk, now = Slow(), datetime.now().astimezone()
        run = store.open_for_writing(path, "bench", now, disk=disk)
        run.accept([edit.set_value(run.run, "queue[1].readings", [Decimal("0.100")])], now)  # the log begins here
        keys, enters, before = [], [], disk.by_thread[threading.get_ident()]
        for turn in range(1, 21):
            for typed in ("0", "0.", "0.1", f"0.1{turn:02}"):
                began = time.perf_counter()
                run.draft(typed, "queue[1].readings")
                keys.append(time.perf_counter() - began)
            began = time.perf_counter()
            run.accept([edit.set_value(run.run, "queue[1].readings", [Decimal(f"0.1{turn:02}")])], now)
            enters.append(time.perf_counter() - began)
        syncs = disk.by_thread[threading.get_ident()] - before
        began = time.perf_counter()
        run.close()
        print(f"a sync takes {SYNC * 1000:.0f} ms")
        print(f"a key: median {median(keys) * 1000:.2f} ms, longest {max(keys) * 1000:.2f} ms")
        print(
            f"Enter: median {median(enters) * 1000:.0f} ms, longest {max(enters) * 1000:.0f} ms, {syncs / 20:.2f} syncs"
        )
        print(f"closing, with the document: {(time.perf_counter() - began) * 1000:.0f} ms")


if __name__ == "__main__":
    main()
