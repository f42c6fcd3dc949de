"""The cache: made from the documents alone, brought up to date by what changed, harmless when killed or damaged."""

from __future__ import annotations

import contextlib
import errno
import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import time
from decimal import Decimal
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, Self

import pytest

from runsheet.history import as_left, cache, documents, workers
from runsheet.history.rows import TABLES
from runsheet.run import edit
from runsheet.run.disk import files, store
from runsheet.run.disk.files import Disk
from tests import many
from tests.effort import FULL
from tests.history.folder import control, put
from tests.make import at
from tests.systems import NO_MODES

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.history.cache import Progress, Tables

Content = dict[str, list[tuple[object, ...]]]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "runs"
    many.write(made, 6)
    return made


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "history.sqlite3"


def content(tables: Tables) -> Content:
    """All rows of all tables, and what is made of them, which are closed."""
    names = [*TABLES, "twice", "series"]
    found = {name: sorted(tables.rows(f'SELECT * FROM "{name}"'), key=repr) for name in names}  # noqa: S608
    tables.close()
    return found


def fresh(folder: Path) -> Content:
    """What the documents alone say."""
    return content(cache.bring_up(folder, file=folder.parent / f"fresh-{random.random()}" / "c"))  # noqa: S311


def read_count(folder: Path, file: Path) -> int:
    """Bring the cache up to date and say how many documents were read for it."""
    seen: list[Progress] = []

    def note(progress: Progress) -> bool:
        seen.append(progress)
        return True

    cache.bring_up(folder, note, file=file).close()
    return len(seen)


def test_a_second_look_reads_nothing_and_says_the_same(folder: Path, file: Path) -> None:
    assert read_count(folder, file) == 6
    assert read_count(folder, file) == 0
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_of_a_folder_that_did_not_change_no_rows_are_asked(folder: Path, file: Path) -> None:
    read_count(folder, file)
    asked = queries(folder, file)
    assert asked
    assert not [query for query in asked if re.search('FROM "?(run|point|result)', query)]


def queries(folder: Path, file: Path) -> list[str]:
    """What the database is asked to bring the tables up to date."""
    asked: list[str] = []

    def connected(*given: Any, **more: Any) -> sqlite3.Connection:
        made: sqlite3.Connection = connect(*given, **more)
        made.set_trace_callback(asked.append)
        return made

    connect = sqlite3.connect
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sqlite3, "connect", connected)
        cache.bring_up(folder, file=file).close()
    return asked


def test_a_reading_that_was_stopped_goes_on_the_next_time(folder: Path, file: Path) -> None:
    cache.bring_up(folder, lambda _: False, file=file).close()
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_what_a_slower_program_keeps_last_is_read_again(folder: Path, file: Path) -> None:
    def overtaken(_: Progress) -> bool:
        (folder / "000" / "R-00000.toml").write_text(many.Lab(9).run(0), encoding="utf-8")
        cache.bring_up(folder, file=file).close()
        return False

    cache.bring_up(folder, overtaken, file=file).close()
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_what_another_program_keeps_between_two_transactions_is_read_again(folder: Path, file: Path) -> None:
    path = "000/R-00000.toml"
    older = documents.read(str(folder), path, documents.find(folder)[path])
    (folder / path).write_text(many.Lab(9).run(0), encoding="utf-8")
    read_count(folder, file)
    (folder / "new.toml").write_text(many.Lab(9).run(77), encoding="utf-8")

    def overtaken(_: Progress) -> bool:
        with sqlite3.connect(file) as other:
            cache.keep(other, [older])
        other.close()
        return True

    cache.bring_up(folder, overtaken, file=file).close()
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_only_what_changed_is_read_again(folder: Path, file: Path) -> None:
    read_count(folder, file)
    lab = many.Lab(9)
    (folder / "000" / "R-00002.toml").write_text(lab.run(2), encoding="utf-8")
    (folder / "000" / "R-00003.toml").unlink()
    (folder / "new.toml").write_text(lab.run(77), encoding="utf-8")
    assert read_count(folder, file) == 2
    found = content(cache.bring_up(folder, file=file))
    assert found == fresh(folder)
    assert {str(row[3]) for row in found["run"]} == {f"R-{n:05}" for n in (0, 1, 2, 4, 5, 77)}


