"""Kill a typed day, and see whether anything that was accepted is lost.

Three trials, each in processes of its own: killed at every file call of a save in turn; killed at random moments, every
second time by SIGTERM, whose handler saves as the screen's does; two writers started together. After each kill the run
is read as a reader would, then opened again, and the log verified.
Run by hand: `python tests/benchmarks/crash_test.py`; the ordinary tests run it with fewer kills. Exit code 1 on a loss.
"""

from __future__ import annotations

import argparse
import itertools
import os
import random
import select
import signal
import sys
import tempfile
import time
import traceback
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from runsheet.problem import has_errors
from runsheet.run import edit, text
from runsheet.run.disk import files, opening, store
from runsheet.run.disk.files import Disk

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.run.disk.store import Store

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
ROWS = 60
KILLS, RACES = 200, 50
DAY = 0.15
"""Seconds within which a day is killed: opening takes about a tenth of it, the rest is typing and saving."""
FRESH = 10
"""Kills a document goes through before the next one: each opening works on what the kill before left."""


class Lost(Exception):  # noqa: N818 - what this script is about
    """Something that was accepted is not there, or the log does not verify."""


class Deadly(Disk):
    """A disk on which the program dies at call number `last`; a write dies half done."""

    def __init__(self, last: int) -> None:
        self.count, self.last = itertools.count(1), last

    def _call(self, half: Callable[[], None] | None = None) -> None:
        if next(self.count) == self.last:
            if half:
                half()
            os.kill(os.getpid(), signal.SIGKILL)

    def open(self, path: Path, flags: int, mode: int = files.PRIVATE) -> int:
        self._call()
        return super().open(path, flags, mode)

    def close(self, fd: int) -> None:
        self._call()
        super().close(fd)

    def write(self, fd: int, data: bytes, at: int = 0) -> None:
        self._call()
        self._call(lambda: super(Deadly, self).write(fd, data[: len(data) // 2], at))
        super().write(fd, data, at)

    def truncate(self, fd: int, size: int) -> None:
        self._call()
        super().truncate(fd, size)

    def sync(self, fd: int) -> None:
        self._call()
        super().sync(fd)

    def sync_data(self, fd: int) -> None:
        self._call()
        super().sync_data(fd)

    def replace(self, source: Path, target: Path) -> None:
        self._call()
        super().replace(source, target)

    def place(self, source: Path, target: Path) -> None:
        self._call()
        super().place(source, target)

    def remove(self, path: Path) -> None:
        self._call()
        super().remove(path)


# --- the one who types ---


def new_run(folder: Path) -> Path:
    """Write a run of sixty unread rows, with a comment."""
    rows = "".join(f'[[queue]]\nid = "R{number}"\nkind = "sample"\n' for number in range(1, ROWS + 1))
    document = folder / "KB-0311.toml"
    document.write_text(f'format = 1\n[run]\nid = "KB-0311"  # invented\n{rows}')
    return document


def accepted(document: Path) -> list[int]:
    """The numbers of the accepted edits that the log, and what the state folder kept of it, holds."""
    trail = store.read_only(document).found.log
    return [int(step.entries[0].reason) for step in trail.steps if step.count and step.entries[0].reason]


def type_on(run: Store, numbers: itertools.count[int], told: int) -> None:
    """Accept one edit after another, and tell each number once it is accepted."""
    for number in numbers:
        type_one(run, number)
        os.write(told, b"%d\n" % number)
        if number % 7 == 0:
            run.undo(NOW)
        if number % 14 == 0:
            run.redo(NOW)


def type_one(run: Store, number: int) -> None:
    """Accept edit `number`: a reading, a pasted block, or a row inserted, moved or removed."""
    row = 1 + number % len(run.run.queue)
    value = [Decimal(f"{number / 10000:.4f}")]
    if number % 5 == 0:
        edits = [edit.set_value(run.run, f"queue[{at}].readings", value) for at in {row, 1 + row // 2}]
    elif number % 11 == 0:
        edits = [edit.insert_row(run.run, "queue", row, {"id": f"B{number}", "kind": "blank"})]
    elif number % 13 == 0:
        edits = [edit.move_row(run.run, "queue", row, 1)]
    elif number % 17 == 0:
        edits = [edit.remove_row(run.run, "queue", row)]
    else:
        run.draft(str(value[0]), f"queue[{row}].readings")
        edits = [edit.set_value(run.run, f"queue[{row}].readings", value)]
    run.accept(edits, NOW, reason=str(number))


def child(work: Callable[[int], None]) -> tuple[int, int]:
    """Start a process that does `work`; gives its id and the end to read what it tells."""
    heard, told = os.pipe()
    pid = os.fork()
    if pid == 0:
        _work(work, heard, told)
    os.close(told)
    return pid, heard


def _work(work: Callable[[int], None], heard: int, told: int) -> NoReturn:
    try:
        os.close(heard)
        work(told)
        os._exit(0)
    except BaseException:
        traceback.print_exc()
        raise
    finally:
        os._exit(3)


def told_by(heard: int) -> list[int]:
    """Read what a process that has ended told."""
    with os.fdopen(heard, "rb") as file:
        return [int(line) for line in file.read().split()]


# --- what must hold afterwards ---


def _ended(pid: int) -> None:
    """Wait for a process that was told to end; one that hangs in its handler has lost the analyst's day as well."""
    for _ in range(1000):
        if os.waitpid(pid, os.WNOHANG)[0]:
            return
        time.sleep(0.01)
    os.kill(pid, signal.SIGKILL)
    raise Lost("the program did not end within 10 s of SIGTERM")


def judge(document: Path, told: list[int], before: int) -> None:
    """Raise Lost unless everything that was told is there, now and after opening the run again."""
    there = accepted(document)
    if told and max(there, default=0) < max(told):
        raise Lost(f"accepted up to {max(told)}, found up to {max(there, default=0)}")
    if there != list(range(1, len(there) + 1)) or len(there) > max([*told, before]) + 1:
        raise Lost(f"accepted {told[-1:]}, found {there[-3:]}, {len(there)} in all")
    _verified(document, "as it was left")
    run = _opened(document)
    if not run.close():
        raise Lost(f"could not be brought up to date: {run.trouble}")
    _verified(document, "opened again")
    if there and document.read_bytes() != text.Writer().write(run.run):
        raise Lost("the document is not what the store had")


def _opened(document: Path) -> store.Store:
    """Open a run that a killed program had: one killed while it made its lock is told so only after some seconds."""
    until = time.monotonic() + 10
    while True:
        try:
            return store.open_for_writing(document, "the judge", NOW, take_over=True)
        except store.LockedError:
            if time.monotonic() > until:
                raise
        time.sleep(0.1)


def _verified(document: Path, when: str) -> None:
    names = {document.name, files.log_of(document).name, files.beside(document, "before-edit").name}
    if when == "opened again" and (left := {path.name for path in document.parent.iterdir()} - names):
        raise Lost(f"left behind: {left}")
    if files.log_of(document).exists():
        found = opening.verify(document)
        if has_errors(found) or (found and when == "opened again"):
            raise Lost(f"{when}: {'; '.join(map(str, found))}")


# --- the trials ---


def every_call(folder: Path) -> str:
    """Die at each file call of a short day in turn."""
    for last in itertools.count(1):
        where = folder / str(last)
        where.mkdir()
        document = new_run(where)

        def day(told: int, document: Path = document, last: int = last) -> None:
            run = store.open_for_writing(document, "I. Varga", NOW, disk=Deadly(last))
            for number in (1, 5, 11):
                type_one(run, number)
                os.write(told, b"%d\n" % number)
                run.flush()
            run.undo(NOW)
            run.close()

        pid, heard = child(day)
        _, status = os.waitpid(pid, 0)
        told = told_by(heard)
        reasons = accepted(document)
        if reasons != [1, 5, 11][: len(reasons)] or not len(told) <= len(reasons) <= len(told) + 1:
            raise Lost(f"at call {last}: accepted {told}, found {reasons}")
        _verified(document, "as it was left")
        run = store.open_for_writing(document, "the judge", NOW, take_over=True)
        if not run.close():
            raise Lost(f"at call {last}: {run.trouble}")
        _verified(document, "opened again")
        if os.WIFEXITED(status):
            return f"killed at each of {last - 1} file calls: nothing lost" if not os.WEXITSTATUS(status) else _broken()
    raise AssertionError


def _broken() -> str:
    raise Lost("the day itself failed")


def random_moments(folder: Path, kills: int, *, lie: bool) -> str:
    """Die at random moments of a day, many times."""
    chance = random.Random(311)  # noqa: S311 - repeatable, no secret
    edits = ahead = 0
    for kill in range(kills):
        if kill % FRESH == 0:
            where = folder / str(kill)
            where.mkdir()
            document = new_run(where)
        before = len(accepted(document))

        def day(told: int, document: Path = document, before: int = before) -> None:
            if lie:
                os.write(told, b"%d\n" % (before + 1_000_000))
            run = store.open_for_writing(document, "I. Varga", NOW, take_over=True)
            signal.signal(signal.SIGTERM, lambda *_: (run.flush(), os._exit(128 + signal.SIGTERM)))
            type_on(run, itertools.count(before + 1), told)

        pid, heard = child(day)
        if kill % 4 < 2:  # every other pair after its first edit, however busy the machine, and else while it opens too
            select.select([heard], [], [], 30)
        time.sleep(chance.uniform(0, DAY))
        os.kill(pid, signal.SIGTERM if kill % 2 else signal.SIGKILL)
        _ended(pid)
        ahead += store.read_only(document).found.ahead > 0
        judge(document, told_by(heard), before)
        edits += len(accepted(document)) - before
    return f"killed at {kills} random moments of {edits} edits ({ahead} times the log was ahead): nothing lost"


def together(folder: Path, races: int) -> str:
    """Let two writers open a run at the same moment; the winner types while both are there."""
    document = new_run(folder)
    for race in range(races):
        go_on, let_go = os.pipe()

        def rival(told: int, go_on: int = go_on, race: int = race) -> None:
            try:
                run = store.open_for_writing(document, "I. Varga", NOW)
            except store.LockedError:
                os.write(told, b"0\n")
                return
            type_one(run, race + 1)
            os.write(told, b"1\n")
            os.read(go_on, 1)
            run.close()

        rivals = [child(rival) for _ in range(2)]
        answers = [int(os.read(heard, 9)) for _, heard in rivals]
        os.write(let_go, b"x")
        for pid, heard in rivals:
            os.waitpid(pid, 0)
            os.close(heard)
        os.close(go_on)
        os.close(let_go)
        if sorted(answers) != [0, 1]:
            raise Lost(f"race {race}: {sum(answers)} of two got the run")
    judge(document, [races], races)
    return f"{races} times two writers started together: one won each time, nothing mixed"


def main() -> int:
    """Run the trials and print what came of them."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--kills", type=int, default=KILLS)
    parser.add_argument("--races", type=int, default=RACES)
    parser.add_argument("--lie", action="store_true", help="tell of edits that were never accepted: must be found out")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["RUNSHEET_STATE"] = f"{folder}/state"
        place = Path(folder)
        for name in ("calls", "moments", "races"):
            (place / name).mkdir()
        try:
            print(every_call(place / "calls"))
            print(random_moments(place / "moments", given.kills, lie=given.lie))
            print(together(place / "races", given.races))
        except Lost as lost:
            print(f"LOST: {lost}")
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
