"""Something else in the place of a run's files or folder while it is open: said, left alone, nothing lost or hung."""

from __future__ import annotations

import os
import shutil
import threading
from functools import partial
from typing import TYPE_CHECKING, Literal

import pytest

from runsheet.run.disk import files, opening, store
from runsheet.run.disk.files import Disk
from runsheet.run.disk.store import CannotOpenError
from tests.run.disk.test_store import NOW, START, Open, document, opened, read, readings, state, until, verified

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

__all__ = ["document", "opened", "state"]  # the fixtures


def put(kind: str, path: Path) -> None:
    """Put something else in a file's place, at once where the system can: the saving thread looks all the time."""
    os.link(path, path.with_name(f"{path.name}.away"))
    if kind == "folder":
        path.unlink()
        path.mkdir()
        return
    new = path.with_name("new")
    if kind == "pipe":
        os.mkfifo(new)
    else:
        new.symlink_to(path.with_name("other" if kind == "link" else "nothing"))
    new.replace(path)


def itself(path: Path) -> Path:
    return path


def take_away(kind: str, path: Path) -> None:
    """Take it away again."""
    if kind == "link":
        assert path.with_name("other").read_text() == "someone else's"
    if kind == "loose link":
        assert not path.with_name("nothing").exists()
    if kind == "folder":
        path.rmdir()  # fails where anything was put into it
    else:
        path.unlink()


def in_time(what: Callable[[], object], seconds: float = 5.0) -> None:
    """Do something that must not hang."""
    failed: list[Exception] = []

    def do() -> None:
        try:
            what()
        except Exception as error:  # noqa: BLE001 - raised again below
            failed.append(error)

    thread = threading.Thread(target=do, daemon=True)
    thread.start()
    thread.join(seconds)
    assert not thread.is_alive(), "it hangs"
    if failed:
        raise failed[0]


KINDS = ("folder", "link", "loose link", "pipe")


