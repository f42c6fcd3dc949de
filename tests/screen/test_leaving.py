"""Leaving on a full disk: not while an accepted entry is nowhere but in memory, unless the word is said."""

from __future__ import annotations

import errno
import os
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk import files, opening, rescue, state, store
from runsheet.screen import leaving, start
from runsheet.screen.app import RunsheetApp
from tests.screen.driving import Drive, typed
from tests.screen.pty_runs import FIRST, accepted, opened
from tests.simulation.full_disk import fill, tmpfs

if TYPE_CHECKING:
    from tests.terminal import Terminal


class Room:
    """Whether the disk has any; another one, at `elsewhere`, always has."""

    left = True
    elsewhere = "another disk"


@pytest.fixture
def room(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Room:
    """A disk that takes nothing once there is no room left on it, and no other place to keep anything."""
    found, write = Room(), files.Disk.write

    def limited(disk: files.Disk, fd: int, data: bytes, at: int = 0) -> None:
        if not found.left and found.elsewhere not in str(Path(f"/proc/self/fd/{fd}").readlink()):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write(disk, fd, data, at)

    monkeypatch.setattr(files.Disk, "write", limited)
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    return found


def readings(path: Path) -> list[Decimal | int]:
    found = store.read_only(path).found
    assert found.run is not None
    return [reading for row in found.run.queue[FIRST:] for reading in row.readings]


def no_room(room: Room) -> None:
    """Let the disk be full from now on, the reserve gone too."""
    room.left = False
    (state.folder() / rescue.RESERVE).unlink(missing_ok=True)


def answer(drive: Drive, text: str) -> None:
    prompt, drive.bench.prompt = drive.bench.prompt, None
    assert prompt is not None
    prompt.answer(text)


def shown(drive: Drive) -> str:
    return "\n".join(drive.screen())


def test_quitting_is_refused_and_asked_about(water: Path, room: Room) -> None:
    drive = Drive(water)
    no_room(room)

    def then(drive: Drive) -> None:
        assert drive.bench.app.is_running
        assert drive.bench.prompt is not None
        told = " ".join(shown(drive).split())
        assert "2 entries are kept in memory only" in told
        assert "2 entries in memory only. Free space, then Enter; or a folder; or lose:" in told

    drive.run(typed("0.112"), "q", then=then)


def test_quitting_is_refused_while_there_is_no_room_and_goes_on_once_there_is(water: Path, room: Room) -> None:
    drive = Drive(water)
    no_room(room)

    def then(drive: Drive) -> None:
        assert "not left: there is still no room" in shown(drive)
        room.left = True

    drive.run(typed("0.112"), "q", "enter", then=then)
    assert readings(water) == [Decimal("0.112")]
    again = Drive(water)
    no_room(room)

    def freed(drive: Drive) -> None:
        room.left = True
        answer(drive, "")
        assert not drive.store.unkept

    again.run(typed("0.113"), "q", then=freed)
    assert readings(water) == [Decimal("0.112"), Decimal("0.113")]


def test_another_folder_takes_the_run_with_all_its_entries(water: Path, room: Room, tmp_path: Path) -> None:
    drive = Drive(water)
    no_room(room)
    elsewhere = tmp_path / room.elsewhere

    def then(drive: Drive) -> None:
        answer(drive, str(elsewhere))
        assert "not left: no such folder: " in shown(drive)
        elsewhere.mkdir()
        leaving.leave(drive.bench)
        answer(drive, str(elsewhere))

    drive.run(typed("0.112"), "q", then=then)
    copy = elsewhere / water.name
    assert readings(copy) == [Decimal("0.112")]
    assert opening.verify(copy) == []
    assert start.told(drive.store)[-1] == f"runsheet: the run with all its entries is {copy}; go on with that one"


def test_leaving_with_the_word_prints_what_is_lost(water: Path, room: Room, monkeypatch: pytest.MonkeyPatch) -> None:
    codes: list[int] = []
    leave = RunsheetApp.exit

    def left(app: RunsheetApp, **how: int) -> None:
        codes.append(how["return_code"])
        leave(app, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(RunsheetApp, "exit", left)
    drive = Drive(water)
    no_room(room)
    drive.run(typed("0.112"), "q", typed("lose"))
    assert codes == [2]
    lines = start.told(drive.store)
    assert "runsheet: these entries were accepted and are on no disk:" in lines
    assert any("queue[19].readings: nothing -> [0.112]" in line for line in lines)
    assert readings(water) == []


def test_the_whole_path_of_a_rescue_is_on_a_small_screen(
    water: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / ("a-long-name-of-a-folder-" * 3)
    monkeypatch.setenv("RUNSHEET_STATE", str(folder))
    drive = Drive(water)

    def then(drive: Drive) -> None:
        path = files.log_of(water)
        path.rename(path.with_name("away"))
        path.mkdir()  # the log's place is taken; the state folder has room
        drive.store.flush()
        drive.bench._tick()  # noqa: SLF001
        (kept,) = folder.glob("*.rescue")
        whole = "".join(line.ljust(80) for line in drive.screen())
        assert str(kept) in whole.replace("  ", " ").replace("  ", "") or str(kept).replace(" ", "") in whole.replace(
            " ", ""
        )
        path.rmdir()
        path.with_name("away").rename(path)

    drive.run(typed("0.112"), then=then)


# --- on a real terminal ---


def on_a_full_disk(terminals: list[Terminal], small: Path, water: Path) -> Terminal:
    """Open a run on a small disk with the state folder on it, fill the disk, and type a reading.

    Its content is of no other test: what it leaves in the machine's memory would be told to a run that begins alike.
    """
    run = small / "water.toml"
    run.write_bytes(water.read_bytes().replace(b"OS-0311", b"OS-FULL"))
    env = {"RUNSHEET_STATE": str(small / "state"), "XDG_RUNTIME_DIR": str(small / "runtime")}
    terminal = opened(run, terminals, "env", **env)
    fill(small / "ballast", 0)
    accepted(terminal)
    return terminal


def test_a_full_disk_and_one_q(water: Path, tmp_path: Path, terminals: list[Terminal]) -> None:
    """A real disk of 1 MB, full, nothing set aside yet; the folder in memory takes what was typed."""
    small = tmp_path / "small"
    small.mkdir()
    with tmpfs(small, "1M") as made:
        if not made:
            pytest.skip("mounting a small tmpfs needs root")
        terminal = on_a_full_disk(terminals, small, water)
        terminal.wait("NOT SAVED: the disk is full")
        terminal.send("q")
        assert terminal.exit_code() == 0
        (kept,) = rescue.known(small / "water.toml")
        assert "kept in memory and in" in terminal.text()
        found = opening.look(small / "water.toml")
        assert found.rescued == 2
        assert readings(small / "water.toml") == [Decimal("0.112")]
        kept.unlink()
