"""`-o` writes over nothing that a run needs, by whatever name; what it writes is there whole or not at all."""

from __future__ import annotations

import os
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from runsheet.command.main import main
from runsheet.run.disk import files, store
from runsheet.run.edit import Edit
from tests.make import document, row

if TYPE_CHECKING:
    from pathlib import Path

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=UTC)
REFUSED = "needs a file of its own"


@pytest.fixture
def run(tmp_path: Path) -> Path:
    """A run with a log."""
    path = tmp_path / "KB-0311.toml"
    path.write_text(document([row("OF-1", 0.1)]), encoding="utf-8")
    opened = store.open_for_writing(path, "I. Varga", NOW)
    opened.accept([Edit("set", "run.title", None, "a title")], NOW)
    assert opened.close()
    return path


def report(run: Path, output: Path) -> int:
    return main(["report", str(run), "-o", str(output)])


def targets(run: Path) -> dict[str, Path]:
    """Make every file that must stay as it is."""
    folder, log = run.parent, files.log_of(run)
    (folder / "link").symlink_to(log)
    os.link(run, folder / "hard link")
    os.link(log, folder / "hard link to the log")
    (folder / "other.toml").write_text(document(run={"id": "other"}), encoding="utf-8")
    (folder / "broken.toml").write_text("format = 1\n[run\n", encoding="utf-8")
    (folder / "copy of a log").write_bytes(log.read_bytes())
    lock = files.lock_of(folder / "other.toml")
    lock.write_text('{"host": "a", "pid": 1, "user": "b", "since": "", "heartbeat": ""}\n')
    return {path.name: path for path in (run, log, *folder.iterdir(), lock)}


NAMES = (
    "KB-0311.toml", "KB-0311.toml.log", "link", "hard link", "hard link to the log", "other.toml", "broken.toml",
    "copy of a log", ".other.toml.lock",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_what_a_run_needs_is_not_written_over(name: str, run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = targets(run)[name]
    before = path.read_bytes()
    assert report(run, path) == 2
    assert capsys.readouterr().err.endswith(f"{REFUSED}\n")
    assert path.read_bytes() == before
    assert main(["find", str(run.parent), "OF-1", "-o", str(path)]) == 2
    assert path.read_bytes() == before


def test_the_place_of_a_log_that_is_not_there_yet_is_no_place_for_a_report(run: Path) -> None:
    log = files.log_of(run)
    log.unlink()
    assert report(run, log) == 2
    assert not log.exists()


def test_a_pipe_is_refused_and_hangs_nothing(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pipe = run.with_name("pipe")
    os.mkfifo(pipe)
    assert report(run, pipe) == 2
    assert f"is a pipe or a device; what a command makes {REFUSED}" in capsys.readouterr().err


def test_a_folder_is_refused(run: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert report(run, run.parent) == 2
    assert "is a folder" in capsys.readouterr().err


def test_an_earlier_report_is_replaced_whole_and_keeps_its_mode(run: Path) -> None:
    output = run.with_name("report.txt")
    output.write_text("an earlier report")
    output.chmod(0o640)
    link = run.with_name("latest.txt")
    link.symlink_to(output)
    assert report(run, link) == 0
    assert link.is_symlink()
    assert "OF-1" in output.read_text()
    assert output.stat().st_mode & 0o777 == 0o640


def test_a_report_that_cannot_be_written_leaves_the_old_one(run: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    output = run.with_name("report.txt")
    output.write_text("an earlier report")

    def full(*_: object) -> None:
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(files.Disk, "write", full)
    assert report(run, output) == 2
    assert output.read_text() == "an earlier report"
    assert sorted(path.name for path in run.parent.iterdir()) == ["KB-0311.toml", "KB-0311.toml.log", "report.txt"]


@pytest.mark.parametrize(
    ("name", "more", "begins"),
    [
        ("day.html", (), "<!DOCTYPE html>"),
        ("day.MD", (), "# Test report"),
        ("day.txt", (), "Test report"),
        ("day.json", (), "Test report"),
        ("day.html", ("--as", "text"), "Test report"),
    ],
)
def test_a_name_s_ending_says_the_form_where_nothing_else_does(
    name: str, more: tuple[str, ...], begins: str, run: Path
) -> None:
    """`report day.toml -o day.html` wrote a page of text, and said that the report is written."""
    output = run.with_name(name)
    assert main(["report", str(run), "-o", str(output), *more]) == 0
    assert output.read_text(encoding="utf-8").startswith(begins)


def test_a_folder_s_command_goes_by_the_ending_too(run: Path) -> None:
    for name, begins in (("a.csv", '"path"'), ("a.json", "{"), ("a.sql", "BEGIN;"), ("a.html", "<!DOCTYPE")):
        assert main(["history", str(run.parent), "-o", str(run.with_name(name))]) == 0
        assert run.with_name(name).read_text(encoding="utf-8").startswith(begins)
    assert main(["find", str(run.parent), "OF-1", "-o", str(run.with_name("b.csv"))]) == 0
    assert run.with_name("b.csv").read_text(encoding="utf-8").startswith("Where 'OF-1' is")
