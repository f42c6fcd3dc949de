"""What importing a part of the package loads, each in a fresh interpreter: the core never loads the screen."""

from __future__ import annotations

import ast
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
        "from runsheet.command import main as cli\n"
        f"cli.main(['results', {str(file)!r}, '--as', 'json'])\n"
        f"cli.main(['report', {str(file)!r}])"
    )
    assert loaded(code) & {"textual", "scipy", "rich", "numpy"} == set()


def test_the_first_frame_needs_no_numpy() -> None:
    file = ROOT / "fixtures" / "examples" / "water-line.toml"
    code = (
        "from datetime import UTC, datetime; from pathlib import Path\n"
        "from runsheet.run.disk import store; from runsheet.screen.bench import Bench\n"
        "from runsheet.screen.read_only import ReadOnlyStore; from runsheet.screen.session import Session\n"
        "from runsheet.screen.style import Look\n"
        f"path = Path({str(file)!r}); follower = store.read_only(path)\n"
        "opened = ReadOnlyStore(follower, follower.found.run)\n"
        "bench = Bench(Session(opened, path, lambda: datetime.now(UTC)), Look())\n"
        "assert bench.session.sheet.calibrations[0].curve is not None"
    )
    assert "numpy" not in loaded(code)


@pytest.mark.parametrize("words", [["--help"], ["results", "--help"]])
def test_help_loads_neither_numpy_nor_the_screen(words: list[str]) -> None:
    code = f"from runsheet.command import main as cli\ntry: cli.main({words!r})\nexcept SystemExit: pass"
    assert loaded(code) & {"numpy", "textual", "rich", "tomli_w"} == set()


ORDER = (
    "problem", "exits", "tables", "figures", "streams", "run", "run.disk", "methods", "port", "compute", "show", "work",
    "review", "history", "report", "demo", "screen", "command",
)  # fmt: skip
"""The rooms: each imports what stands before it, never after. `command` starts the screen, so it is last."""


def room(module: str) -> str:
    """Name the room a module is in; empty for the package itself."""
    parts = module.split(".")[1:]
    return "run.disk" if parts[:2] == ["run", "disk"] else parts[0] if parts else ""


def is_module(name: str) -> bool:
    place = ROOT.joinpath(*name.split("."))
    return place.is_dir() or place.with_suffix(".py").exists()


def imported(module: str, text: str) -> set[str]:
    """Name the modules of the package that a module's text imports, wherever in it."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "runsheet":
            below = [f"{node.module}.{name.name}" for name in node.names]
            found |= {name if is_module(name) else node.module for name in below}
        elif isinstance(node, ast.Import):
            found |= {name.name for name in node.names if name.name.split(".")[0] == "runsheet"}
    return found - {module}


def sources() -> dict[str, str]:
    """The text of every module of the package by its name."""
    found = {}
    for file in sorted((ROOT / "runsheet").rglob("*.py")):
        name = ".".join(file.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
        found[name] = file.read_text(encoding="utf-8")
    return found


def test_a_room_imports_what_stands_before_it_and_never_what_stands_after() -> None:
    wrong = [
        f"{module} imports {name}"
        for module, text in sources().items()
        for name in imported(module, text)
        if room(module) in ORDER and room(name) in ORDER and ORDER.index(room(name)) > ORDER.index(room(module))
    ]
    assert wrong == []


def test_no_two_modules_import_each_other_when_they_are_loaded() -> None:
    """Imports inside functions and for type checking are left out: they run after loading, or never."""
    needs = {}
    for module, text in sources().items():
        tree = ast.parse(text)
        kept = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
        needs[module] = imported(module, "\n".join(map(ast.unparse, kept)))
    circles = [(a, b) for a in needs for b in needs[a] if a < b and a in needs.get(b, ())]
    assert circles == []
