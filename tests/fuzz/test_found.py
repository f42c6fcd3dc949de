"""What fuzzing the screen found, each in its smallest form."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet import demo, read
from runsheet.screen import pages
from tests.screen.driving import Drive

if TYPE_CHECKING:
    from pathlib import Path

HOSTILE = "\\u001b[2J"
"""As a TOML string has it: it would clear the screen."""


def drawn(path: Path, *presses: str) -> str:
    """All that is drawn once the keys are pressed, on a run whose first row has a hostile name and note."""
    text = demo.text("water-day").replace('id = "ICV1"', f'id = "{HOSTILE}ICV1"\nnote = "{HOSTILE}"', 1)
    assert HOSTILE in text
    path.write_text(text, encoding="utf-8")
    screens: list[str] = []
    Drive(path).run("f4", "ctrl+home", *presses, then=lambda drive: screens.append("".join(drive.screen())))
    assert len(screens) == 1
    return screens[0]


def test_a_hostile_name_in_the_queue_is_drawn_harmless(tmp_path: Path) -> None:
    assert drawn(tmp_path / "run.toml").isprintable()


@pytest.mark.parametrize(
    ("presses", "seen"),
    [
        (["x"], "Remove"),
        (["t"], "Note on"),
        (["v"], "void, because"),
        (["0", ".", "4", "enter"], "Why does it change?"),
        (["home", "f6"], "Enter accepts"),
        (["equals_sign"], "Why this number"),
        (["g"], "Escape closes"),
        (["R"], "Escape or q closes"),
    ],
)
def test_a_hostile_name_is_drawn_harmless_everywhere(presses: list[str], seen: str, tmp_path: Path) -> None:
    shown = drawn(tmp_path / "run.toml", *presses)
    assert seen in shown
    assert shown.isprintable()


def test_a_report_is_not_written_over_the_run(tmp_path: Path) -> None:
    path = tmp_path / "run.txt"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    Drive(path).run("W", "ctrl+u", f"paste:{path}", "enter")
    assert read(path.read_text(encoding="utf-8"))[0] is not None


def test_a_name_no_file_can_have_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "run.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    said: list[str] = []

    def write_report(drive: Drive) -> None:
        pages.write_report(drive.bench, f"{'a' * 300}.txt")
        said.append(drive.bench.message)

    Drive(path).run(then=write_report)
    assert said[0].startswith("not written: aaa")
