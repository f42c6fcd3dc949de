"""The methods a run can start from: the built-in ones and the user's own.

Owns: finding and reading method files. A built-in method is one `NAME.toml` beside this module; the user's own are
`methods/*.toml` in the configuration folder.
Invariant: a method handed out has been read without an error; a file that has one is reported and skipped.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import tables
from runsheet.problem import Problem, has_errors
from runsheet.run import valid
from runsheet.run.model import About, Method, Run

if TYPE_CHECKING:
    from collections.abc import Iterable
    from importlib.resources.abc import Traversable

NOT_METHODS = frozenset({"solvents.toml"})
"""Data files beside the methods that are none."""


def names(config: Path | None = None) -> list[str]:
    """Name the methods at hand, in alphabetical order."""
    return [method.name or "" for method in all_methods(config)[0]]


def find(name: str, config: Path | None = None) -> Method | None:
    """Find a method by its name; None where no readable method has it."""
    return next((method for method in all_methods(config)[0] if method.name == name), None)


def all_methods(config: Path | None = None) -> tuple[list[Method], list[Problem]]:
    """Read every method, by name, and what is wrong with the files.

    `config` is the configuration folder, by default `config_folder()`. A user's method of a built-in's name takes its
    place, which is said in a warning. The path of each problem starts with the name of its file.
    """
    found, problems = _read_all(_built_in())
    mine, closed = _own(config or config_folder())
    own, wrong = _read_all(mine)
    problems += [*closed, *wrong]
    for name in sorted(found.keys() & own.keys()):
        file = own[name][0]
        problems.append(Problem(file, f"takes the place of the built-in method {name}", "warning"))
    merged = {**found, **own}
    return [merged[name][1] for name in sorted(merged)], problems


def config_folder() -> Path:
    """The folder of the user's configuration: RUNSHEET_CONFIG, else the platform's own place for it."""
    if named := os.environ.get("RUNSHEET_CONFIG"):
        return Path(named)
    import platformdirs

    return platformdirs.user_config_path("runsheet")


def read(file: Traversable) -> tuple[Method | None, list[Problem]]:
    """Read one method file; None, with the reason among the problems, where it cannot be used."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        return None, [Problem(file.name, unreadable(error))]
    method, problems = parse(text)
    if method is not None and not method.name:
        method = replace(method, name=file.name.removesuffix(".toml"))
    placed = [replace(problem, path=f"{file.name}: {problem.path}".removesuffix(": ")) for problem in problems]
    return (None if has_errors(problems) else method), placed


def parse(text: str) -> tuple[Method | None, list[Problem]]:
    """Read a method from TOML: the keys of a run's `[method]` table, at the top level."""
    return tables.document(Method, text, _crossed)


def _crossed(method: Method) -> list[Problem]:
    """Find what does not hold between a method's fields, by the checks of a run that has nothing but the method."""
    found = valid.problems(Run(format=1, run=About(id="method"), method=method))
    return [replace(problem, path=problem.path.removeprefix("method.")) for problem in found]


def _built_in() -> list[Traversable]:
    from importlib.resources import files

    return [file for file in files(__name__).iterdir() if file.name.endswith(".toml") and file.name not in NOT_METHODS]


def _own(config: Path) -> tuple[list[Path], list[Problem]]:
    """The user's method files, and why they cannot be looked for; a folder that is not there is no fault."""
    folder = config / "methods"
    try:
        return sorted(file for file in folder.iterdir() if file.name.endswith(".toml")), []
    except (FileNotFoundError, NotADirectoryError):
        return [], []
    except OSError as error:
        return [], [Problem(str(folder), unreadable(error))]


def unreadable(error: OSError | UnicodeDecodeError) -> str:
    """Why a file or folder cannot be read, without its name, which stands before it."""
    return f"cannot be read: {getattr(error, 'strerror', None) or error}"


def _read_all(files: Iterable[Traversable]) -> tuple[dict[str, tuple[str, Method]], list[Problem]]:
    """Read method files into name -> (file, method); of two files with one name the first counts."""
    found: dict[str, tuple[str, Method]] = {}
    problems: list[Problem] = []
    for file in files:
        method, wrong = read(file)
        problems += wrong
        if method is None:
            continue
        name = method.name or ""
        if name in found:
            problems.append(Problem(file.name, f"is skipped: {found[name][0]} has the method name {name} already"))
        else:
            found[name] = (file.name, method)
    return found, problems