def test_counted_are_at_any_time_the_points_of_each_run_once(folder: Path, file: Path) -> None:
    """Runs are copied, changed, superseded and taken away; each time the counts are those of a new look."""
    lab, below = many.Lab(9), folder / "000"
    first, second = below / "R-00000.toml", below / "R-00001.toml"
    steps: list[Callable[[], object]] = [
        lambda: (folder / "a copy.toml").write_bytes(first.read_bytes()),
        lambda: (folder / "second copy.toml").write_bytes(first.read_bytes()),
        lambda: first.write_text(lab.run(0, samples=3), encoding="utf-8"),
        (folder / "a copy.toml").unlink,
        first.unlink,
        lambda: second.write_text("no run", encoding="utf-8"),
        lambda: put(folder, 3, [control("LCS1", 99, report=False, reason="read again")], name="R-00002"),
        lambda: put(folder, 3, [control("LCS1", 99)], name="R-00002"),
        lambda: second.write_text(lab.run(2), encoding="utf-8"),
        lambda: (folder / "second copy.toml").write_text(lab.run(2), encoding="utf-8"),
        (below / "R-00002.toml").unlink,
        (folder / "R-00002.toml").unlink,
    ]
    read_count(folder, file)
    for step in steps:
        step()
        assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_after_a_change_no_points_of_other_runs_are_gone_through(folder: Path, file: Path) -> None:
    read_count(folder, file)
    (folder / "000" / "R-00002.toml").write_text(many.Lab(9).run(2), encoding="utf-8")
    asked = queries(folder, file)
    with contextlib.closing(sqlite3.connect(file)) as reader:
        plain = [query for query in asked if re.match(r"\s*(SELECT|INSERT|DELETE)", query)]
        plans = [str(row) for query in plain for row in reader.execute(f"EXPLAIN QUERY PLAN {query}")]
    assert [plan for plan in plans if "SEARCH point" in plan]
    assert not [plan for plan in plans if re.search("SCAN (point|study|result|lot|stands|issued|names)", plan)]


def test_a_change_that_keeps_size_and_time_is_seen_by_its_inode(folder: Path, file: Path) -> None:
    read_count(folder, file)
    document = folder / "000" / "R-00002.toml"
    before = document.stat()
    text = document.read_text(encoding="utf-8")
    other = folder / "other"
    other.write_text(text.replace("R-00002", "R-0000X"), encoding="utf-8")
    os.utime(other, ns=(before.st_atime_ns, before.st_mtime_ns))
    other.replace(document)
    assert read_count(folder, file) == 1


class FullDisk(Disk):
    """A disk that takes nothing in one folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def open(self, path: Path, flags: int, mode: int = files.PRIVATE) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR) and path.is_relative_to(self.folder):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(path))
        return super().open(path, flags, mode)


def test_entries_kept_elsewhere_are_seen_when_they_come_and_when_they_go(
    folder: Path, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk has a reading kept in the state folder: neither the document nor its log is changed by that."""
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    kept = put(folder, 1, [control("LCS1", 96), control("LCS2", 97)], name="R-KEPT")
    read_count(folder, file)
    run = store.open_for_writing(kept, "I. Varga", at(0), disk=FullDisk(folder))
    for number in (1, 2):
        run.accept(
            [edit.set_value(run.run, f"queue[{number}].readings", [Decimal("0.15")])], at(number), reason="typed"
        )
        assert run.trouble
        assert content(cache.bring_up(folder, file=file)) == fresh(folder)
    run.close()
    assert not files.log_of(kept).exists()
    with_rescue = fresh(folder)
    store.open_for_writing(kept, "I. Varga", at(3)).close()
    assert files.log_of(kept).exists()
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)
    assert fresh(folder)["point"] == with_rescue["point"]


@pytest.mark.skipif(sys.platform == "win32", reason="Windows keeps no time of change that a program cannot set")
@pytest.mark.parametrize("ending", ["", ".log"])
def test_a_change_in_place_that_keeps_size_and_puts_the_time_back_is_seen(
    folder: Path, file: Path, ending: str
) -> None:
    changed = folder / "000" / f"R-00002.toml{ending}"
    if ending:
        changed.write_text("{}\n", encoding="utf-8")
    read_count(folder, file)
    before = changed.stat()
    text = changed.read_bytes()
    with changed.open("r+b") as within:
        within.write(text[::-1])
    assert changed.read_bytes() != text
    os.utime(changed, ns=(before.st_atime_ns, before.st_mtime_ns))
    after = changed.stat()
    assert (after.st_size, after.st_mtime_ns, after.st_ino) == (before.st_size, before.st_mtime_ns, before.st_ino)
    assert read_count(folder, file) == 1