@pytest.mark.parametrize("kind", KINDS)
def test_in_the_place_of_the_document(kind: str, document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    (document.with_name("other")).write_text("someone else's")
    put(kind, document)
    until(lambda: run.conflict)  # noticed without an edit
    in_time(lambda: read(run, 2, "0.140"))
    in_time(run.flush)
    assert run.conflict is not None
    assert f"a {kind.removeprefix('loose ')} stands in its place" in run.conflict.words
    assert "0.140" in run.conflict.ours.read_text()
    choices: tuple[Literal["ours", "theirs"], ...] = ("ours", "theirs")
    for which in choices:
        with pytest.raises(CannotOpenError):
            in_time(partial(run.keep, which, NOW))
    take_away(kind, document)
    in_time(lambda: run.keep("ours", NOW))
    until(lambda: not run.pending)
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("which", [files.log_of, files.lock_of])
def test_in_the_place_of_log_and_lock(
    which: Callable[[Path], Path], kind: str, document: Path, opened: Open, state: Path
) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    (document.with_name("other")).write_text("someone else's")
    put(kind, which(document))
    in_time(lambda: read(run, 2, "0.140"))
    assert "kept in memory and in" in run.trouble
    kept = next(state.glob("*.rescue")).read_bytes()
    assert b"0.140" in kept
    take_away(kind, which(document))
    until(lambda: not run.trouble)
    in_time(run.close)
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("which", [itself, files.log_of, files.lock_of])
def test_there_at_opening(which: Callable[[Path], Path], kind: str, document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.close()
    which(document).touch()
    (document.with_name("other")).write_text("someone else's")
    put(kind, which(document))

    def open_() -> None:
        try:
            opened(document).close()
        except CannotOpenError as error:
            assert str(error)  # noqa: PT017 - a refusal in words is as good as an opening

    in_time(open_)
    if which is not files.lock_of:
        for read_ in (store.read_only, opening.verify):
            try:
                in_time(partial(read_, document))
            except OSError as error:
                assert files.words(error)  # noqa: PT017
    take_away(kind, which(document))


def test_a_document_that_is_gone_while_it_is_asked_about(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    document.write_text(START.replace("KB-0311", "other"))
    until(lambda: run.conflict)
    document.unlink()
    with pytest.raises(CannotOpenError, match="is not there"):
        run.keep("theirs", NOW)
    run.keep("ours", NOW)
    assert run.close()
    assert readings(document) == ["0.130"]
    assert verified(document) == []


def test_a_log_that_was_cut_is_kept_elsewhere_at_once(document: Path, opened: Open, state: Path) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    whole = files.log_of(document).read_bytes()
    files.log_of(document).write_bytes(whole[:-20])
    until(lambda: list(state.glob("*.rescue")))  # noticed without an edit
    kept = next(state.glob("*.rescue"))
    until(lambda: str(kept) in run.trouble)  # no entry is said to be in a log that lacks it
    assert kept.read_bytes() == whole
    assert run.trouble.startswith("another program changed the log")
    assert run.trouble.endswith(f"all entries are in {kept}")
    files.log_of(document).write_bytes(whole)
    until(lambda: not run.trouble)
    assert not kept.exists()


# --- the folder ----------------------------------------------------------------------------------------------------


def test_a_folder_renamed_and_named_back(document: Path, opened: Open, state: Path) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    away = document.parent.rename(document.parent.with_name("away"))
    until(lambda: run.trouble)  # noticed without an edit
    read(run, 2, "0.140")
    assert run.trouble.startswith("the folder is gone")
    assert b"0.140" in next(state.glob("*.rescue")).read_bytes()
    assert not document.parent.exists()
    away.rename(document.parent)
    until(lambda: not run.trouble)
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


@pytest.mark.parametrize("kind", ["file", "empty folder", "link"])
def test_a_folder_replaced(kind: str, document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    folder = document.parent
    away = folder.rename(folder.with_name("away"))
    if kind == "file":
        folder.write_text("someone else's")
    elif kind == "link":
        folder.symlink_to(away)
    else:
        folder.mkdir()
    read(run, 2, "0.140")
    if kind == "file":
        assert run.trouble.startswith("the folder is gone")
        assert folder.read_text() == "someone else's"
        folder.unlink()
        away.rename(folder)
    until(lambda: not run.trouble and not run.pending)
    assert run.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


def _removed(folder: Path) -> bool:
    """Remove a folder; the saving thread may write into it just then."""
    shutil.rmtree(folder, ignore_errors=True)
    return not folder.exists()


def test_a_folder_removed_for_good_and_the_run_opened_again(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    until(lambda: _removed(document.parent))
    read(run, 2, "0.140")
    assert not run.close()
    document.parent.mkdir()
    again = opened(document)
    assert again.came_back == 2
    assert again.close()
    assert readings(document) == ["0.130", "0.140"]
    assert verified(document) == []


# --- in the instant of a save --------------------------------------------------------------------------------------


class Meddler(Disk):
    """A disk where another program writes the document while we do, just before ours would take its place."""

    def __init__(self, document: Path) -> None:
        self.document = document
        self.theirs = b""

    def sync(self, fd: int) -> None:
        super().sync(fd)
        if self.theirs:
            self.document.write_bytes(self.theirs)
            self.theirs = b""


@pytest.mark.parametrize("gone", [False, True])
def test_a_change_while_ours_is_written_is_not_written_over(gone: bool, document: Path, opened: Open) -> None:  # noqa: FBT001
    disk = Meddler(document)
    run = opened(document, disk=disk)
    read(run, 1, "0.130")
    assert run.flush()
    theirs = START.replace("KB-0311", "other").encode()
    disk.theirs = theirs
    if gone:  # as a program does that removes a file before it writes it anew
        document.unlink()
    else:
        read(run, 2, "0.140")
    until(lambda: not disk.theirs)
    run.flush()
    assert run.conflict is not None
    assert document.read_bytes() == theirs
    assert "0.130" in run.conflict.ours.read_text()


def test_theirs_once_taken_is_kept_as_they_wrote_it(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    theirs = f"# by hand\n{START.replace('KB-0311', 'other')}"
    document.write_text(theirs)
    until(lambda: run.conflict)
    run.keep("theirs", NOW)
    assert run.flush()
    document.write_text(START.replace("KB-0311", "third"))
    until(lambda: run.conflict)
    run.keep("ours", NOW)
    assert run.flush()
    assert document.read_text() == theirs
    assert verified(document) == ["warning: line 4: here the document was taken as it stood, changed outside the log"]
    read(run, 1, "0.130")
    assert run.close()
    assert files.beside(document, "before-edit").read_text() == theirs
    assert [line for line in verified(document) if line.startswith("error")] == []


def test_a_document_that_vanished_before_its_first_edit_is_made_again(document: Path, opened: Open) -> None:
    run = opened(document)
    read(run, 1, "0.130")
    assert run.flush()
    document.write_text(START.replace("KB-0311", "other"))
    until(lambda: run.conflict)
    run.keep("theirs", NOW)
    assert run.close()
    document.unlink()
    again = opened(document)
    assert again.flush()
    assert 'id = "other"' in document.read_text()
    assert again.close()
    assert [line for line in verified(document) if line.startswith("error")] == []
