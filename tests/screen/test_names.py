"""File names as people and programs make them, from `new` to the report, and on the screen."""

from __future__ import annotations

import asyncio
import os
import subprocess
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from runsheet.command import main
from runsheet.exits import Exit
from runsheet.run.disk import files, saver, store
from runsheet.screen.app import RunsheetApp
from runsheet.screen.style import Look
from runsheet.screen.typing_line import TypingLine
from runsheet.screen.welcome import Asked, Welcome, recent, remember
from tests.fuzz.keys import harmless
from tests.screen.driving import NOW, Drive, typed
from tests.screen.pty_runs import readings, until
from tests.terminal import PROGRAM

if TYPE_CHECKING:
    from collections.abc import Sequence

NO_TEXT = os.fsdecode(b"x\xb5y.toml")
"""A name that is no UTF-8, as of a disk written elsewhere."""
NAMES = (
    "a b.toml",
    'o\'hara "x".toml',
    "./-x.toml",
    "Öl µ 測.toml",
    "new\nline.toml",
    "\x1b[2J\u202e.toml",
    "[ab]*?.toml",
    "noending",
    "%s{}.toml",
    f"{'a' * 215}.toml",
    NO_TEXT,
)


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    monkeypatch.setattr(saver, "LOOK_EVERY", 0.05)
    folder = tmp_path / "runs"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def run(*words: str) -> tuple[int, str, str]:
    """Run the program itself; give its exit code and what it wrote."""
    done = subprocess.run([*PROGRAM, *words], capture_output=True, check=False)
    return done.returncode, done.stdout.decode(), done.stderr.decode()


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_from_new_to_the_report(name: str, here: Path) -> None:
    assert main.main(["new", name, "--method", "og-water"]) == 0
    path = Path(name)
    assert path.is_file()
    found = store.read_only(path).found
    assert found.run is not None
    assert found.readable
    assert found.run.run.id.isprintable()
    path.write_text(demo.text("water-day"), encoding="utf-8")
    Drive(path).run(typed("0.112"))
    assert readings(path) == [Decimal("0.112")]
    assert main.main(["check", name]) == 1  # the invented day fails
    assert main.main(["results", name]) == 0
    assert main.main(["report", name, "-o", f"{name}.html"]) == 0
    assert Path(f"{name}.html").is_file()
    assert main.main(["log", name, "--verify"]) == 0
    expected = {path.name, f"{path.name}.log", f"{path.name}.html"}
    assert {each.name for each in here.iterdir()} <= expected | {files.beside(path, "before-edit").name}


@pytest.mark.parametrize(
    "words", [["check", "--", "-x.toml"], ["check", "./-x.toml"], ["log", "--verify", "--", "-x.toml"]]
)
def test_a_name_with_a_leading_dash(words: Sequence[str]) -> None:
    Path("-x.toml").write_text(demo.text("water-day"), encoding="utf-8")
    Drive(Path("-x.toml")).run(typed("0.112"))
    assert main.main(words) in {Exit.FINE, Exit.FAILS}


def test_two_dashes_alone_open_what_follows() -> None:
    code, out, told = run("--", "-x.toml")
    assert (code, out) == (2, "")
    assert "needs a terminal" in told


def test_a_name_that_is_no_text_through_the_program_itself() -> None:
    assert run("new", NO_TEXT, "--method", "og-water")[0] == 0
    code, out, told = run("check", NO_TEXT)
    assert code == 0
    assert "Traceback" not in told
    code, out, told = run("log", NO_TEXT)
    assert (code, out) == (2, "")
    assert told.startswith("runsheet: x\\udcb5y.toml: ")


def test_names_on_the_screen_steer_no_terminal(here: Path) -> None:
    for name in (NO_TEXT, "\x1b[2J\nx\u202e.toml"):
        path = Path(name)
        path.write_text(demo.text("water-day"), encoding="utf-8")

        def then(drive: Drive, path: Path = path) -> None:
            harmless(drive.bench)
            path.write_text(demo.text("water-day").replace("Orla", "Other"), encoding="utf-8")
            until(lambda: drive.store.conflict, 4)
            drive.bench._tick()  # noqa: SLF001 - the second's tick, without waiting for it
            assert drive.bench.prompt is not None
            harmless(drive.bench)
            drive.bench.prompt.answer("o")
            harmless(drive.bench)
            here.rename(here.with_name("away"))
            until(lambda: drive.store.trouble, 4)
            drive.bench.paint()
            harmless(drive.bench)
            here.with_name("away").rename(here)

        Drive(path).run(typed("0.112"), "W", then=then)


# --- names that are too long --------------------------------------------------------------------------------------

LONG = f"{'a' * 225}.toml"
LONGEST = f"{'a' * 250}.toml"


@pytest.mark.parametrize("name", [LONG, LONGEST])
def test_a_new_run_whose_log_or_copies_would_have_no_name_is_refused(
    name: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main.main(["new", name, "--method", "og-water"]) == 2
    assert "the name is too long" in capsys.readouterr().err
    assert not list(here.iterdir())


@pytest.mark.parametrize("name", [LONG, LONGEST])
def test_such_a_document_is_read_and_not_opened_for_writing(
    name: str, here: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = here / name
    path.write_text(demo.text("water-day"), encoding="utf-8")
    assert main.main(["check", name]) == 1
    assert main.main(["report", name, "-o", "out.txt"]) == 0
    capsys.readouterr()
    assert main.main(["log", name, "--verify"]) == 2
    with pytest.raises(store.CannotOpenError, match="the name is too long"):
        store.open_for_writing(path, "tester", NOW)
    assert {each.name for each in here.iterdir()} == {name, "out.txt"}


def test_a_name_longer_than_any_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["check"], ["results"], ["log"], ["new", "--method", "og-water"]):
        assert main.main([*words, "a" * 300]) == 2
        assert "Traceback" not in capsys.readouterr().err


# --- the first screen ----------------------------------------------------------------------------------------------


def test_recent_runs_of_any_name() -> None:
    paths = [Path(name) for name in ("one.toml", "new\nline.toml", NO_TEXT, "two.toml")]
    for path in paths:
        path.write_text("", encoding="utf-8")
        remember(path)
    assert [path.name for path in recent()] == [path.name for path in reversed(paths)]


@pytest.mark.parametrize("name", ["", "/", "~nobody-here/x", "a/b/c", "a" * 300, "."])
def test_a_name_no_new_run_can_have_is_asked_again(name: str, here: Path) -> None:
    async def go() -> object:
        app = RunsheetApp(Welcome(Look()), "ansi-dark")
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press(*typed("og-water"))
            app.screen.query_one(Asked).line = TypingLine.holding(name)
            await pilot.press("enter")
            assert app.is_running
        return app.return_value

    assert asyncio.run(go()) is None
    assert not list(here.iterdir())


@pytest.mark.parametrize(
    ("name", "said"), [("~nobody-here/x", "home directory"), ("pipe", "a pipe"), (".", "directory")]
)
def test_a_list_that_cannot_be_read_is_refused(name: str, said: str, water: Path) -> None:
    os.mkfifo("pipe")
    drive = Drive(water)
    seen: list[str] = []
    drive.run(
        "P", typed(name), then=lambda drive: seen.append(drive.bench.prompt.trouble if drive.bench.prompt else "")
    )
    assert said in seen[0]
