"""Fill the disk in the middle of a day, run and state folder on it, and print what is there after each way to leave.

Run by hand: `python -m tests.benchmarks.full_disk`; on a small real file system where that may be mounted, which needs
root, else on the fault layer. Exit code 1 where an accepted reading is not there.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import tempfile
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.run import edit
from runsheet.run.disk import files, rescue, saver, state, store
from runsheet.run.disk.files import DISK
from tests.simulation.full_disk import Small, fill, tmpfs

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.run.disk.files import Disk
    from runsheet.run.disk.store import Store

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
TYPED, GOOD = 23, 8
SIZE = 512 * 1024


def read(run: Store, number: int) -> None:
    """Accept a reading."""
    run.accept([edit.set_value(run.run, "queue[1].readings", [Decimal(number) / 1000 + 1])], NOW)


def day(document: Path, disk: Disk, full: Callable[[], None], count: int = TYPED) -> Store:
    """Type a day; the disk is full after the first readings."""
    run = store.open_for_writing(document, "I. Varga", NOW, disk=disk, take_over=True)
    for number in range(count):
        if number == GOOD:
            run.flush()
            while not (state.folder() / rescue.RESERVE).exists():
                run.flush()
            full()
        read(run, number)
    return run


def there(document: Path) -> int:
    """How many readings a reader finds."""
    return sum(step.count for step in store.read_only(document).found.log.steps)


def left(document: Path, disk: Disk, full: Callable[[], None], how: str) -> Path:
    """Live through the day and leave; gives the document to look at."""
    if how == "kill":
        if os.fork() == 0:
            day(document, disk, full)
            os.kill(os.getpid(), signal.SIGKILL)
        os.wait()
        return document
    day(document, disk, full).close()
    if how == "q":
        return document
    copy = document.parents[2] / "copy" / "other.toml"
    copy.parent.mkdir()
    for source, target in ((document, copy), (files.log_of(document), files.log_of(copy))):
        shutil.copyfile(source, target)
    return copy


def tried(how: str) -> tuple[str, int]:
    """One day on one small disk: what it was on, and how many readings are there."""
    with tempfile.TemporaryDirectory() as place:
        small = Path(place) / "small"
        small.mkdir()
        os.environ["RUNSHEET_STATE"] = str(small / "state")
        os.environ["RUNSHEET_MEMORY"] = str(Path(place) / "none")
        with tmpfs(small, str(SIZE)) as real:
            layer = Small(small, SIZE)
            disk, full = (DISK, lambda: fill(small / "ballast", 0)) if real else (layer, lambda: layer.fill(0))
            document = small / "runs" / "KB-0311.toml"
            document.parent.mkdir()
            document.write_text('format = 1\n[run]\nid = "KB-0311"\n[[queue]]\nid = "OF-1"\nkind = "sample"\n')
            if how == "reserve":
                run, number = day(document, disk, full), TYPED
                while not run.unkept and number < 10_000:
                    read(run, number)
                    number += 1
                found = number - 1 - GOOD
                run.close()
            else:
                found = there(left(document, disk, full, how))
            return "a small tmpfs" if real else "the fault layer", found


def main() -> int:
    """Print a line for each way to leave."""
    os.environ.pop("XDG_RUNTIME_DIR", None)
    saver.LOOK_EVERY = 0.05
    wrong = False
    for how in ("q", "kill", "copy"):
        where, found = tried(how)
        wrong |= found != TYPED
        print(f"{where}, full after {GOOD} of {TYPED} readings, left by {how}: {found} are read")
    where, found = tried("reserve")
    print(f"{where}: the reserve takes {found} readings")
    return int(wrong)


if __name__ == "__main__":
    sys.exit(main())
