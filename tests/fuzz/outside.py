"""Random harm from outside while a run is open, and a second screen that follows: whatever anyone wrote is kept."""

from __future__ import annotations

import asyncio
import os
import random
from typing import TYPE_CHECKING
from unittest.mock import patch

from runsheet import read
from runsheet.run import edit
from runsheet.run.disk import files, log, opening, replay, rescue, saver, store
from runsheet.run.text import write
from runsheet.screen.app import RunsheetApp
from runsheet.screen.bench import Bench
from runsheet.screen.read_only import ReadOnlyStore
from runsheet.screen.session import Session
from runsheet.screen.style import Look
from tests.fuzz.keys import doing, happen, harmless

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from textual.pilot import Pilot

    from runsheet.run.disk.store import Store


class Outsider:
    """Another program, which knows nothing of ours, at the same files."""

    def __init__(self, opened: Store, path: Path, random_: random.Random) -> None:
        """Begin with the files as they are."""
        self._opened, self._path, self._random, self._number = opened, path, random_, 0
        self._away, self._log_away = path.with_name("away"), path.with_name("log-away")
        self._harm = b""
        self._away_wrote: bytes | None = None
        self.wrote: bytes | None = None
        """What it wrote last into the document and did not destroy itself."""

    def act(self) -> None:
        """Do one thing, between two saves: what happens within one no program can tell."""
        self._opened.flush(5)
        self._random.choice((
            self._rewrite, self._rewrite, self._cut, self._spoil, self._delete, self._put_back, self._touch,
            self._again, self._log_harm, self._log_heal, self._log_heal, self._log_lose,
        ))()  # fmt: skip

    def heal(self) -> None:
        """Leave files that a person can work with."""
        self._log_heal()
        if not self._path.is_file():
            self._put(write(self._opened.run).encode())

    def _put(self, data: bytes) -> None:
        self._path.write_bytes(data)
        self._stands(data)

    def _stands(self, data: bytes) -> None:
        """What stands now is the outsider's, if it is not ours again."""
        self.wrote = None if data == write(self._opened.run).encode() else data

    def _bytes(self) -> bytes:
        return self._path.read_bytes() if self._path.exists() else b""

    def _rewrite(self) -> None:
        """Save another version, in place or as a new file, readable and like no other."""
        self._number += 1
        source = self._opened.run if self._random.random() < 0.7 else (read(self._bytes().decode(errors="replace"))[0])
        if source is None:
            return
        title = edit.set_value(source, "run.title", f"outside {self._number}")
        data = write(edit.apply_all(source, [title])).encode()
        if self._random.random() < 0.5:
            self._path.unlink(missing_ok=True)
        self._put(data)

    def _cut(self) -> None:
        data = self._bytes()
        self._put(data[: self._random.randrange(len(data) + 1)])

    def _spoil(self) -> None:
        data = self._bytes()
        at = self._random.randrange(len(data) + 1)
        self._put(data[:at] + self._random.choice((b"\xff\xfe", b"[[queue", b"\0", b"= 1 =\n")) + data[at:])

    def _delete(self) -> None:
        self._path.unlink(missing_ok=True)
        self.wrote = None

    def _put_back(self) -> None:
        """Move the document away, or the one moved away back into its place."""
        if self._away.exists():
            self.wrote = self._away_wrote
            self._away.replace(self._path)
        elif self._path.exists():
            self._path.replace(self._away)
            self._away_wrote, self.wrote = self.wrote, None

    def _touch(self) -> None:
        if self._path.exists():
            os.utime(self._path)

    def _again(self) -> None:
        if self._path.exists():
            self._path.write_bytes(self._bytes())

    def _log_harm(self) -> None:
        log_file = files.log_of(self._path)
        if log_file.exists() and not self._log_away.exists():
            self._log_away.write_bytes(log_file.read_bytes())
            self._harm = self._random.choice((b"", log_file.read_bytes()[:-9], log_file.read_bytes() + b"junk\n"))
            log_file.write_bytes(self._harm)

    def _log_heal(self) -> None:
        """Put the log back, which nobody else may have written into."""
        if self._log_away.exists():
            assert files.log_of(self._path).read_bytes() == self._harm
            self._log_away.replace(files.log_of(self._path))

    def _log_lose(self) -> None:
        if not self._log_away.exists():
            files.log_of(self._path).unlink(missing_ok=True)


def _kept(opened: Store, outsider: Outsider, path: Path) -> None:
    """Both versions are somewhere: ours follows from the log, theirs stands, is beside it, or in the log."""
    found = [each.read_bytes() for each in (*rescue.known(path), *path.parent.iterdir()) if each.is_file()]
    logs = [log.parse(data) for data in found if data.startswith(b'{"time"')]
    ours = [replay.replay(None, trail.since_start()) for trail in logs if trail.steps and trail.steps[-1].sound]
    assert opened.run in ours or not logs
    if outsider.wrote is not None:
        texts = [entry.text for trail in logs for step in trail.steps for entry in step.entries if entry.text]
        assert outsider.wrote in found or outsider.wrote in [text.encode() for text in texts]


