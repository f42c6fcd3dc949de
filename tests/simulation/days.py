"""A typed day under the power-cut simulation, and what must hold of every state a cut leaves.

Owns: the days (without trouble; with a disk that is full for a while, the rescue a file of its own or in the reserve)
and `judge`.
"""

from __future__ import annotations

import random
from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple
from unittest.mock import patch

from runsheet.problem import has_errors
from runsheet.run import edit
from runsheet.run.disk import opening, rescue, saver, state, store
from runsheet.run.disk.files import Disk
from tests.simulation.full_disk import Small
from tests.simulation.power_cut import Recording, states

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from runsheet.run.disk.store import Store

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
ROWS = 14
PLENTY = 1 << 24


class Lost(Exception):  # noqa: N818 - what this is about
    """Something that was accepted is not there, or is called changed where it is torn."""


class Told(NamedTuple):
    """What was simulated."""

    calls: int
    states: int
    torn: int
    """How many of them had an end of the log that does not count."""
    rescued: int
    """How many had entries that only a rescue had."""


class Trouble(Small):
    """A disk that is full now and then; `reserve` says whether the state folder's disk is full as well."""

    def __init__(self, folder: Path, *, reserve: bool) -> None:
        """Begin with room."""
        super().__init__(folder if reserve else folder / "runs", PLENTY)

    def full(self) -> None:
        """Fill up."""
        self.fill(0)

    def clear(self) -> None:
        """Room again."""
        self.size = PLENTY


def plain_day(run: Store, typed: Callable[[int], None], _trouble: Trouble) -> None:
    """Type, paste several pages at once, undo; the document saved now and then."""
    for number in range(1, 7):
        typed(number)
        if number % 3 == 0:
            run.flush()
    typed(0)
    typed(7)
    run.flush()


def full_day(run: Store, typed: Callable[[int], None], trouble: Trouble) -> None:
    """Type while the disk fills up, is cleared, and fills up once more before the end."""
    for number in range(1, 4):
        typed(number)
    run.flush()
    trouble.full()
    typed(4)
    typed(0)
    run.flush()
    typed(5)
    trouble.clear()
    typed(6)
    run.flush()
    trouble.full()
    typed(7)
    typed(0)
    typed(8)


DAYS = {"plain": (plain_day, False), "full": (full_day, False), "reserve": (full_day, True)}


def new_run(folder: Path) -> Path:
    """Write a run of unread rows, which is for certain on the disk."""
    rows = "".join(f'[[queue]]\nid = "R{number}"\nkind = "sample"\n' for number in range(1, ROWS + 1))
    document = folder / "runs" / "KB-0311.toml"
    document.parent.mkdir()
    document.write_text(f'format = 1\n[run]\nid = "KB-0311"\n{rows}')
    return document


def accept(run: Store, number: int) -> None:
    """Accept reading `number`, or for 0 a block of one for every row."""
    places = range(1, ROWS + 1) if number == 0 else [1 + number % ROWS]
    value = [Decimal(number) / 1000 + 1]
    run.accept([edit.set_value(run.run, f"queue[{at}].readings", value) for at in places], NOW, reason=str(number))


def recorded(folder: Path, day: str) -> tuple[Path, dict[Path, bytes], Recording]:
    """Live through a day and write it down; the saving thread rests, so that every run of it is the same."""
    work, reserve = DAYS[day]
    document = new_run(folder)
    first = {document: document.read_bytes()}
    trouble = Trouble(folder, reserve=reserve)
    disk = Recording(trouble, document)
    with patch.object(saver.Saver, "_run", lambda _self: None):
        run = store.open_for_writing(document, "I. Varga", NOW, disk=disk)
        count = 0

        def typed(number: int) -> None:
            nonlocal count
            accept(run, number)
            count += 1
            if not run.unkept:
                disk.accepted(count)

        work(run, typed, trouble)
        run.close()
    return document, first, disk


def cut(folder: Path, day: str, each: int, seed: int = 311) -> Told:
    """Cut the power at every call of a day; raises Lost. `folder` is the machine's whole disk."""
    document, first, disk = recorded(folder, day)
    count = torn = rescued = 0
    for number, how, accepted in states(folder, first, disk.calls, each, random.Random(seed)):  # noqa: S311
        count += 1
        found = store.read_only(document).found
        torn += bool(found.torn)
        rescued += bool(found.rescued)
        where = f"after call {number} ({disk.calls[number].name}), {how} of what was loose"
        judge(document, accepted, where)
    return Told(len(disk.calls), count, torn, rescued)


def judge(document: Path, accepted: int, where: str) -> None:
    """Raise Lost unless everything accepted is there, now and after opening, and nothing is called changed."""
    _judged(document, accepted, f"{where}, as it was left")
    run = store.open_for_writing(document, "the judge", NOW, take_over=True, disk=Disk())
    if not run.close():
        raise Lost(f"{where}: could not be brought up to date: {run.trouble}")
    _judged(document, accepted, f"{where}, opened again")
    if left := [path.name for place in state.places() for path in place.glob(f"*{rescue.ENDING}")]:
        raise Lost(f"{where}: left behind: {left}")


def _judged(document: Path, accepted: int, where: str) -> None:
    found = store.read_only(document).found
    steps = sum(not step.starts for step in found.log.steps)
    if steps < accepted:
        raise Lost(f"{where}: {accepted} steps were accepted, {steps} are there")
    if not found.readable or found.log_leads_elsewhere:
        raise Lost(f"{where}: {found.problems or found.notes}")
    if found.log.steps and has_errors(said := opening.verify(document)):
        raise Lost(f"{where}: {'; '.join(map(str, said))}")
