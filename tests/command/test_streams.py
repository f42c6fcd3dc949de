"""What leaves for a terminal steers nothing; an output that is closed, full or left is met with a sentence or none."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from runsheet.command.main import main
from runsheet.run.disk import store
from runsheet.run.edit import Edit
from tests.make import document, row

if TYPE_CHECKING:
    from pathlib import Path

NOW = demo.NOW["water-day"]
PROGRAM = f"{sys.executable} -m runsheet"
HOSTILE = "OF\x1b[1A\x1b[2Kpass\r\n\u202e1\u2066x\x9b\u2028y"
"""Goes up a line, writes over it, turns the reading direction."""


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    """A run whose ids, texts and name steer a terminal."""
    queue = [row(HOSTILE, 900.0, note=HOSTILE), row("OF-2", 0.1, sample=HOSTILE, batch="B1")]
    path = tmp_path / "a\x1b[2Jb\n\u202e.toml"
    text = document(
        queue, run={"id": HOSTILE, "title": HOSTILE, "analyst": HOSTILE}, batch=[{"id": "B1", "solvent_lot": HOSTILE}]
    )
    path.write_text(text, encoding="utf-8")
    return path


COMMANDS = [
    ["check", "FILE"],
    ["results", "FILE"],
    ["report", "FILE"],
    ["log", "FILE"],
    ["log", "FILE", "--verify"],
    ["find", "FOLDER", "*"],
    ["history", "FOLDER"],
    ["detection", "FOLDER"],
    ["methods", HOSTILE],
    ["check", HOSTILE],
    ["check", "FILE", HOSTILE],
    [f"--{HOSTILE}"],
    ["results", "FILE", "--as", HOSTILE],
    ["results", "FILE", "--now", HOSTILE],
    ["report", "FILE", "-o", HOSTILE + "/x"],
]


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_no_text_of_a_file_or_argument_steers_a_terminal(
    words: list[str], hostile: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = {"FILE": str(hostile), "FOLDER": str(hostile.parent)}
    with contextlib.suppress(SystemExit):
        main([names.get(word, word) for word in words])
    out, err = capsys.readouterr()
    assert out + err
    assert [line for line in (out + err).split("\n") if not line.isprintable()] == []


def test_each_finding_is_one_line(hostile: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["check", str(hostile)])
    out = capsys.readouterr().out
    assert r"OF\x1b[1A\x1b[2Kpass\r\n\u202e1\u2066x\x9b\u2028y" in out
    assert not any(line.startswith("1") for line in out.splitlines())


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="a terminal of our own is needed")
@pytest.mark.parametrize("form", ["csv", "json"])
def test_tables_that_leave_for_a_terminal_steer_nothing_either(form: str, hostile: Path) -> None:
    ours, theirs = os.openpty()
    done = subprocess.run(
        [sys.executable, "-m", "runsheet", "results", str(hostile), "--as", form],
        stdout=theirs, stderr=subprocess.DEVNULL, stdin=subprocess.DEVNULL, check=False, timeout=60,
    )  # fmt: skip
    os.close(theirs)
    assert done.returncode == 0
    told = b""
    with contextlib.suppress(OSError):  # the end, once nobody holds the other side
        while more := os.read(ours, 1 << 16):
            told += more
    os.close(ours)
    lines = told.decode().split("\r\n")
    assert [line for line in lines if not line.isprintable()] == []


# --- streams that are closed, full or left ---


@pytest.fixture
def water(tmp_path: Path) -> Path:
    path = tmp_path / "water.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    return path


def shell(words: str) -> tuple[int, str]:
    """Run a line of shell; its exit code and what it told on standard error."""
    done = subprocess.run(["sh", "-c", words], capture_output=True, text=True, check=False, timeout=60)
    return done.returncode, done.stderr


@pytest.mark.parametrize("to", [">&-", ">/dev/full"])
@pytest.mark.parametrize("words", ["check", "results", "report", "log", "results --as json", "--help", "methods"])
def test_an_output_that_takes_nothing_is_told_and_is_no_failing_run(words: str, to: str, water: Path) -> None:
    files = "" if words in ("--help", "methods") else f"'{water}'"
    opened = store.open_for_writing(water, "I. Varga", NOW)
    opened.accept([Edit("note", "", None, "a remark")], NOW)  # so that the log has something to tell
    opened.close()
    code, told = shell(f"{PROGRAM} {words} {files} {to}")
    assert (code, told.count("\n")) == (2, 1), told
    assert told.startswith("runsheet: standard output takes nothing (")


@pytest.mark.parametrize("words", ["demo", "open FILE", "check FILE", ""])
def test_a_closed_input_is_no_traceback(words: str, water: Path) -> None:
    words = words.replace("FILE", f"'{water}'")
    code, told = shell(f"{PROGRAM} {words} <&- >/dev/null")
    assert "Traceback" not in told
    assert code in (0, 1, 2)


@pytest.mark.parametrize("to", ["2>&-", "2>/dev/full"])
def test_a_closed_standard_error_changes_no_exit_code_and_no_output(to: str, water: Path) -> None:
    for words, code in (("check", 1), ("results --as nonsense", 2), ("results", 0)):
        done = subprocess.run(
            ["sh", "-c", f"{PROGRAM} {words} '{water}' --now 2026-03-11T12:00:00+01:00 {to}"],
            capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode == code
        assert "runsheet:" not in done.stdout


def test_a_reader_that_leaves_is_met_in_silence(water: Path) -> None:
    done = subprocess.run(
        ["sh", "-c", f"{PROGRAM} report '{water}' | head -1"], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("\n") == 1


CODINGS = ("utf-8", "latin-1", "ascii", "cp1252:strict", "utf-16")


@pytest.mark.parametrize("words", ["report --as html", "results --as csv", "check"])
def test_redirected_output_is_utf_8_with_plain_line_ends_whatever_the_locale(words: str, tmp_path: Path) -> None:
    path = tmp_path / "water.toml"
    path.write_text(document([row("ÖL-1 \u2103 µ", 0.1)], run={"id": "Ölhafen \u2103"}), encoding="utf-8")
    told = {
        coding: subprocess.run(
            [sys.executable, "-m", "runsheet", *words.split(), str(path), "--now", NOW.isoformat()],
            capture_output=True, check=False, timeout=60, env=os.environ | {"PYTHONIOENCODING": coding, "LC_ALL": "C"},
        ).stdout
        for coding in CODINGS
    }  # fmt: skip
    assert [coding for coding in CODINGS if told[coding] != told["utf-8"]] == []
    assert "ÖL-1 \u2103 µ" in told["utf-8"].decode("utf-8")
    assert b"\r" not in told["utf-8"]
