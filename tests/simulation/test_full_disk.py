"""A day on which the disk fills up, run and state folder on it: nothing accepted is lost, wherever the run goes."""

from __future__ import annotations

import os
import shutil
import signal
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet.problem import has_errors
from runsheet.run import edit
from runsheet.run.disk import files, opening, rescue, store
from runsheet.screen import start
from tests.run.disk.test_store import NOW, START, until
from tests.simulation.full_disk import Small, fill, tmpfs

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from runsheet.run.disk.files import Disk
    from runsheet.run.disk.store import Store

TYPED = 23
ROOM = 512 * 1024


@pytest.fixture(autouse=True)
def memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folders in memory, which are elsewhere than the small disk and the test's own."""
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "runtime"))
    (tmp_path / "runtime").mkdir(mode=0o700)
    return tmp_path / "runtime" / "runsheet"


class Laptop:
    """One disk with a run and the state folder on it."""

    def __init__(self, folder: Path, disk: Disk, take: Callable[[int], None]) -> None:
        self.disk, self.take = disk, take
        """`take` has someone else use the disk up to some bytes left."""
        self.document = folder / "runs" / "KB-0311.toml"
        self.document.parent.mkdir()
        self.document.write_text(START)
        self.state = folder / "state"

    def open(self) -> Store:
        return store.open_for_writing(self.document, "I. Varga", NOW, disk=self.disk, take_over=True)


@pytest.fixture(params=["a fault layer", "a tmpfs"])
def laptop(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Laptop]:
    folder = tmp_path / "small"
    folder.mkdir()
    monkeypatch.setenv("RUNSHEET_STATE", str(folder / "state"))
    if request.param == "a fault layer":
        disk = Small(folder, ROOM)
        yield Laptop(folder, disk, disk.fill)
        return
    with tmpfs(folder, str(ROOM)) as made:
        if not made:
            pytest.skip("mounting a small tmpfs needs root")
        yield Laptop(folder, files.DISK, lambda left: fill(folder / "ballast", left))


def read(run: Store, number: int) -> None:
    run.accept([edit.set_value(run.run, "queue[1].readings", [Decimal(number) / 1000])], NOW)


def readings(document: Path) -> list[int]:
    """Every reading the log has, with what is rescued of it: a run that shows the last one has them all."""
    found = store.read_only(document).found
    edits = [entry for step in found.log.steps for entry in step.entries if step.count and entry.action == "set"]
    typed = [int(Decimal((entry.new or "[0]").strip("[]")) * 1000) for entry in edits]
    assert found.run is not None
    assert not typed or [int(value * 1000) for value in found.run.queue[0].readings] == typed[-1:]
    return typed


def typed_until_full(laptop: Laptop, *, filled_at: int = 8) -> Store:
    """Type a day; the disk is used up by someone else after some readings."""
    run = laptop.open()
    for number in range(1, TYPED + 1):
        if number == filled_at + 1:
            until((laptop.state / rescue.RESERVE).exists)
            assert run.flush()
            laptop.take(0)
        read(run, number)
    return run


ALL = list(range(1, TYPED + 1))


def test_what_is_typed_on_a_full_disk_is_kept_in_the_reserve(laptop: Laptop) -> None:
    run = typed_until_full(laptop)
    assert run.trouble.startswith("the disk is full: ")
    assert run.rescued > 0
    assert run.unkept == []
    assert not run.close()  # the log has not all of it
    assert readings(laptop.document) == ALL
    assert not has_errors(opening.verify(laptop.document))


def test_a_run_killed_on_a_full_disk_comes_back_whole(laptop: Laptop) -> None:
    if not hasattr(os, "fork"):
        pytest.skip("a kill needs fork")
    pid = os.fork()
    if pid == 0:
        typed_until_full(laptop)
        os.kill(os.getpid(), signal.SIGKILL)
    os.waitpid(pid, 0)
    assert readings(laptop.document) == ALL
    laptop.take(ROOM)  # room again
    run = laptop.open()
    assert run.came_back >= TYPED - 8
    if isinstance(laptop.disk, Small):
        laptop.disk.size = 2 * ROOM
    assert run.close()
    assert readings(laptop.document) == ALL
    assert opening.verify(laptop.document) == []
    assert list(laptop.state.glob("*.rescue")) == []


def test_rescued_entries_are_counted_wherever_the_run_is_copied(laptop: Laptop, tmp_path: Path) -> None:
    run = typed_until_full(laptop)
    rescued = run.rescued
    run.close()
    stick = tmp_path / "stick"
    stick.mkdir()
    copy = stick / "another name.toml"
    for source, target in ((laptop.document, copy), (files.log_of(laptop.document), files.log_of(copy))):
        shutil.copyfile(source, target)
    assert readings(copy) == ALL
    said = [str(problem) for problem in opening.verify(copy)]
    kept = f"{rescued} entries of its log are kept in {next(laptop.state.glob('*.rescue'))}"
    assert f"warning: {kept}" in said
    assert not has_errors(opening.verify(copy))
    assert kept in store.read_only(copy).found.notes
    with_store = store.open_for_writing(copy, "I. Varga", NOW)
    assert with_store.close()
    assert opening.verify(copy) == []
    assert readings(laptop.document) == ALL  # where it came from is as it was


