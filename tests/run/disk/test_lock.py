"""One writer: who holds a run, who has left, and what happens when two come at once."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from runsheet.run.disk import files, lock
from runsheet.run.disk.files import lock_of
from runsheet.run.disk.lock import Holder, Lock

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
HOLD = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from runsheet.run.disk import lock
held = lock.acquire(Path(sys.argv[1]), "I. Varga", datetime(2026, 3, 11, 9, 5, tzinfo=UTC))
print("held" if isinstance(held, lock.Lock) else "refused", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def document(tmp_path: Path) -> Path:
    path = tmp_path / "KB-0311.toml"
    path.write_text("")
    return path


def held(document: Path, now: datetime = NOW) -> Lock:
    found = lock.acquire(document, "I. Varga", now)
    assert isinstance(found, Lock)
    return found


def refused(document: Path, now: datetime = NOW, *, take_over: bool = False) -> Holder:
    found = lock.acquire(document, "B. Okoro", now, take_over=take_over)
    assert isinstance(found, Holder)
    return found


def left_by(document: Path, host: str, heartbeat: datetime, machine: str = "another") -> None:
    note = {"host": host, "pid": 1, "user": "I. Varga", "since": NOW.isoformat(), "heartbeat": heartbeat.isoformat()}
    lock_of(document).write_text(json.dumps(note | {"machine": machine}))


def start(document: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", HOLD, str(document)]
    root = Path(lock.__file__).parents[3]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, cwd=root)


def answer(process: subprocess.Popen[str]) -> str:
    assert process.stdout is not None
    return process.stdout.readline().strip()


def finish(process: subprocess.Popen[str]) -> None:
    process.communicate(timeout=10)


def test_the_lock_file_says_who_where_and_since_when(document: Path) -> None:
    ours = held(document)
    assert json.loads(lock_of(document).read_text()) == {
        "host": socket.gethostname(),
        "pid": os.getpid(),
        "user": "I. Varga",
        "since": "2026-03-11T09:05:00+00:00",
        "heartbeat": "2026-03-11T09:05:00+00:00",
        "machine": lock.machine(),
    }
    ours.release()
    assert not lock_of(document).exists()


def test_a_second_opener_is_told_and_may_not_take_it(document: Path) -> None:
    ours = held(document)
    for take_over in (False, True):
        other = refused(document, NOW + timedelta(days=1), take_over=take_over)
        assert (other.alive, other.stale) == (True, False)
        who = f"I. Varga opened it on {socket.gethostname()} at 2026-03-11T09:05 (process {os.getpid()})"
        assert other.words() == f"{who} and has it open"
    assert ours.held()
    ours.release()
    held(document).release()


def test_a_killed_holder_is_seen_and_its_lock_taken_unasked(document: Path) -> None:
    process = start(document)
    assert answer(process) == "held"
    assert refused(document).alive
    process.kill()
    finish(process)
    taken = lock.acquire(document, "B. Okoro", NOW)
    assert isinstance(taken, Lock)
    assert taken.took is not None
    assert (taken.took.alive, taken.took.stale, taken.took.here) == (False, True, True)
    assert taken.took.words().endswith("that process has ended")
    assert json.loads(lock_of(document).read_text())["user"] == "B. Okoro"
    assert refused(document, take_over=True).alive
    taken.release()


@pytest.mark.parametrize(("minutes", "stale"), [(0, False), (4, False), (6, True)])
def test_a_holder_on_another_host_is_judged_by_its_heartbeat(document: Path, minutes: int, stale: bool) -> None:  # noqa: FBT001
    left_by(document, "elsewhere", NOW)
    other = refused(document, NOW + timedelta(minutes=minutes))
    assert (other.alive, other.stale) == (False, stale)
    assert other.words().endswith("its last sign of life was at 2026-03-11T09:05:00+00:00")
    taken = lock.acquire(document, "B. Okoro", NOW + timedelta(minutes=minutes), take_over=True)
    assert isinstance(taken, Lock) == stale
    if isinstance(taken, Lock):
        taken.release()


def test_a_holder_gives_signs_of_life(document: Path) -> None:
    ours = held(document)
    ours.beat(NOW + timedelta(seconds=10))
    assert json.loads(lock_of(document).read_text())["heartbeat"] == NOW.isoformat()
    ours.beat(NOW + timedelta(seconds=40))
    assert json.loads(lock_of(document).read_text())["heartbeat"] == (NOW + timedelta(seconds=40)).isoformat()
    ours.release()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"host": "x"}', '{"host": 1, "pid": 1, "user": 1}', "[" * 99_999])
def test_an_unreadable_lock_is_left_alone_at_first_and_taken_when_old(document: Path, text: str) -> None:
    lock_of(document).write_text(text)
    young = refused(document, take_over=True)
    assert young.words() == "the lock file cannot be read; it is just being made"
    os.utime(lock_of(document), (0, 0))
    assert refused(document).stale
    taken = lock.acquire(document, "B. Okoro", NOW, take_over=True)
    assert isinstance(taken, Lock)
    taken.release()


def test_a_lock_taken_by_someone_else_is_noticed_and_not_removed(document: Path) -> None:
    ours = held(document)
    left_by(document, "elsewhere", NOW)
    assert not ours.held()
    ours.release()
    assert lock_of(document).exists()


@pytest.mark.skipif(files.HINDERED, reason="a file that is open cannot be taken away there")
def test_a_lock_that_vanished_is_made_again(document: Path) -> None:
    ours = held(document)
    lock_of(document).unlink()
    assert ours.held()
    assert refused(document).alive
    ours.release()
    assert not lock_of(document).exists()


@pytest.mark.skipif(sys.platform == "win32", reason="a symbolic link needs a privilege there, and Wine shows its end")
def test_a_link_in_the_lock_s_place_is_refused(document: Path, tmp_path: Path) -> None:
    lock_of(document).symlink_to(tmp_path / "nothing")
    with pytest.raises(OSError, match=r"comes and goes|symbolic links"):
        lock.acquire(document, "I. Varga", NOW)


def test_what_a_lock_file_says_is_safe_to_show(document: Path) -> None:
    left_by(document, "else\x1b[2Jwhere", NOW)
    assert r"else\x1b[2Jwhere" in refused(document).words()


def race(document: Path, *, take_over: bool = False) -> list[Lock]:
    """Let two go for the lock at the same moment and give those who got it."""
    won: list[Lock] = []
    ready = threading.Barrier(2)

    def go() -> None:
        ready.wait()
        found = lock.acquire(document, "I. Varga", NOW, take_over=take_over)
        if isinstance(found, Lock):
            won.append(found)

    rivals = [threading.Thread(target=go) for _ in range(2)]
    for rival in rivals:
        rival.start()
    for rival in rivals:
        rival.join()
    return won


def test_of_two_started_together_one_wins_fifty_times(document: Path) -> None:
    for _ in range(50):
        (won,) = race(document)
        won.release()


def test_of_two_that_take_over_together_one_wins_fifty_times(document: Path) -> None:
    for _ in range(50):
        left_by(document, "elsewhere", NOW - timedelta(hours=1))
        (won,) = race(document, take_over=True)
        won.release()


def test_a_machine_whose_name_changed_left_its_own_lock(document: Path) -> None:
    left_by(document, "name-of-another-network", NOW, lock.machine())
    assert not refused(document, NOW + timedelta(seconds=30)).stale  # a copy of this machine would be silent as long
    taken = lock.acquire(document, "B. Okoro", NOW + timedelta(seconds=61))
    assert isinstance(taken, Lock)
    assert taken.took is not None
    assert taken.took.words().endswith("that process has ended")
    taken.release()


def test_a_live_process_of_a_machine_whose_name_changed_is_seen(
    document: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = held(document)
    monkeypatch.setattr(socket, "gethostname", lambda: "name-of-another-network")
    assert refused(document, NOW + timedelta(hours=1), take_over=True).alive
    assert ours.held()
    ours.release()
    assert not lock_of(document).exists()


def test_another_machine_of_our_name_is_another_machine(document: Path) -> None:
    left_by(document, socket.gethostname(), NOW, "another")
    other = refused(document, NOW + timedelta(minutes=1))
    assert (other.stale, other.here) == (False, False)


def test_a_lock_of_another_machine_is_never_taken_unasked(document: Path) -> None:
    left_by(document, "elsewhere", NOW)
    assert refused(document, NOW + timedelta(days=9)).stale


def test_the_mark_of_the_machine_is_no_copy_of_the_system_s_own() -> None:
    own = Path("/etc/machine-id")
    assert lock.machine() == lock.machine()
    if own.exists():
        assert own.read_text().strip() not in lock.machine()
