"""What other systems do otherwise, as far as it can be tried on this one: the calls are theirs, the answers played."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
import threading
import time
import unicodedata
from datetime import UTC, datetime
from pathlib import Path

import pytest

from runsheet import demo
from runsheet.run import edit
from runsheet.run.disk import files, state, store
from runsheet.run.disk.files import DISK
from tests.systems import NO_MODES

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)


@pytest.fixture
def hindered(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A system on which a reader hinders; the pauses made."""
    made: list[float] = []
    monkeypatch.setattr(files, "HINDERED", True)
    me, real = threading.get_ident(), time.sleep

    def sleep(seconds: float) -> None:  # a thread that a test before this one left may sleep too
        if threading.get_ident() == me:
            made.append(seconds)
        else:
            real(seconds)

    monkeypatch.setattr(time, "sleep", sleep)
    return made


def failing(times: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the next renamings refused so many times, as while another program reads the file."""
    left, real = [times], Path.replace

    def replace(self: Path, target: Path) -> Path:
        if left[0] > 0:
            left[0] -= 1
            raise PermissionError(13, "Permission denied")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)


def test_a_file_that_is_read_for_an_instant_is_replaced(
    tmp_path: Path, hindered: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_text("new")
    (tmp_path / "b").write_text("old")
    failing(3, monkeypatch)
    DISK.replace(tmp_path / "a", tmp_path / "b")
    assert (tmp_path / "b").read_text() == "new"
    assert len(hindered) == 3


def test_one_that_is_read_for_ever_is_told_after_a_second(
    tmp_path: Path, hindered: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a").write_text("new")
    failing(99, monkeypatch)
    with pytest.raises(PermissionError):
        DISK.replace(tmp_path / "a", tmp_path / "b")
    assert 0.5 < sum(hindered) < 2


def test_where_none_hinders_what_is_not_permitted_is_told_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(files, "HINDERED", False)
    monkeypatch.setattr(time, "sleep", lambda _seconds: pytest.fail("it waited"))
    failing(1, monkeypatch)
    with pytest.raises(PermissionError):
        DISK.replace(tmp_path / "a", tmp_path / "b")


@pytest.mark.parametrize(
    "name",
    ["nul.toml", "NUL", "con.toml", "Com1.day.toml", "lpt9.toml", "aux .toml", "a:b.toml", "a?.toml", "day.", "day "],
)
def test_a_name_that_is_no_file_s_on_windows_is_told(name: str) -> None:
    assert files.not_a_name(name).count("system") == 1


@pytest.mark.parametrize("name", ["day.toml", "console.toml", "com10.toml", "null.toml", "a b-c_d (2).toml", "µ.toml"])
def test_a_name_that_is_one_is_taken(name: str) -> None:
    assert files.not_a_name(name) == ""


def blind(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system that takes no notice of case and composition."""

    def same(self: Path, other: str) -> bool:
        return unicodedata.normalize("NFC", str(self)).lower() == unicodedata.normalize("NFC", other).lower()

    monkeypatch.setattr(Path, "samefile", same)


SPELLINGS = ["Ölhafen Day.toml", "ölhafen day.toml", unicodedata.normalize("NFD", "Ölhafen Day.toml")]


def test_all_spellings_of_one_file_have_one_draft_and_one_rescue(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    apart = {state.kept_for(tmp_path / name, ".draft") for name in SPELLINGS}
    assert len(apart) == 3  # here they are three files
    blind(monkeypatch)
    assert len({state.kept_for(tmp_path / name, ".draft") for name in SPELLINGS}) == 1
    assert len({state.of_path(tmp_path / name) for name in SPELLINGS}) == 1


def test_two_files_that_differ_in_case_only_keep_apart_where_they_are_two(tmp_path: Path) -> None:
    for name in ("Day.toml", "day.toml"):
        (tmp_path / name).touch()
    if (tmp_path / "Day.toml").samefile(tmp_path / "day.toml"):
        pytest.skip("this disk takes no notice of case")
    assert state.of_path(tmp_path / "Day.toml") != state.of_path(tmp_path / "day.toml")


def test_what_asks_the_drive_for_its_own_cache_comes_first_where_there_is_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []

    def full(_fd: int) -> bool:
        asked.append("full")
        return True

    monkeypatch.setattr(files, "full_sync", full)
    monkeypatch.setattr(os, "fsync", lambda _fd: asked.append("plain"))
    monkeypatch.setattr(files, "_data_sync", lambda _fd: asked.append("plain"))
    with (tmp_path / "a").open("wb") as file:
        DISK.sync(file.fileno())
        DISK.sync_data(file.fileno())
    assert asked == ["full", "full"]


LEAVES = """
import os, sys
from datetime import datetime
from pathlib import Path
from runsheet.run.disk import store
store.open_for_writing(Path(sys.argv[1]), "I. Varga", datetime.fromisoformat(sys.argv[2]))
os._exit(0)
"""
"""Opens a run and ends without letting it go."""


def test_a_lock_that_was_taken_over_is_told_on_opening(tmp_path: Path) -> None:
    path = tmp_path / "day.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    subprocess.run([sys.executable, "-c", LEAVES, str(path), NOW.isoformat()], check=True)
    opened = store.open_for_writing(path, "B. Okoro", NOW)
    assert opened.notes[0].startswith("lock taken over: I. Varga opened it on ")
    assert opened.notes[0].endswith("that process has ended")
    opened.close()
    again = store.open_for_writing(path, "B. Okoro", NOW)
    assert not [note for note in again.notes if "lock" in note]
    again.close()


# --- a disk that keeps no modes, or syncs no folder ---


def opened_for(tmp_path: Path) -> store.Store:
    path = tmp_path / "day.toml"
    if not path.exists():
        path.write_text(demo.text("water-day"), encoding="utf-8")
    return store.open_for_writing(path, "I. Varga", NOW)


def remark(run: store.Store) -> None:
    run.accept([edit.set_value(run.run, "run.note", "a remark")], NOW)


@pytest.fixture
def open_to_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk on which every file is everybody's and no mode can be set."""
    real = os.open

    def made(path: Path, flags: int, mode: int = 0o777) -> int:
        fd = real(path, flags, mode)
        if flags & os.O_CREAT:
            os.fchmod(fd, 0o755)
        return fd

    def refused(_path: Path, _mode: int) -> None:
        raise PermissionError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "open", made)
    monkeypatch.setattr(Path, "chmod", refused)


@pytest.fixture(params=[errno.EINVAL, errno.ENOTSUP, errno.ENOSYS])
def no_folder_sync(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system that knows no sync of a folder."""
    real = os.fsync

    def sync(fd: int) -> None:
        if stat.S_ISDIR(os.fstat(fd).st_mode):
            raise OSError(request.param, os.strerror(request.param))
        real(fd)

    monkeypatch.setattr(os, "fsync", sync)


@NO_MODES
def test_a_disk_that_keeps_all_is_told_nothing_of(tmp_path: Path) -> None:
    run = opened_for(tmp_path)
    assert run.notes == ()
    run.close()


@NO_MODES
@pytest.mark.usefixtures("open_to_all")
def test_a_disk_without_modes_is_told_once_and_saved_on(tmp_path: Path) -> None:
    run = opened_for(tmp_path)
    assert run.notes == ("this disk keeps no file modes: who may read the run and its log is up to the folder",)
    remark(run)
    assert run.close()
    assert not run.trouble
    assert "a remark" in (tmp_path / "day.toml").read_text(encoding="utf-8")
    again = opened_for(tmp_path)
    assert again.notes == ()  # told when the run was first worked on
    again.close()


@NO_MODES
@pytest.mark.usefixtures("no_folder_sync")
def test_a_disk_that_syncs_no_folder_is_told_once_and_saved_on(tmp_path: Path) -> None:
    run = opened_for(tmp_path)
    assert run.notes == (
        "this system syncs no folder: after a power cut a file just made may be missing, one just replaced the old one",
    )
    remark(run)
    assert run.close()
    assert not run.trouble
    assert "a remark" in (tmp_path / "day.toml").read_text(encoding="utf-8")


def test_a_disk_that_fails_to_sync_a_folder_is_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_fd: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(OSError, match="Input/output"):
        DISK.sync_folder(tmp_path)


def test_what_this_system_lacks_is_told_where_it_lacks_it(tmp_path: Path) -> None:
    """On each system: what a file and a folder really do here, without the program."""
    bare = tmp_path / "bare"
    os.close(os.open(bare, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    run = opened_for(tmp_path)
    assert any("file modes" in note for note in run.notes) == bool(bare.stat().st_mode & 0o077)
    assert any("syncs no folder" in note for note in run.notes) == (os.name != "posix")
    assert not files.new_of(tmp_path / "day.toml").exists()
    run.close()
