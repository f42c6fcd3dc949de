"""What importing a part of the package loads, each in a fresh interpreter: the core never loads the screen."""

from __future__ import annotations

import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import runsheet

ROOT = Path(__file__).parents[1]
CORE = sorted({made.name for made in pkgutil.iter_modules(runsheet.__path__)} - {"screen", "__main__"})


def modules(part: str) -> list[str]:
    """Name every module of a part of the package, found in its folders."""
    every = pkgutil.walk_packages(runsheet.__path__, "runsheet.")
    return [made.name for made in every if made.name.split(".")[1] == part]


def loaded(code: str) -> set[str]:
    """Run some code in a fresh interpreter; give what it has loaded, by top-level name."""
    code += "\nimport sys; print(*{name.partition('.')[0] for name in sys.modules})"
    made = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return set(made.stdout.splitlines()[-1].split())


def test_the_package_alone_loads_neither_numpy_nor_the_screen() -> None:
    assert loaded("import runsheet") & {"numpy", "textual", "tomli_w", "scipy"} == set()


def test_reading_a_document_loads_no_numpy() -> None:
    assert loaded("from runsheet import read; read('format = 1')") & {"numpy", "textual"} == set()


@pytest.mark.parametrize("part", CORE)
def test_the_core_never_loads_the_screen(part: str) -> None:
    names = modules(part)
    assert names
    assert loaded("\n".join(f"import {name}" for name in names)) & {"textual", "scipy", "rich"} == set()


def test_evaluating_and_reporting_loads_no_screen() -> None:
    file = ROOT / "fixtures" / "examples" / "water-line.toml"
    code = (
        "from runsheet import cli\n"
        f"cli.main(['results', {str(file)!r}, '--as', 'json'])\n"
        f"cli.main(['report', {str(file)!r}])"
    )
    assert loaded(code) & {"textual", "scipy", "rich"} == set()


@pytest.mark.parametrize("words", [["--help"], ["results", "--help"]])
def test_help_loads_neither_numpy_nor_the_screen(words: list[str]) -> None:
    code = f"from runsheet import cli\ntry: cli.main({words!r})\nexcept SystemExit: pass"
    assert loaded(code) & {"numpy", "textual", "rich", "tomli_w"} == set()
