"""A run open for writing: kept before it counts, whatever happens to the disk or beside it."""

from __future__ import annotations

import errno
import itertools
import json
import os
import shutil
import stat
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from runsheet.run import edit, text
from runsheet.run.disk import files, log, opening, saver, store
from runsheet.run.disk.files import Disk
from runsheet.run.disk.store import CannotOpenError, LockedError, Store
from runsheet.run.edit import Edit, EditError

if TYPE_CHECKING:
    from io import FileIO

    from runsheet.run.model import Run

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
START = """format = 1
[run]
id = "KB-0311"
[[queue]]
id = "OF-1"
kind = "sample"
[[queue]]
id = "OF-2"
kind = "sample"
"""


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "state"
    monkeypatch.setenv("RUNSHEET_STATE", str(folder))
    monkeypatch.setattr(saver, "LOOK_EVERY", 0.05)
    return folder


@pytest.fixture
def document(tmp_path: Path) -> Path:
    folder = tmp_path / "runs"
    folder.mkdir()
    path = folder / "KB-0311.toml"
    path.write_text(START)
    return path


@pytest.fixture
def opened() -> Iterator[Callable[..., Store]]:
    """Open runs that are closed at the end of the test, come what may."""
    stores: list[Store] = []

    def open_(path: Path, **more: object) -> Store:
        stores.append(store.open_for_writing(path, "I. Varga", NOW, **more))  # type: ignore[arg-type]
        return stores[-1]

    yield open_
    for one in stores:
        one.close()


Open = Callable[..., Store]


def read(run: Store, row: int, reading: str) -> None:
    run.accept([edit.set_value(run.run, f"queue[{row}].readings", [Decimal(reading)])], NOW)


def readings(path: Path) -> list[str]:
    found = store.read_only(path).found
    assert found.run is not None
    return [str(value) for row in found.run.queue for value in row.readings]


def rescues(state: Path) -> list[Path]:
    return list(state.glob("*.rescue"))


def verified(path: Path) -> list[str]:
    return [str(problem) for problem in opening.verify(path)]


def until(what: Callable[[], object]) -> None:
    """Wait for the saving thread."""
    for _ in range(500):
        if what():
            return
        time.sleep(0.01)
    pytest.fail("it did not happen within 5 s")


