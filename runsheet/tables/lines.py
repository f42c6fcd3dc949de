"""A whole file, and the lines its problems stand on.

Owns: lines, from a scan of headers and keys. Invariant: a line is told only where it is known: text with multi-line
strings has none.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, TypeVar

from runsheet.tables.parsing import parse
from runsheet.tables.reading import table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from runsheet.problem import Problem

T = TypeVar("T")


def document(
    cls: type[T], text: str, across: Callable[[T], Iterable[Problem]] = lambda _made: ()
) -> tuple[T | None, list[Problem]]:
    """What a whole file says, as far as it can be read, and its problems with their lines; `across` finds some more."""
    data, problems = parse(text)
    made = None if data is None else table(cls, data, "", problems)
    if made is not None:
        problems += across(made)
    return made, placed(problems, text)


def placed(problems: Sequence[Problem], text: str) -> list[Problem]:
    """The problems found in a text, each with its line where that can be told."""
    if not problems:
        return []
    lines = positions(text)
    return [problem if problem.line else replace(problem, line=_line_of(problem.path, lines)) for problem in problems]


def _line_of(path: str, positions: dict[str, int]) -> int | None:
    """The line of a path among `positions`: its own, its array's, or its table's header where a key is missing."""
    array = re.sub(r"\[\d+\]$", "", path)
    return positions.get(path) or positions.get(array) or positions.get(path.rpartition(".")[0])


def positions(text: str) -> dict[str, int]:
    """The line of each header and plain key, by path, as `queue[3]` and `queue[3].dilution`.

    Empty where text has multi-line strings: a line that looks like a header could stand in one.
    """
    found: dict[str, int] = {}
    if '"""' in text or "'''" in text:
        return found
    here, counts = "", dict[str, int]()
    for at, line in enumerate(text.splitlines(), 1):
        if header := re.match(r"\s*(\[\[?)\s*([\w.]+)\s*\]", line):
            here = header[2]
            if header[1] == "[[":
                counts[here] = counts.get(here, 0) + 1
                here = f"{here}[{counts[here]}]"
            found[here] = at
        elif key := re.match(r"\s*([\w-]+)\s*=", line):
            found.setdefault(f"{here}.{key[1]}" if here else key[1], at)
    return found
