"""The laboratory file: what the bench chooses from.

Owns: what `laboratory.toml` holds, reading it, and where it is looked for. Invariant: nothing is ever computed from it;
a value chosen is copied into the run. Content never raises: what is wrong is told with its place, and what could be
read is offered all the same.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Annotated, Literal

from runsheet import tables
from runsheet.methods import config_folder, unreadable
from runsheet.problem import Problem
from runsheet.run.model import Positive, Reads  # noqa: TC001 - as above
from runsheet.tables import Number, Within

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

NAME = "laboratory.toml"
STEPS: tuple[int, ...] = (2, 5, 10, 20, 50, 100)
"""Dilutions offered where the file has none (common practice, no source)."""

Use = Literal["stock", "check", "second-source", "control", "spike"]


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """The laboratory itself, copied into the run table of a new run."""

    name: str | None = None
    address: str | None = None
    contact: str | None = None
    accreditation: str | None = None
    place: str | None = None
    dilutions: tuple[Annotated[Number, Within(low=1)], ...] = ()
    """The house's steps, offered when an extract is diluted."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who works at the bench or reviews."""

    name: str
    initials: str | None = None
    account: str | None = None
    """The login this person uses."""
    analyst: bool | None = None
    reviewer: bool | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Output:
    """How a photometer sends its readings, one a line."""

    port: str | None = None
    """A serial device, as /dev/ttyUSB0, a FIFO, or tcp:HOST:PORT."""
    speed: Annotated[int, Within(low=1)] | None = None
    """Bits a second; 9600 where there is none."""
    bits: Literal[7, 8] | None = None
    parity: Literal["none", "even", "odd"] | None = None
    stop: Literal[1, 2] | None = None
    pattern: str | None = None
    """A regular expression whose first group is the number of a line; without one a line holds one number."""
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Photometer:
    """One photometer of the house."""

    name: str
    serial: str | None = None
    reads: Reads | None = None
    step: Positive | None = None
    """The display's last digit, in what it reads."""
    cells: tuple[Positive, ...] = ()
    """mm."""
    output: Output | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SolventLot:
    """A solvent on the shelf."""

    name: str
    grade: str | None = None
    lot: str | None = None
    expires: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material on the shelf, with what it is for."""

    lot: str
    use: Use
    concentration: Positive | None = None
    """mg/L in the solvent, for a stock, check or second source."""
    mass: Positive | None = None
    """mg, for what is added to a control or spike."""
    unit: str | None = None
    material: str | None = None
    certificate: str | None = None
    expires: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Laboratory:
    """Everything the file holds."""

    laboratory: House = House()
    person: tuple[Person, ...] = ()
    instrument: tuple[Photometer, ...] = ()
    solvent: tuple[SolventLot, ...] = ()
    material: tuple[Material, ...] = ()

    @property
    def dilutions(self) -> tuple[Number, ...]:
        """The house's dilutions, in order."""
        return tuple(sorted(self.laboratory.dilutions or STEPS, key=float))


NOTHING = Laboratory()


def read(text: str) -> tuple[Laboratory, list[Problem]]:
    """What a laboratory file holds as far as it can be read, and everything wrong with it."""
    found = tables.document(Laboratory, text, _across)
    return found[0] or NOTHING, found[1]


def _across(made: Laboratory) -> list[Problem]:
    return [*_twice(made), *_patterns(made)]


def _twice(made: Laboratory) -> list[Problem]:
    """Names that stand twice: which one would be meant?"""
    problems = []
    named: tuple[tuple[str, Sequence[Person | Photometer]], ...] = (
        ("person", made.person),
        ("instrument", made.instrument),
    )
    for array, rows in named:
        seen: set[str] = set()
        for number, row in enumerate(rows, 1):
            if row.name in seen:
                message = f"expected a name used once, found {tables.shown(row.name)} again"
                problems.append(Problem(f"{array}[{number}].name", message))
            seen.add(row.name)
    return problems


def _patterns(made: Laboratory) -> list[Problem]:
    """Patterns of lines that are none."""
    problems = []
    for number, photometer in enumerate(made.instrument, 1):
        try:
            re.compile((photometer.output and photometer.output.pattern) or "")
        except re.error as error:
            path = f"instrument[{number}].output.pattern"
            problems.append(Problem(path, f"expected a regular expression, found {error}"))
    return problems


def place(runs: Path | None = None, config: Path | None = None) -> Path | None:
    """Where the file is: beside the runs, else in the configuration folder; None where it is at neither."""
    folders = [folder for folder in (runs, config or config_folder()) if folder is not None]
    return next((folder / NAME for folder in folders if _stands(folder / NAME)), None)


def _stands(file: Path) -> bool:
    try:
        return file.is_file()
    except OSError:  # a closed folder: reading it will say so
        return True


def find(runs: Path | None = None, config: Path | None = None) -> tuple[Laboratory, list[Problem]]:
    """The laboratory of the runs in a folder; empty where there is no file, or none that can be read."""
    file = place(runs, config)
    if file is None:
        return NOTHING, []
    try:
        made, problems = read(file.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError) as error:
        return NOTHING, [Problem(str(file), unreadable(error))]
    return made, [replace(problem, path=f"{file.name}: {problem.path}".removesuffix(": ")) for problem in problems]