def test_a_copy_that_went_on_by_itself_does_not_get_them(laptop: Laptop, tmp_path: Path) -> None:
    run = typed_until_full(laptop)
    copy = tmp_path / "copy.toml"
    shutil.copyfile(laptop.document, copy)
    shutil.copyfile(files.log_of(laptop.document), files.log_of(copy))
    hidden = laptop.state.rename(laptop.state.with_name("hidden"))
    other = store.open_for_writing(copy, "B. Okoro", NOW)  # on a machine without the rescue
    read(other, 900)
    assert other.close()
    shutil.rmtree(laptop.state, ignore_errors=True)
    hidden.rename(laptop.state)
    run.close()
    assert readings(copy)[-1] == 900
    (note,) = (note for note in store.read_only(copy).found.notes if "do not fit its log" in note)
    assert note.startswith("entries of a document that began as copy.toml did are kept in ")  # they are none of its own
    assert readings(laptop.document) == ALL


def test_a_document_whose_log_was_never_written_is_told_of_the_entries(laptop: Laptop, tmp_path: Path) -> None:
    """A copy of a document without a log may be a new run from a template: it is told, and nothing is mixed in."""
    run = laptop.open()
    laptop.take(0)
    for number in ALL:
        read(run, number)
    assert run.unkept == []
    run.close()
    assert readings(laptop.document) == ALL
    copy = tmp_path / "tuesday.toml"
    shutil.copyfile(laptop.document, copy)
    found = store.read_only(copy).found
    assert found.run is not None
    assert found.run.queue[0].readings == ()
    (note,) = found.notes
    assert note.startswith(f"{TYPED} entries typed into a document like this are kept in ")
    assert note.endswith("copied here as tuesday.toml.log they count")
    (kept,) = rescue.known(laptop.document)
    shutil.copyfile(kept, files.log_of(copy))
    assert readings(copy) == ALL
    assert not has_errors(opening.verify(copy))


def test_memory_is_used_where_there_is_no_reserve(laptop: Laptop, memory: Path) -> None:
    run = laptop.open()
    laptop.take(0)
    for number in ALL:
        read(run, number)
    (kept,) = memory.glob("*.rescue")
    assert str(kept) in run.trouble
    run.close()
    assert readings(laptop.document) == ALL


def test_where_nothing_takes_them_they_are_known_and_can_be_kept_in_another_folder(
    laptop: Laptop, memory: Path, tmp_path: Path
) -> None:
    memory.write_text("")  # a file in the folder's place
    run = laptop.open()
    laptop.take(0)
    for number in ALL:
        read(run, number)
    assert "entries are kept in memory only" in run.trouble
    assert len(run.unkept) == TYPED + 2  # and the start of the log, and its name
    assert "-> [0.023]" in run.unkept[-1]
    run.copy_to(tmp_path)
    assert run.unkept == []
    read(run, 24)
    assert len(run.unkept) == 1
    with pytest.raises(FileExistsError):
        run.copy_to(tmp_path)
    assert not run.close()
    copy = tmp_path / laptop.document.name
    assert start.told(run)[1] == f"runsheet: the run with all its entries is {copy}; go on with that one"
    assert readings(copy) == ALL
    assert opening.verify(copy) == []


def test_a_full_disk_that_is_cleared_takes_all_and_the_reserve_comes_back(laptop: Laptop) -> None:
    run = typed_until_full(laptop)
    assert not (laptop.state / rescue.RESERVE).exists()
    if isinstance(laptop.disk, Small):
        laptop.disk.size = 4 * ROOM
    else:
        (laptop.state.parent / "ballast").unlink()
    assert run.flush()
    until((laptop.state / rescue.RESERVE).exists)
    assert list(laptop.state.glob("*.rescue")) == []
    assert run.close()
    assert readings(laptop.document) == ALL
    assert opening.verify(laptop.document) == []


def test_a_reserve_that_is_used_up_is_said(laptop: Laptop, memory: Path) -> None:
    memory.write_text("")
    run = typed_until_full(laptop)
    number = TYPED
    while not run.unkept:
        number += 1
        assert number < 2000
        read(run, number)
    assert number > 300  # the first hundreds fit
    assert "1 entry is kept in memory only" in run.trouble
    assert len(run.unkept) <= 1
    run.close()
    assert readings(laptop.document) == list(range(1, number))
