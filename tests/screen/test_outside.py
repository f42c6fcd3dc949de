"""What the screen says when the run's files or folder change under it, in the second that it looks."""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import time
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from runsheet.run import edit
from runsheet.run.disk import files, saver, store
from runsheet.screen import pages, status_words
from runsheet.screen.app import RunsheetApp
from runsheet.screen.bench import Bench
from runsheet.screen.content import Content
from runsheet.screen.read_only import ReadOnlyStore
from runsheet.screen.session import Session
from runsheet.screen.style import Look
from tests.screen.driving import NOW, Drive, typed
from tests.screen.pty_runs import readings, until

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from runsheet.run.edit import Edit

TWO = [Decimal("0.112"), Decimal("0.113")]


@pytest.fixture(autouse=True)
def soon(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(saver, "LOOK_EVERY", 0.05)


def look(drive: Drive) -> str:
    """Have the second's tick, and give the screen."""
    drive.bench._tick()  # noqa: SLF001 - the second's tick, without waiting for it
    return "\n".join(drive.screen())


def pipe(path: Path) -> None:
    new = path.with_name("new")
    os.mkfifo(new)
    new.replace(path)


def folder(path: Path) -> None:
    """Put a folder in the place of a file, again where the saving thread was quicker to put the file back."""
    while path.is_file():
        path.unlink()
        with contextlib.suppress(FileExistsError):
            path.mkdir()


def test_a_folder_that_is_gone_is_said_and_what_was_read_is_written_when_it_is_back(tmp_path: Path) -> None:
    water = tmp_path / "runs" / "water.toml"
    water.parent.mkdir()
    water.write_text(demo.text("water-day"), encoding="utf-8")
    away = tmp_path / "away"

    def leave(drive: Drive) -> None:
        water.parent.rename(away)
        until(lambda: "NOT SAVED: the folder is gone" in look(drive), 4)  # at the saving thread's look, without an edit
        drive.bench.commit(typed_edit(drive))
        assert "kept in memory and in" in drive.store.trouble
        assert "NOT SAVED" in look(drive)
        away.rename(water.parent)
        until(lambda: "NOT SAVED" not in look(drive), 4)

    Drive(water).run(typed("0.112"), then=leave)
    assert readings(water) == TWO


def typed_edit(drive: Drive) -> list[Edit]:
    return [edit.set_value(drive.store.run, "queue[20].readings", [Decimal("0.113")])]


@pytest.mark.parametrize("kind", ["pipe", "folder", "link"])
def test_something_else_in_the_document_s_place_is_asked_about(kind: str, water: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.write_text("someone else's")

    def replace(drive: Drive) -> None:
        assert drive.store.flush()  # else the saving thread may put the document there between the two calls
        if kind == "pipe":
            pipe(water)
        elif kind == "folder":
            folder(water)
        else:
            (tmp_path / "new").symlink_to(other)
            (tmp_path / "new").replace(water)
        until(lambda: f"a {kind} stands in its place" in look(drive), 4)
        for which in "ot":
            assert drive.bench.prompt is not None
            drive.bench.prompt.answer(which)
            assert f"not settled: a {kind}" in drive.bench.message
        drive.bench.prompt = None
        assert drive.bench.commit(typed_edit(drive))
        water.rmdir() if kind == "folder" else water.unlink()
        look(drive)
        assert drive.bench.prompt is not None
        drive.bench.prompt.answer("o")

    Drive(water).run(typed("0.112"), then=replace)
    assert readings(water) == TWO
    assert other.read_text() == "someone else's"


def test_a_pipe_in_the_log_s_place_is_said_and_hangs_nothing(water: Path) -> None:
    def replace(drive: Drive) -> None:
        pipe(files.log_of(water))
        until(lambda: "NOT SAVED: a pipe" in look(drive), 4)
        assert drive.bench.commit(typed_edit(drive))
        assert "kept in memory and in" in drive.store.trouble
        files.log_of(water).unlink()
        until(lambda: "NOT SAVED" not in look(drive), 4)

    Drive(water).run(typed("0.112"), then=replace)
    assert readings(water) == TWO


# --- a second screen -----------------------------------------------------------------------------------------------


def followed(path: Path, then: Callable[[Bench], None]) -> None:
    """Follow a run on a second screen and look at it."""
    follower = store.read_only(path)
    assert follower.found.run is not None
    bench = Bench(Session(ReadOnlyStore(follower, follower.found.run), path, lambda: NOW), Look())

    async def go() -> None:
        async with RunsheetApp(bench, "ansi-dark").run_test(size=(80, 24)):
            then(bench)

    asyncio.run(go())


def test_a_page_that_is_open_while_another_program_changes_the_run_is_told_to_be_older(water: Path) -> None:
    """The report as it stands went on being called that, with the day before the change in it."""
    text = water.read_text(encoding="utf-8")

    def then(bench: Bench) -> None:
        bench._tick()  # noqa: SLF001
        bench.open_page(Content("Report as it stands", ["Orla Sound"]))
        bench._tick()  # noqa: SLF001
        assert bench.message == ""
        water.write_text(text.replace("Orla Sound", "Other Sound"), encoding="utf-8")
        bench._tick()  # noqa: SLF001
        assert "Other Sound" in (bench.session.run.run.title or "")
        assert bench.message == "10:52: another program changed the run; a page opened before shows it without that"
        bench.close_page()
        bench.message = ""
        water.write_text(text.replace("Orla Sound", "Third Sound"), encoding="utf-8")
        bench._tick()  # noqa: SLF001
        assert bench.message == ""

    followed(water, then)


def test_a_second_screen_says_when_it_cannot_follow(water: Path) -> None:
    text = water.read_text(encoding="utf-8")

    def said(bench: Bench) -> str:
        bench._tick()  # noqa: SLF001
        return status_words.trouble(bench) or status_words.saved(bench)

    def then(bench: Bench) -> None:
        assert said(bench) == "read-only"
        shown = bench.session.run
        water.rename(water.with_name("away"))
        assert said(bench) == "NOT FOLLOWED: water.toml is not there, and no log to make it from"
        assert bench.session.run == shown
        pipe(water)
        assert said(bench).startswith("NOT FOLLOWED: a pipe")
        water.unlink()
        water.write_text("[[queue", encoding="utf-8")
        assert said(bench) == "NOT FOLLOWED: the document has errors"
        assert said(bench) == "NOT FOLLOWED: the document has errors"
        assert bench.session.run == shown
        water.with_name("away").replace(water)
        assert said(bench) == "read-only"
        time.sleep(0.01)
        water.write_text(text.replace("Orla Sound", "Other Sound"), encoding="utf-8")
        assert said(bench) == "read-only"
        assert "Other Sound" in (bench.session.run.run.title or "")

    followed(water, then)


def test_a_report_that_is_not_written_leaves_the_one_that_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a full disk 'not written' was said of a file that was empty by then; and no name in .htm was one."""
    water, report = tmp_path / "water.toml", tmp_path / "water.htm"
    water.write_text(demo.text("water-day"), encoding="utf-8")

    def full(*_of: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def write(drive: Drive) -> None:
        pages.write_report(drive.bench, str(report))
        assert drive.bench.message == f"written: {report}"
        before = report.read_bytes()
        with monkeypatch.context() as patch:
            patch.setattr(files.Disk, "write", full)
            pages.write_report(drive.bench, str(report))
            assert drive.bench.prompt is not None
            drive.bench.prompt.answer("y")
            assert drive.bench.message == f"not written: {report}: the disk is full"
        assert report.read_bytes() == before
        pages.write_report(drive.bench, str(tmp_path / "water.pdf"))
        assert drive.bench.message == "not written: a report's name ends in .html, .htm, .md, .txt"

    Drive(water).run(then=write)


@pytest.mark.parametrize(("which", "state"), [("t", "changed"), ("o", "whole")])
def test_the_document_of_another_program_is_judged_as_soon_as_it_is_gone_on_with(
    which: str, state: str, water: Path
) -> None:
    """The screen went on to say pass, and the trail was found changed when somebody signed or opened it again."""

    def change(drive: Drive) -> None:
        assert drive.store.flush()
        water.write_text(water.read_text(encoding="utf-8").replace("0.112", "0.212"), encoding="utf-8")
        until(lambda: "another program changed it" in look(drive), 4)
        assert drive.bench.prompt is not None
        drive.bench.prompt.answer(which)
        assert drive.bench.session.trail.state == state
        fails = any(each.rule == "trail" and each.state == "fail" for each in drive.sheet.quality)
        assert fails == (state == "changed")
        assert ("document changed outside it" in look(drive)) == (state == "changed")

    Drive(water).run(typed("0.112"), then=change)


def test_the_head_line_never_cuts_a_changed_document_to_a_whole_log(water: Path) -> None:
    """Beside a long state it said "log whole, document…": the word that mattered was not there."""

    def change(drive: Drive) -> None:
        assert drive.store.flush()
        water.write_text(water.read_text(encoding="utf-8").replace("0.112", "0.212"), encoding="utf-8")
        until(lambda: "another program changed it" in look(drive), 4)
        assert drive.bench.prompt is not None
        drive.bench.prompt.answer("t")
        assert "changed outside log" in look(drive).splitlines()[0]

    Drive(water, size=(60, 24)).run(typed("0.112"), then=change)