def work(path: Path, count: int, seed: int, text: str, now: datetime) -> int:
    """Type at random into a run that an outsider changes; give how many questions about it were answered."""
    random_ = random.Random(seed)  # noqa: S311 - harm needs no secrets
    path.write_text(text, encoding="utf-8")
    with patch.object(saver, "LOOK_EVERY", 0.02):
        opened = store.open_for_writing(path, "fuzz", now)
        bench = Bench(Session(opened, path, lambda: now, "fuzz"), Look())
        outsider = Outsider(opened, path, random_)
        asked: list[str] = []
        keep = opened.keep

        def counted(*which: object) -> object:
            asked.append(str(which[0]))
            return keep(*which)  # type: ignore[arg-type]

        async def one(pilot: Pilot[object]) -> None:
            if random_.random() < 0.2:
                outsider.act()
                opened.flush(5)
                _kept(opened, outsider, path)
            elif bench.prompt is not None and opened.conflict and random_.random() < 0.3:
                bench.prompt.answer(random_.choice("ooottx"))
                bench.prompt = None
            else:
                for happened in doing(bench, random_):
                    await happen(bench, pilot, happened)
            bench._tick()  # noqa: SLF001 - the second's tick, without waiting for it

        with (
            patch.object(Bench, "leave", lambda bench, *_: bench.say("stays")),
            patch.object(opened, "keep", counted),
        ):
            asyncio.run(_screen(bench, count, random_, one))
        outsider.heal()
        _end(opened, outsider, path, now)
    return len(asked)


def _end(opened: Store, outsider: Outsider, path: Path, now: datetime) -> None:
    """Settle, close, and see that document and log are whole and lead to the run."""
    opened.flush(5)
    if opened.conflict is not None:
        opened.keep("ours", now)
    last = opened.run
    assert opened.close(), opened.trouble
    if files.log_of(path).exists():
        assert read(path.read_text(encoding="utf-8"))[0] == last  # theirs, once taken, stays as they wrote it
        wrong = [str(problem) for problem in opening.verify(path) if problem.level == "error"]
        assert not wrong, wrong
        assert opening.look(path).run == last
    _kept(opened, outsider, path)


def follow(path: Path, count: int, seed: int, text: str, now: datetime) -> int:
    """Follow on a second screen what a writer and an outsider do; give how many changes were shown."""
    random_ = random.Random(seed)  # noqa: S311
    path.write_text(text, encoding="utf-8")
    with patch.object(saver, "LOOK_EVERY", 0.02):
        opened = store.open_for_writing(path, "fuzz", now)
        follower = store.read_only(path)
        assert follower.found.run is not None
        watching = ReadOnlyStore(follower, follower.found.run)
        bench = Bench(Session(watching, path, lambda: now, "reader"), Look())
        outsider, shown = Outsider(opened, path, random_), 0

        async def one(pilot: Pilot[object]) -> None:
            nonlocal shown
            chance = random_.random()
            if chance < 0.3:
                _writer(opened, random_, now)
            elif chance < 0.4:
                outsider.act()
                if opened.conflict and random_.random() < 0.7:
                    _settle(opened, random_, now)
            else:
                for happened in doing(bench, random_):
                    await happen(bench, pilot, happened)
            before = watching.run
            bench._tick()  # noqa: SLF001
            shown += watching.run is not before

        with patch.object(Bench, "leave", lambda bench, *_: bench.say("stays")):
            asyncio.run(_screen(bench, count, random_, one))
        outsider.heal()
        opened.flush(5)
        if opened.conflict is not None:
            opened.keep("ours", now)
            opened.flush(5)
        watching.refresh()
        assert watching.trouble == ""
        assert watching.run == opened.run
        _end(opened, outsider, path, now)
    return shown


def _writer(opened: Store, random_: random.Random, now: datetime) -> None:
    """Edit, take back or make again, as another person at another screen does."""
    rows = opened.run.queue
    if random_.random() < 0.2:
        opened.undo(now)
    elif random_.random() < 0.1:
        opened.redo(now)
    elif rows:
        note = edit.set_value(opened.run, f"queue[{random_.randrange(len(rows)) + 1}].note", f"n{random_.random()}")
        opened.accept([note], now)


def _settle(opened: Store, random_: random.Random, now: datetime) -> None:
    try:
        opened.keep(random_.choice(("ours", "theirs")), now)
    except store.CannotOpenError:
        opened.keep("ours", now)


async def _screen(bench: Bench, count: int, random_: random.Random, one: Callable[[Pilot[object]], object]) -> None:
    app = RunsheetApp(bench, "ansi-dark")
    async with app.run_test(size=random_.choice(((80, 24), (120, 40)))) as pilot:
        for number in range(count):
            await one(pilot)  # type: ignore[misc]
            if number % 20 == 0:
                await pilot.pause()
                harmless(bench)
        assert app.is_running