def test_what_the_log_has_ahead_of_the_document_counts(folder: Path, file: Path) -> None:
    document = folder / "000" / "R-00000.toml"
    read_count(folder, file)
    before = document.read_bytes()
    opened = store.open_for_writing(document, "tester", at(0))
    opened.accept([edit.set_value(opened.run, "run.title", "ahead")], at(1))
    opened.close()
    document.write_bytes(before)  # as after a crash: the log has it, the document not yet
    tables = cache.bring_up(folder, file=file)
    assert tables.rows("SELECT title FROM run WHERE id = 'R-00000'") == [("ahead",)]
    tables.close()
    assert document.read_bytes() == before


@pytest.mark.parametrize("damage", [b"", b"no database at all" * 99, None])
def test_a_damaged_cache_is_made_anew(folder: Path, file: Path, damage: bytes | None) -> None:
    read_count(folder, file)
    good = file.read_bytes()
    for ending in ("-wal", "-shm"):
        file.with_name(file.name + ending).unlink(missing_ok=True)
    file.write_bytes(good[:4096] + os.urandom(len(good) - 4096) if damage is None else damage)
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_a_cache_of_another_version_is_made_anew(folder: Path, file: Path) -> None:
    read_count(folder, file)
    connection = sqlite3.connect(file)
    with connection:
        connection.execute("UPDATE made_by SET version = 'older'")
        connection.execute("UPDATE point SET value = 1")
    connection.close()
    assert read_count(folder, file) == 6
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_a_cache_of_an_earlier_build_of_the_same_version_is_made_anew(
    folder: Path, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Letters and limits that a build computed stayed until a document changed."""
    build = tmp_path / "build"
    (build / "compute").mkdir(parents=True)
    module = build / "compute" / "limits.py"
    module.write_text("J = 1", encoding="utf-8")
    monkeypatch.setattr(cache, "PACKAGE", build, raising=False)
    assert [read_count(folder, file) for _ in range(2)] == [6, 0]
    module.write_text("J = 2", encoding="utf-8")
    os.utime(module, ns=(1, 1))
    assert [read_count(folder, file) for _ in range(2)] == [6, 0]


def test_a_cache_that_cannot_be_kept_is_said_and_the_folder_is_read_all_the_same(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where the folder should be")
    tables = cache.bring_up(folder, file=tmp_path / "taken" / "c")
    assert "nothing is kept" in tables.note
    assert content(tables) == fresh(folder)


@NO_MODES
def test_the_cache_is_private(folder: Path, file: Path) -> None:
    tables = cache.bring_up(folder, file=file)
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700
    tables.close()


def test_stopped_in_the_middle_it_says_what_is_left_and_goes_on_from_there(folder: Path, file: Path) -> None:
    tables = cache.bring_up(folder, lambda progress: progress.done < 2, file=file)
    assert tables.unread == 4
    assert tables.rows("SELECT count(*) FROM run") == [(2,)]
    tables.close()
    assert read_count(folder, file) == 4


def test_with_too_much_to_read_none_is_read(folder: Path, file: Path) -> None:
    tables = cache.bring_up(folder, at_most=3, file=file)
    assert (tables.unread, tables.rows("SELECT count(*) FROM run")) == (6, [(0,)])
    tables.close()


@pytest.mark.skipif(sys.platform == "win32", reason="there every name is text")
@pytest.mark.parametrize("count", [3, 120])
def test_two_documents_of_one_name_in_the_tables_cost_no_other(folder: Path, file: Path, count: int) -> None:
    many.write(folder, count)
    below = folder / "000"
    (below / "R-00000.toml").rename(below / "\\xff.toml")
    (below / "R-00001.toml").rename(os.fsdecode(os.fsencode(below) + b"/\xff.toml"))
    for _ in range(2):
        tables = cache.bring_up(folder, file=file)
        found = tables.rows("SELECT path FROM run")
        assert len(found) == len(documents.find(folder)) - 1
        assert tables.note == ""
        tables.close()


def test_many_documents_read_by_several_processes_give_the_same(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    many.write(folder, 2 * documents.TOGETHER + 3)
    wanted = list(documents.find(folder).items())
    together = {facts.run.path: facts for facts in documents.read_all(folder, wanted)}
    assert together == {path: documents.read(str(folder), path, stamp) for path, stamp in wanted}


def test_a_worker_that_dies_costs_no_document(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "runs"
    many.write(folder, 2 * documents.TOGETHER)
    wanted = list(documents.find(folder).items())
    started: list[subprocess.Popen[bytes]] = []
    real = workers._started  # noqa: SLF001 - to kill what it starts

    def start() -> subprocess.Popen[bytes]:
        started.append(real())
        return started[-1]

    monkeypatch.setattr(workers, "_started", start)
    paths = []
    for number, facts in enumerate(documents.read_all(folder, wanted)):
        paths.append(facts.run.path)
        if number == 5:
            started[0].kill()
    assert sorted(paths) == [path for path, _ in wanted]


BUILD = "import sys; from pathlib import Path; from runsheet.history import cache; cache.bring_up(Path(sys.argv[1]))"


@pytest.fixture(scope="module")
def runs_read_afresh(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Content]:
    """A folder of runs, and what a cache of it holds when nothing went wrong."""
    folder = tmp_path_factory.mktemp("many") / "runs"
    many.write(folder, 120)
    return folder, fresh(folder)


@pytest.mark.parametrize("number", range(0, 6, 1 if FULL else 3))
def test_a_build_killed_at_any_moment_leaves_nothing_wrong(
    tmp_path: Path, number: int, runs_read_afresh: tuple[Path, Content]
) -> None:
    folder, expected = runs_read_afresh
    place = tmp_path / "cache"
    build = subprocess.Popen(
        [sys.executable, "-c", BUILD, str(folder)], env={**os.environ, "RUNSHEET_CACHE": str(place)}
    )
    time.sleep(0.1 + 0.12 * number)
    build.kill()
    build.wait()
    files = list(place.glob("*.sqlite3"))
    file = files[0] if files else place / "c"
    assert content(cache.bring_up(folder, file=file)) == expected


def test_workers_end_with_the_program_that_started_them(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    many.write(folder, 3 * documents.TOGETHER)
    build = subprocess.Popen(
        [sys.executable, "-c", BUILD, str(folder)], env={**os.environ, "RUNSHEET_CACHE": str(tmp_path / "c")}
    )
    own = _workers_of(build.pid)
    build.kill()
    build.wait()
    assert own
    deadline = time.monotonic() + 10
    while any(_alive(pid) for pid in own) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not [pid for pid in own if _alive(pid)]


def _workers_of(parent: int) -> list[int]:
    import psutil

    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if found := [child.pid for child in psutil.Process(parent).children()]:
            return found
        time.sleep(0.02)
    return []


def _alive(pid: int) -> bool:
    import psutil

    return psutil.pid_exists(pid) and psutil.Process(pid).status() != psutil.STATUS_ZOMBIE


# --- what is not as it was left ---


class Listing(list[object]):
    """A folder's entries as Windows lists them: without inodes."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_error: object) -> None: ...

    def close(self) -> None: ...

    @staticmethod
    def bare(entry: os.DirEntry[str]) -> object:
        real = entry.stat()
        bare = SimpleNamespace(st_size=real.st_size, st_mtime_ns=real.st_mtime_ns, st_ino=0)
        return SimpleNamespace(name=entry.name, path=entry.path, is_dir=entry.is_dir, stat=lambda: bare)


def test_an_inode_is_asked_for_where_a_listing_leaves_it_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found, scandir = documents.find(folder), os.scandir
    monkeypatch.setattr(os, "scandir", lambda path: Listing(map(Listing.bare, scandir(path))))
    assert documents.find(folder) == found


def forge(file: Path) -> None:
    with sqlite3.connect(file) as connection:
        connection.execute("UPDATE point SET value = 77 WHERE rowid = (SELECT min(rowid) FROM point)")
    connection.close()


def test_a_forged_row_is_not_believed(folder: Path, file: Path) -> None:
    read_count(folder, file)
    forge(file)
    assert read_count(folder, file) == 1  # the document the row belongs to
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows keeps no time of change that a program cannot set")
def test_a_forged_row_is_found_out_with_size_and_time_put_back(folder: Path, file: Path) -> None:
    read_count(folder, file)
    before = file.stat()
    forge(file)
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert file.stat().st_size == before.st_size
    assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_a_forged_row_is_not_believed_where_another_program_kept_the_file_from_being_whole(
    folder: Path, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_count(folder, file)
    monkeypatch.setattr(cache, "PATIENCE", 0.05)
    with contextlib.closing(sqlite3.connect(file)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM run").fetchone()
        (folder / "new.toml").write_text(many.Lab(9).run(77), encoding="utf-8")
        read_count(folder, file)
        forge(file)
        assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_a_forged_count_is_not_believed(folder: Path, file: Path) -> None:
    (folder / "a copy.toml").write_bytes((folder / "000" / "R-00000.toml").read_bytes())
    for change in ("UPDATE series SET counted = 77", "DELETE FROM series", "DELETE FROM twice"):
        read_count(folder, file)
        with sqlite3.connect(file) as connection:
            connection.execute(change)
        connection.close()
        assert content(cache.bring_up(folder, file=file)) == fresh(folder)


@pytest.mark.parametrize("table", ["point", "result", "run", "names"])
def test_a_row_taken_away_or_added_is_found_out(table: str, folder: Path, file: Path) -> None:
    for change in (
        f"DELETE FROM {table} WHERE rowid = 1",  # noqa: S608
        f"INSERT INTO {table} SELECT * FROM {table} WHERE rowid = 2",  # noqa: S608
    ):
        read_count(folder, file)
        with sqlite3.connect(file) as connection:
            connection.execute(change)
        connection.close()
        assert content(cache.bring_up(folder, file=file)) == fresh(folder)


def test_a_cache_as_it_was_left_is_not_looked_through(
    folder: Path, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_count(folder, file)

    def looked(_: object) -> None:
        raise AssertionError

    monkeypatch.setattr(as_left, "broken", looked)
    assert read_count(folder, file) == 0
    assert read_count(folder, file) == 0


def test_a_database_of_another_program_is_left_as_it_is(folder: Path, file: Path) -> None:
    file.parent.mkdir()
    with sqlite3.connect(file) as connection:
        connection.execute("CREATE TABLE run (miles REAL)")
        connection.execute("INSERT INTO run VALUES (26.2)")
    connection.close()
    before = file.read_bytes()
    tables = cache.bring_up(folder, file=file)
    assert "is the database of another program" in tables.note
    assert content(tables) == fresh(folder)
    assert file.read_bytes() == before


@NO_MODES
@pytest.mark.parametrize("mode", [0o777, 0o770, 0o722])
def test_a_cache_folder_that_others_may_write_into_is_not_used(folder: Path, file: Path, mode: int) -> None:
    file.parent.mkdir()
    file.parent.chmod(mode)
    tables = cache.bring_up(folder, file=file)
    assert "others may write into" in tables.note
    assert content(tables) == fresh(folder)
    assert list(file.parent.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="giving a folder away needs root")
def test_a_cache_folder_of_someone_else_is_not_used(folder: Path, file: Path) -> None:
    file.parent.mkdir()
    os.chown(file.parent, 12345, 12345)
    tables = cache.bring_up(folder, file=file)
    assert "belongs to someone else" in tables.note
    tables.close()
    assert list(file.parent.iterdir()) == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="what a worker hangs at is a pipe")
def test_no_worker_outlives_its_program_even_where_it_hangs(tmp_path: Path) -> None:
    pid = tmp_path / "pid"
    hang = (
        "import os, sys, threading; from runsheet.history import workers; "
        f"open({str(pid)!r}, 'w').write(str(os.getpid())); workers.end_with(int(sys.argv[1]), 0.05); "
        "threading.Event().wait()"
    )
    code = f"import os, subprocess, sys; subprocess.Popen([sys.executable, '-c', {hang!r}, str(os.getpid())])"
    code += f"\nimport time\nwhile not os.path.exists({str(pid)!r}) or not open({str(pid)!r}).read(): time.sleep(0.01)"
    subprocess.run([sys.executable, "-c", code], check=True, timeout=30, cwd=Path(cache.__file__).parents[2])
    worker = int(pid.read_text())
    for _ in range(500):
        if not Path(f"/proc/{worker}/stat").exists() or " Z " in Path(f"/proc/{worker}/stat").read_text():
            return
        time.sleep(0.01)
    os.kill(worker, signal.SIGKILL)
    pytest.fail("the worker lives on")
