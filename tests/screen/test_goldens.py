"""Each pane as plain text at both sizes: fixtures/screens, written anew by `python -m tests.screen.test_goldens`."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest

from runsheet import demo
from runsheet.screen.style import Look
from tests.goldens import FIXTURES
from tests.screen import test_linear_days
from tests.screen.driving import Drive

SIZES = {"80x24": (80, 24), "120x40": (120, 40)}
PANES = {"setup": "f2", "standards": "f3", "queue": "f4", "quality": "f5"}
CASES = [(name, pane, size) for name in demo.NAMES for pane in PANES for size in SIZES]


def shown(folder: Path, name: str, pane: str, size: str, *, ascii_only: bool = False) -> str:
    """The screen of a demo run with the cursor in a pane; the clock of saving is cut away."""
    path = folder / f"{name}.toml"
    path.write_text(demo.text(name), encoding="utf-8")
    lines: list[str] = []
    drive = Drive(path, size=SIZES[size], now=demo.NOW[name], look=Look(ascii_only=ascii_only))
    drive.run(PANES[pane], then=lambda drive: lines.extend(drive.screen()))
    return "\n".join(line.partition(" saved ")[0].rstrip() for line in lines) + "\n"


def golden(name: str, pane: str, size: str) -> Path:
    return FIXTURES / "screens" / f"{name}.{pane}.{size}.txt"


@pytest.mark.parametrize(("name", "pane", "size"), CASES)
def test_a_pane_looks_as_it_did(name: str, pane: str, size: str, tmp_path: Path) -> None:
    assert shown(tmp_path, name, pane, size) == golden(name, pane, size).read_text(encoding="utf-8")


@pytest.mark.parametrize("pane", PANES)
def test_no_line_is_wider_than_the_screen_and_ascii_is_ascii(pane: str, tmp_path: Path) -> None:
    for size, (width, height) in SIZES.items():
        text = shown(tmp_path, "soil-day", pane, size, ascii_only=True)
        assert text.isascii()
        assert len(text.splitlines()) == height
        assert max(map(len, text.splitlines())) <= width


def main() -> None:
    """Write the goldens anew."""
    with tempfile.TemporaryDirectory() as folder:
        for case in CASES:
            golden(*case).parent.mkdir(exist_ok=True)
            golden(*case).write_text(shown(Path(folder), *case), encoding="utf-8")
            for left in Path(folder).iterdir():
                left.unlink()
    test_linear_days.write()


if __name__ == "__main__":
    main()