class Faulty(Disk):
    """A disk that fails: every call named in `calls`, where the path (or the open file's) has `where` in it."""

    def __init__(self, number: int, *calls: str, where: str = "") -> None:
        self.error, self.calls, self.where = number, calls, where
        self.paths: dict[int, Path] = {}

    def _step(self, call: str, path: Path) -> None:
        if call in self.calls and self.where in str(path):
            raise OSError(self.error, os.strerror(self.error), str(path))

    def open(self, path: Path, flags: int, mode: int = files.PRIVATE) -> int:
        self._step("open", path)
        fd = super().open(path, flags, mode)
        self.paths[fd] = path
        return fd

    def write(self, fd: int, data: bytes, at: int = 0) -> None:
        if "write" in self.calls and self.where in str(self.paths[fd]):
            super().write(fd, data[: len(data) // 2], at)  # a disk that fills up takes what still fits
        self._step("write", self.paths[fd])
        super().write(fd, data, at)

    def sync(self, fd: int) -> None:
        self._step("sync", self.paths.get(fd, Path()))
        super().sync(fd)

    def sync_data(self, fd: int) -> None:
        self._step("sync_data", self.paths[fd])
        super().sync_data(fd)

    def replace(self, source: Path, target: Path) -> None:
        self._step("replace", target)
        super().replace(source, target)

    def heal(self) -> None:
        self.calls = ()


# --- a plain day ---


def test_an_accepted_reading_is_in_the_log_at_once_and_in_the_document_soon(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert b'"new": "[0.130]"' in files.log_of(document).read_bytes()
    until(lambda: run.pending == 0)
    assert "    0.130,\n" in document.read_text()
    assert run.saved_at is not None
    assert (run.trouble, run.conflict) == ("", None)
    assert run.close()
    assert verified(document) == []
    assert sorted(path.name for path in document.parent.iterdir()) == ["KB-0311.toml", "KB-0311.toml.log"]


def test_opening_and_closing_writes_nothing(document: Path, opened: Open, state: Path) -> None:
    before = document.stat()
    assert opened(document).close()
    assert document.stat() == before
    assert [path.name for path in document.parent.iterdir()] == ["KB-0311.toml"]
    assert not state.exists()


def test_a_refused_edit_changes_nothing(document: Path, opened: Open) -> None:
    run = opened(document)
    before = run.run
    with pytest.raises(EditError, match="once"):
        run.accept([Edit("set", "queue[1].id", "OF-1", "OF-2")], NOW)
    assert run.run == before
    assert run.close()
    assert not files.log_of(document).exists()


def test_many_edits_are_saved_in_few_goes(document: Path, opened: Open) -> None:
    run = opened(document)
    for number in range(200):
        read(run, 1, f"0.{number:03}")
    assert run.flush()
    assert "0.199" in document.read_text()
    assert run.close()
    assert verified(document) == []


def test_reasons_and_another_name_are_kept(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    run.accept([Edit("sign", "", None, "reviewed")], NOW, "re-keyed two readings", "B. Okoro")
    last = json.loads(files.log_of(document).read_bytes().splitlines()[-1])
    assert (last["who"], last["action"], last["reason"]) == ("B. Okoro", "sign", "re-keyed two readings")
    run.close()


@pytest.mark.parametrize("name", ["-KB.toml", "a b.toml", 'o\'hara "x".toml', "Öl µ.toml", "KB", "[ab]*.toml"])
def test_any_file_name_works(document: Path, opened: Open, name: str) -> None:
    path = document.rename(document.with_name(name))
    run = opened(path)
    read(run, 1, "0.130")
    assert run.close()
    assert readings(path) == ["0.130"]
    assert verified(path) == []


def test_mode_and_link_are_kept(document: Path, opened: Open) -> None:
    document.chmod(0o640)
    link = document.parent.parent / "today.toml"
    link.symlink_to(document)
    run = opened(link)
    read(run, 1, "0.130")
    assert run.close()
    assert link.is_symlink()
    assert stat.S_IMODE(document.stat().st_mode) == 0o640
    assert stat.S_IMODE(files.log_of(document).stat().st_mode) == 0o640
    assert "0.130" in document.read_text()


def test_a_mode_changed_while_open_is_kept(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    document.chmod(0o660)
    read(run, 1, "0.131")
    assert run.close()
    assert stat.S_IMODE(document.stat().st_mode) == 0o660


def test_comments_are_copied_once(document: Path, opened: Open) -> None:
    commented = START + "# seen by B. Okoro\n"
    document.write_text(commented)
    run = opened(document)
    copy = document.with_name("KB-0311.before-edit.toml")
    assert run.notes == ("comments are not kept; KB-0311.before-edit.toml will have them",)
    assert not copy.exists()
    read(run, 1, "0.130")
    assert run.close()
    assert copy.read_text() == commented
    copied = copy.stat()
    run = opened(document)
    assert run.notes == ()
    read(run, 1, "0.131")
    assert run.close()
    assert copy.stat() == copied


def test_a_new_document_never_writes_over_one(document: Path) -> None:
    run, _ = text.read(START)
    assert run is not None
    with pytest.raises(FileExistsError):
        store.create(document, run)
    assert document.read_text() == START
    store.create(document.with_name("new.toml"), run)
    assert document.with_name("new.toml").read_text() == text.write(run)
    files.log_of(document.with_name("old.toml")).write_text("")
    with pytest.raises(FileExistsError, match="log of another run"):
        store.create(document.with_name("old.toml"), run)


# --- what cannot be opened ---


def test_a_document_with_errors_is_not_opened(document: Path, opened: Open) -> None:
    document.write_text(START + "diluton = 2\n")
    with pytest.raises(CannotOpenError) as caught:
        opened(document)
    assert [problem.path for problem in caught.value.problems] == ["queue[2].diluton"]
    assert [path.name for path in document.parent.iterdir()] == ["KB-0311.toml"]


def test_bytes_that_are_no_text_are_a_problem_with_a_line(document: Path, opened: Open) -> None:
    document.write_bytes(START.encode() + b'note = "\xb5"\n')
    with pytest.raises(CannotOpenError) as caught:
        opened(document)
    assert [str(problem) for problem in caught.value.problems] == [
        "error: line 10: expected UTF-8 text, found the byte 0xB5"
    ]


def test_a_write_protected_document_is_not_opened(document: Path, opened: Open) -> None:
    document.chmod(0o444)
    with pytest.raises(CannotOpenError, match="write-protected"):
        opened(document)


def test_a_missing_document_is_not_opened(document: Path, opened: Open) -> None:
    with pytest.raises(CannotOpenError, match="is not there"):
        opened(document.with_name("other.toml"))
    with pytest.raises(CannotOpenError, match="the folder is gone"):
        opened(document.parent / "none" / "other.toml")


def test_a_second_writer_is_refused_and_can_follow(document: Path, opened: Open) -> None:
    run = opened(document)
    with pytest.raises(LockedError, match=r"I. Varga opened it on .* and has it open"):
        opened(document)
    follower = store.read_only(document)
    assert not follower.refresh()
    read(run, 1, "0.130")
    assert follower.refresh()
    assert follower.found.run == run.run
    assert run.flush()
    follower.refresh()
    assert follower.found.run == run.run
    assert run.close()
    opened(document).close()


# --- a log ahead of its document ---


def crashed(document: Path, opened: Open) -> None:
    """Leave a document three entries behind its log."""
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    behind = document.read_bytes()
    read(run, 1, "0.131")
    run.accept(
        [edit.set_value(run.run, f"queue[{row}].readings", [Decimal(f"0.14{row}")]) for row in (1, 2)],
        NOW,
    )
    assert run.close()
    document.write_bytes(behind)


def test_a_reader_computes_from_both_and_writes_nothing(document: Path, opened: Open) -> None:
    crashed(document, opened)
    before = {path.name: path.read_bytes() for path in document.parent.iterdir()}
    assert readings(document) == ["0.141", "0.142"]
    assert store.read_only(document).found.ahead == 3
    assert {path.name: path.read_bytes() for path in document.parent.iterdir()} == before


def test_the_next_opening_brings_the_document_up(document: Path, opened: Open) -> None:
    crashed(document, opened)
    run = opened(document)
    assert run.came_back == 3
    assert "0.142" in document.read_text()
    assert run.pending == 0
    assert verified(document) == []
    run.close()
    assert opened(document).came_back == 0


def test_a_document_that_vanished_is_made_again_from_its_log(document: Path, opened: Open) -> None:
    crashed(document, opened)
    document.unlink()
    assert readings(document) == ["0.141", "0.142"]
    run = opened(document)
    assert run.notes == ("KB-0311.toml was missing: this is the run its log holds",)
    assert run.close()
    assert verified(document) == []


@pytest.mark.parametrize("tail", [b'{"time": "2026-03', b"garbage"])
def test_a_line_cut_short_was_never_accepted(document: Path, opened: Open, tail: bytes) -> None:
    crashed(document, opened)
    path = files.log_of(document)
    whole = path.read_bytes()
    path.write_bytes(whole + tail)
    run = opened(document)
    assert run.came_back == 3
    assert run.notes == ("the last edit in the log was cut short before it was accepted; it is left out",)
    read(run, 1, "0.150")
    assert run.close()
    assert path.read_bytes().startswith(whole + b'{"time"')
    assert verified(document) == []


@pytest.mark.parametrize("tail", [b"\x00" * 512, b"\x00" * 9 + b"\n", b"garbage\n", b'{"ti\0\0\0"}\n{"time'])
def test_an_end_that_cannot_be_read_is_set_aside_and_told(document: Path, opened: Open, tail: bytes) -> None:
    crashed(document, opened)
    path = files.log_of(document)
    whole = path.read_bytes()
    path.write_bytes(whole + tail)
    torn = "warning: from line 7 on the log cannot be read, as after a power cut: that end is not counted"
    assert torn in verified(document)
    seconds = itertools.count()  # the clock goes on while the document is opened
    run = opened(document, clock=lambda: NOW + timedelta(seconds=next(seconds)))
    assert run.came_back == 3
    (aside,) = document.parent.glob("KB-0311.toml.log.torn-*")
    said = f"the end of the log cannot be read, as after a power cut; it is left out and kept in {aside.name}"
    assert run.notes == (said,)
    assert aside.read_bytes() == tail
    read(run, 1, "0.150")
    assert run.close()
    assert path.read_bytes().startswith(whole + b'{"time"')
    assert verified(document) == []


def test_half_a_paste_is_left_out(document: Path, opened: Open) -> None:
    crashed(document, opened)
    path = files.log_of(document)
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    assert readings(document) == ["0.131"]
    run = opened(document)
    assert run.came_back == 1
    read(run, 2, "0.150")
    assert run.close()
    assert verified(document) == []


def test_a_signal_while_it_closes_gives_the_lock_back(
    document: Path, opened: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = opened(document)
    stop, closed = run._saver.stop, []  # noqa: SLF001 - the moment at which the signal comes

    def interrupted() -> None:
        monkeypatch.setattr(run._saver, "stop", stop)  # noqa: SLF001
        closed.append(run.close(timeout=0.1))  # as the handler does, in the same thread
        assert not list(document.parent.glob(".*.lock"))
        stop()

    monkeypatch.setattr(run._saver, "stop", interrupted)  # noqa: SLF001
    assert run.close()
    assert closed == [True]


# --- undo and redo ---


def unnamed(run: Run) -> Run:
    """The run without the name of its log, which no undo takes."""
    return replace(run, run=replace(run.run, log=None))


def test_the_document_names_its_log_and_no_undo_takes_that(document: Path, opened: Open) -> None:
    run = opened(document)
    assert run.run.run.log is None
    read(run, 1, "0.130")
    name = log.parse(files.log_of(document).read_bytes()).steps[0].entries[0].chain
    assert run.run.run.log == name
    assert run.undo(NOW) is not None
    assert run.undo(NOW) is None
    run.close()
    run = opened(document)
    read(run, 1, "0.131")
    assert run.run.run.log == name
    assert run.close()
    assert f'log = "{name}"' in document.read_text(encoding="utf-8")
    assert [step.count for step in log.parse(files.log_of(document).read_bytes()).steps] == [0, 0, 1, 1, 1]


def test_a_log_that_the_document_does_not_name_yet_is_named_by_the_next_entry(document: Path, opened: Open) -> None:
    first = log.chained(log.start(document.read_bytes(), NOW, "M. Tarn"), "", 1)
    files.log_of(document).write_bytes(b"".join(map(log.line, first)))
    run = opened(document)
    read(run, 1, "0.130")
    run.close()
    assert run.run.run.log == first[0].chain
    assert verified(document) == []


def test_a_new_log_is_not_named_where_the_document_names_another(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    run.close()
    files.log_of(document).unlink()
    run = opened(document)
    read(run, 2, "0.131")
    run.close()
    first = log.parse(files.log_of(document).read_bytes()).steps[0].entries[0].chain
    assert run.run.run.log not in (None, first)


def test_undo_and_redo_without_limit_across_restarts(document: Path, opened: Open) -> None:
    runs = []
    for number in range(20):
        run = opened(document)
        runs.append(run.run)
        read(run, 1, f"0.{130 + number}")
        run.close()
    for before in reversed(runs):
        run = opened(document)
        assert run.undo(NOW) is not None
        assert unnamed(run.run) == unnamed(before)
        run.close()
    run = opened(document)
    assert run.undo(NOW) is None
    while run.redo(NOW):
        pass
    assert run.close()
    assert readings(document) == ["0.149"]
    assert verified(document) == []


def test_a_paste_is_undone_as_one_and_says_where(document: Path, opened: Open) -> None:
    run = opened(document)
    before = run.run
    run.accept([edit.set_value(run.run, f"queue[{n}].readings", [Decimal("0.13")]) for n in (1, 2)], NOW)
    step = run.undo(NOW)
    assert step is not None
    assert [made.path for made in step.edits] == ["queue[1].readings", "queue[2].readings"]
    assert unnamed(run.run) == unnamed(before)
    run.close()


# --- the half-typed entry ---


def test_a_half_typed_entry_is_offered_again_until_it_is_accepted(document: Path, opened: Open, state: Path) -> None:
    run = opened(document)
    assert run.drafted is None
    run.draft("0.1", "queue[1].readings")
    run.close()
    run = opened(document)
    assert run.drafted is not None
    assert run.drafted[:2] == ("0.1", "queue[1].readings")
    assert all(stat.S_IMODE(path.stat().st_mode) == 0o600 for path in state.iterdir())
    read(run, 1, "0.13")
    run.close()
    assert opened(document).drafted is None


# --- changed by someone else ---


def change(document: Path) -> bytes:
    theirs = START.replace("OF-2", "OF-9").encode()
    document.write_bytes(theirs)
    return theirs


def test_a_document_changed_while_open_is_noticed_and_both_are_kept(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    theirs = change(document)
    read(run, 1, "0.131")
    run.flush()
    assert run.conflict is not None
    assert run.conflict.words == "KB-0311.toml: another program changed it"
    assert document.read_bytes() == theirs
    assert "0.131" in run.conflict.ours.read_text()
    read(run, 1, "0.132")
    assert run.flush()
    assert "0.132" in run.conflict.ours.read_text()
    assert document.read_bytes() == theirs
    run.close()


def test_it_is_noticed_without_an_edit_too(document: Path, opened: Open) -> None:
    run = opened(document)
    change(document)
    until(lambda: run.conflict)
    assert run.conflict is not None
    until(run.conflict.ours.exists)
    assert run.conflict.ours.read_text() == START
    run.close()


def test_a_document_written_again_unchanged_is_no_conflict(document: Path, opened: Open) -> None:
    run = opened(document)
    document.unlink()
    document.write_text(START)
    read(run, 1, "0.130")
    assert run.close()
    assert run.conflict is None
    assert readings(document) == ["0.130"]


def test_ours_can_be_kept(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    theirs = change(document)
    run.flush()
    run.keep("ours", NOW)
    assert run.close()
    assert run.conflict is None
    assert readings(document) == ["0.130"]
    assert document.with_name("KB-0311.theirs-20260311-090500.toml").read_bytes() == theirs
    assert verified(document) == []


def test_theirs_can_be_kept(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    change(document)
    read(run, 1, "0.131")
    run.flush()
    assert run.conflict is not None
    ours = run.conflict.ours
    assert run.keep("theirs", NOW).queue[1].id == "OF-9"
    assert run.undo(NOW) is None
    read(run, 2, "0.140")
    assert run.close()
    assert readings(document) == ["0.140"]
    assert "0.131" in ours.read_text()
    assert verified(document) == ["warning: line 5: here the document was taken as it stood, changed outside the log"]


def test_theirs_with_errors_is_not_taken(document: Path, opened: Open) -> None:
    run = opened(document)
    document.write_text("format = 1\n")
    run.flush()
    with pytest.raises(CannotOpenError):
        run.keep("theirs", NOW)
    assert run.conflict is not None
    run.close()


@pytest.mark.parametrize(
    ("kind", "said"), [("folder", "a folder stands in its place"), ("link", "a link stands in its place")]
)
def test_a_document_replaced_by_something_else_is_left_alone(
    document: Path, opened: Open, kind: str, said: str
) -> None:
    run = opened(document)
    document.unlink()
    if kind == "folder":
        document.mkdir()
    else:
        (document.parent.parent / "other").write_text(START)
        document.symlink_to(document.parent.parent / "other")
    read(run, 1, "0.130")
    assert run.flush()
    assert run.conflict is not None
    assert run.conflict.words == f"KB-0311.toml: {said}"
    assert "0.130" in run.conflict.ours.read_text()
    assert document.is_dir() == (kind == "folder")
    assert document.is_symlink() == (kind == "link")
    run.close()


def test_a_document_edited_by_hand_between_openings_is_taken_and_ours_kept(document: Path, opened: Open) -> None:
    crashed(document, opened)
    change(document)
    for _ in range(2):  # however often it is opened
        run = opened(document)
        (ours,) = document.parent.glob("KB-0311.ours-*.toml")
        assert "0.142" in ours.read_text()
        assert run.notes == (
            "the document was changed outside, or its log was: it is taken as it stands",
            f"what the log leads to is kept in {ours.name}",
        )
        run.close()
    run = opened(document)
    assert run.undo(NOW) is None
    read(run, 2, "0.150")
    run.close()
    assert readings(document) == ["0.150"]
    assert [problem.split(":")[0] for problem in verified(document)] == ["warning"]
    run = opened(document)
    assert run.notes == ()
    assert run.undo(NOW) is not None
    run.close()


def test_a_log_that_was_touched_keeps_nobody_from_working(document: Path, opened: Open) -> None:
    crashed(document, opened)
    path = files.log_of(document)
    path.write_bytes(path.read_bytes().replace(b"0.131", b"0.139"))
    run = opened(document)
    assert run.notes[0].startswith("the document was changed outside, or its log was")
    read(run, 2, "0.150")
    assert run.close()
    assert readings(document) == ["0.130", "0.150"]
    assert "error: line 4: was changed, or a line before it is missing, changed or moved" in verified(document)


def test_a_log_changed_while_open_is_not_written_into(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    path = files.log_of(document)
    theirs = path.read_bytes().replace(b"0.130", b"0.999")
    path.write_bytes(theirs)
    read(run, 1, "0.131")
    assert "another program changed the log: 1 entry is kept in memory and in" in run.trouble
    assert not run.close()
    assert path.read_bytes() == theirs
    run = opened(document)
    assert any("entries of an earlier opening do not fit the log" in note for note in run.notes)
    run.close()


def test_a_run_taken_over_by_another_host_is_not_written(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    note = json.loads(files.lock_of(document).read_text())
    files.lock_of(document).write_text(json.dumps({**note, "host": "elsewhere"}))
    before = files.log_of(document).read_bytes(), document.read_bytes()
    read(run, 1, "0.131")
    assert run.trouble.startswith("another program has taken over the run: 1 entry is kept in memory and in")
    assert not run.close()
    assert (files.log_of(document).read_bytes(), document.read_bytes()) == before


def test_a_run_taken_over_before_anything_was_entered_has_no_entries_in_a_log(document: Path, opened: Open) -> None:
    run = opened(document)
    note = json.loads(files.lock_of(document).read_text())
    files.lock_of(document).write_text(json.dumps({**note, "host": "elsewhere"}))
    assert not run.flush()
    assert run.trouble == "another program has taken over the run"
    assert not files.log_of(document).exists()


# --- a disk in trouble ---

ERRORS = [
    (errno.ENOSPC, "the disk is full"),
    (errno.EIO, "the disk reports an error"),
    (errno.EACCES, "writing is not permitted"),
    (errno.EROFS, "the disk is read-only"),
]


@pytest.mark.parametrize(("number", "said"), ERRORS)
@pytest.mark.parametrize("call", ["open", "write", "sync_data"])
def test_a_log_that_cannot_be_written_is_kept_elsewhere_and_said(
    document: Path, opened: Open, state: Path, number: int, said: str, call: str
) -> None:
    disk = Faulty(number, call, where=".toml.log")
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    (kept,) = rescues(state)
    assert run.trouble == f"{said}: 1 entry is kept in memory and in {kept}"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    read(run, 2, "0.140")
    assert not run.flush()
    assert document.read_text() == START  # never ahead of the log
    disk.heal()
    until(lambda: not run.trouble)
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert rescues(state) == []
    assert verified(document) == []


@pytest.mark.parametrize(("number", "said"), ERRORS)
@pytest.mark.parametrize("call", ["open", "write", "sync", "replace"])
def test_a_document_that_cannot_be_written_is_said_and_tried_again(
    document: Path, opened: Open, number: int, said: str, call: str
) -> None:
    disk = Faulty(number, call, where="KB-0311.toml" if call == "replace" else ".KB-0311.toml.new")
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    assert not run.flush()
    assert run.trouble.startswith(f"{said}: not saved since ")
    assert run.trouble.endswith(", all entries are in the log")
    assert (run.pending, document.read_text()) == (1, START)
    assert readings(document) == ["0.130"]
    disk.heal()
    until(lambda: not run.trouble)
    assert run.pending == 0
    assert run.close()
    assert verified(document) == []


def test_a_folder_that_cannot_be_synced_after_the_replacement_is_no_change_by_others(
    document: Path, opened: Open
) -> None:
    disk = Faulty(errno.EIO, "sync", where="")
    disk.where = "."  # the folder is opened without a name
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    run.flush()
    disk.heal()
    assert run.flush()
    assert run.conflict is None
    run.close()


def test_work_that_ended_in_trouble_comes_back(document: Path, opened: Open, state: Path) -> None:
    disk = Faulty(errno.ENOSPC, "write", where="KB-0311.toml")
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    read(run, 2, "0.140")
    assert not run.close()
    assert document.read_text() == START
    assert readings(document) == ["0.130", "0.140"]
    run = opened(document)
    assert run.came_back == 2
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []
    assert rescues(state) == []


def test_nothing_is_claimed_when_the_state_folder_fails_too(document: Path, opened: Open, state: Path) -> None:
    state.write_text("")  # a file where the folder should be
    disk = Faulty(errno.ENOSPC, "write")
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    assert run.trouble == "the disk is full: 1 entry is kept in memory only"
    disk.heal()
    assert run.close()
    assert verified(document) == []


def test_a_run_that_is_closed_keeps_nothing_in_memory(document: Path, opened: Open, state: Path) -> None:
    """What is said after the screen is gone, of entries that a rescue has and of those that none has."""
    run = opened(document, disk=Faulty(errno.ENOSPC, "write", where=".toml.log"))
    read(run, 1, "0.130")
    assert "1 entry is kept in memory and in" in run.trouble
    run.close()
    (kept,) = rescues(state)
    assert run.trouble == f"the disk is full: 1 entry is kept in {kept}"
    kept.unlink()
    shutil.rmtree(state)
    state.write_text("")
    run = opened(document, disk=Faulty(errno.ENOSPC, "write"))
    read(run, 1, "0.130")
    run.close()
    assert run.trouble == "the disk is full: 1 entry is on no disk"


def test_entries_that_a_rescue_has_are_not_counted_as_in_memory_only(
    document: Path, opened: Open, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    disk = Faulty(errno.ENOSPC, "write", where=".toml.log")
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    disk.where = ""
    read(run, 2, "0.140")
    assert (run.lost, run.rescued) == (1, 1)
    assert run.trouble == "the disk is full: 1 entry is kept in memory only"


def test_a_folder_that_vanishes_and_comes_back(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    document.parent.rename(document.parent.with_name("away"))
    read(run, 2, "0.140")
    assert run.trouble.startswith("the folder is gone: 2 entries are kept in memory and in")
    document.parent.mkdir()
    until(lambda: not run.trouble)
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


def test_a_folder_replaced_by_another_run_of_the_same_name_is_left_alone(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    away = document.parent.rename(document.parent.with_name("away"))
    document.parent.mkdir()
    document.write_text(START.replace("KB-0311", "KB-0312"))
    read(run, 2, "0.140")
    run.flush()
    assert run.conflict is not None
    assert "KB-0312" in document.read_text()
    assert "0.140" in run.conflict.ours.read_text()
    assert readings(away / document.name) == ["0.130"]
    run.close()


def fill(file: FileIO) -> None:
    while True:
        file.write(b"x" * 4096)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A real file system of 64 kB."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = shutil.which("mount")
    command = [mount or "", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)]
    if mount is None or subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("mounting a small tmpfs needs root")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_real_disk_that_fills_up_and_is_cleared(small_disk: Path, opened: Open) -> None:
    document = small_disk / "KB-0311.toml"
    document.write_text(START)
    run = opened(document)
    read(run, 1, "0.000")
    ballast = small_disk / "ballast"
    with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
        fill(file)
    for number in itertools.count(1):
        read(run, 1, f"0.{number:03}")
        if run.trouble:
            break
    assert run.trouble.startswith("the disk is full: ")
    assert not run.flush()
    ballast.unlink()
    until(lambda: not run.trouble)
    assert run.close()
    assert readings(document) == [f"0.{number:03}"]
    assert verified(document) == []


def test_a_real_disk_that_is_read_only_is_read_and_not_opened_for_writing(small_disk: Path, opened: Open) -> None:
    document = small_disk / "KB-0311.toml"
    document.write_text(START)
    run = opened(document)
    read(run, 1, "0.130")
    run.close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    with pytest.raises(CannotOpenError, match=r"write-protected|the disk is read-only"):
        opened(document)
    assert readings(document) == ["0.130"]


# --- from a signal handler, and speed ---


def test_a_handler_that_interrupts_a_save_does_not_hang(document: Path, opened: Open) -> None:
    class Slow(Disk):
        going, go_on = threading.Event(), threading.Event()

        def replace(self, source: Path, target: Path) -> None:
            self.going.set()
            self.go_on.wait(5)
            super().replace(source, target)

    disk = Slow()
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    disk.going.wait(5)  # the thread is in the middle of a save
    begun = time.monotonic()
    assert not run.flush(timeout=0.1)
    assert time.monotonic() - begun < 1
    assert readings(document) == ["0.130"]  # from the log
    disk.go_on.set()
    assert run.flush()
    run.close()


def test_a_handler_in_the_middle_of_an_append_does_no_harm(document: Path, opened: Open) -> None:
    class Interrupted(Disk):
        run: Store | None = None
        saved: bool | None = None

        def sync_data(self, fd: int) -> None:
            if self.run is not None and threading.current_thread() is threading.main_thread():
                run, self.run = self.run, None
                time.sleep(0.2)  # the thread comes, and waits for this append
                self.saved = run.flush(timeout=1)  # as a handler in the main thread would
            super().sync_data(fd)

    disk = Interrupted()
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    assert run.flush()
    time.sleep(0.1)  # the saving thread waits again: else it may be the one that writes the next reading
    disk.run = run
    read(run, 1, "0.131")
    assert disk.saved
    read(run, 1, "0.132")
    assert run.close()
    assert readings(document) == ["0.132"]
    assert verified(document) == []


def test_closing_twice_or_from_elsewhere_does_no_harm(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    others = [threading.Thread(target=run.close) for _ in range(4)]
    for other in others:
        other.start()
    for other in others:
        other.join()
    assert run.close()
    assert run.trouble == ""
    assert not files.lock_of(document).exists()
    assert verified(document) == []


def test_the_document_says_when_it_was_saved_it_was_saved(document: Path, opened: Open) -> None:
    later = NOW + timedelta(minutes=7)
    run = opened(document, clock=lambda: later)
    read(run, 1, "0.130")
    assert run.flush()
    assert run.saved_at == later
    run.close()


# --- a half-typed entry of another run, row or time; a folder that is not ours; a program that has no more files ---


def drafted(document: Path, opened: Open) -> None:
    run = opened(document)
    run.draft("0.1", "queue[2].readings")
    run.close()


def test_a_half_typed_entry_is_not_offered_to_another_run_of_that_name(document: Path, opened: Open) -> None:
    drafted(document, opened)
    document.write_text(START.replace("KB-0311", "KB-0312"))
    assert opened(document).drafted is None


def test_a_half_typed_entry_is_not_offered_to_another_day_from_the_same_template(document: Path, opened: Open) -> None:
    drafted(document, opened)
    document.write_text(START.replace('kind = "sample"', 'kind = "sample"\nnote = "another day"', 1))
    assert opened(document).drafted is None


def test_a_half_typed_entry_is_not_offered_on_another_row(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    run.draft("0.1", "queue[2].readings")
    run.close()
    run = opened(document)
    assert run.drafted is not None
    before = state_file(run).read_bytes()
    run.accept([edit.move_row(run.run, "queue", 2, 1)], NOW)
    run.close()
    state_file(run).write_bytes(before)  # as a crash just before it was forgotten leaves it
    assert opened(document).drafted is None


def state_file(run: Store) -> Path:
    return run._draft.path  # noqa: SLF001 - the file the test puts back


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"text": 1}', '{"text": "1", "place": "x"}', "nonsense"])
def test_a_half_typed_entry_that_cannot_be_read_is_none(document: Path, opened: Open, text: str) -> None:
    drafted(document, opened)
    run = opened(document)
    state_file(run).write_text(text)
    assert run.drafted is None


@pytest.mark.parametrize("mode", [0o777, 0o720])
def test_a_state_folder_that_others_may_write_into_is_not_used(
    document: Path, opened: Open, state: Path, mode: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    state.mkdir()
    state.chmod(mode)
    run = opened(document, disk=Faulty(errno.ENOSPC, "write", where=".toml.log"))
    run.draft("0.1", "queue[1].readings")
    assert run.drafted is None
    read(run, 1, "0.130")
    assert run.trouble == "the disk is full: 1 entry is kept in memory only"
    assert len(run.unkept) == 3
    run.close()
    assert list(state.iterdir()) == []


def test_a_rescue_in_a_folder_of_others_is_not_believed(document: Path, opened: Open, state: Path) -> None:
    run = opened(document, disk=Faulty(errno.ENOSPC, "write", where="KB-0311.toml"))
    read(run, 1, "0.130")
    run.close()
    assert readings(document) == ["0.130"]
    state.chmod(0o777)
    assert readings(document) == []


def test_a_program_without_a_file_left_to_open_says_so(document: Path, opened: Open) -> None:
    disk = Faulty(errno.EMFILE)
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    assert run.flush()
    disk.calls = ("open",)  # not the limit of this process: whatever else runs in it would open and close beside it
    read(run, 2, "0.140")
    assert run.trouble.startswith("this program has no file left to open: ")
    disk.heal()
    assert run.flush()
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


def test_a_follower_says_that_its_document_is_gone(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.close()
    follower = store.read_only(document)
    assert follower.trouble == ""
    document.rename(document.with_name("away"))
    follower.refresh()
    assert follower.trouble == "KB-0311.toml is gone; what is shown is from its log"
    document.with_name("away").rename(document)
    follower.refresh()
    assert follower.trouble == ""


def test_a_follower_sees_what_is_rescued_come_and_go(document: Path, opened: Open) -> None:
    disk = Faulty(errno.ENOSPC, "write", where="KB-0311.toml")
    run = opened(document, disk=disk)
    follower = store.read_only(document)
    read(run, 1, "0.130")
    assert follower.refresh()
    assert follower.found.rescued == 1
    disk.heal()
    until(lambda: not run.trouble)
    assert follower.refresh()
    assert follower.found.rescued == 0
    run.close()


def test_a_file_beside_the_document_is_never_read_without_an_end(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.close()
    with document.open("r+b") as file:
        file.truncate(files.LARGEST_DOCUMENT + 1)
    with pytest.raises(OSError, match="larger than 16 MB"):
        store.read_only(document)
    with pytest.raises(CannotOpenError, match="larger than 16 MB"):
        opened(document)


def test_entries_whose_log_was_changed_by_others_are_in_memory_only_where_nothing_else_takes_them(
    document: Path, opened: Open, state: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    shutil.rmtree(state, ignore_errors=True)
    state.write_text("")  # a file where the folder should be
    whole = files.log_of(document).read_bytes()
    files.log_of(document).write_bytes(b"")
    until(lambda: run.trouble)
    assert len(run.unkept) == 3  # the start, the log's name and the reading, which the log had
    files.log_of(document).write_bytes(whole)
    until(lambda: not run.trouble)
    assert run.unkept == []
    run.close()
