"""The number of a line.

Owns: `number_in`. Invariant: a line that holds anything but one number and what it is measured in gives none, with the
reason; nothing is guessed.

A pattern of the laboratory file decides by itself: its first group is the number. Without one the line holds one
number, and beside it only words of `WORDS`: 0.112, ABS = 0.112, 98.2 %T, 12.5 mg/L. ERR 5 is no reading, nor is S1.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from runsheet.run.model import Reads

WORDS: dict[str, Reads | None] = {
    **dict.fromkeys(("a", "abs", "au", "absorbance"), "absorbance"),
    **dict.fromkeys(("t", "%", "%t", "t%", "transmittance"), "transmittance"),
    **dict.fromkeys(("mg/l", "ppm", "conc", "concentration"), "concentration"),
    **dict.fromkeys(("reading", "value", "result", "display", "net"), None),
}
"""Words a photometer writes beside a number, and what they say it is."""
UNITS: dict[Reads, str] = {"absorbance": "A", "transmittance": "%T", "concentration": "mg/L"}
_NUMBER = re.compile(r"(?:[+-] *)?(?:\d+(?:[.,]\d+)?|[.,]\d+)", re.ASCII)
_JOINED = re.compile(r"[\w.,]")
_APART = re.compile(r"[\s=:;|]+")


class Number(NamedTuple):
    """The number of a line, or why there is none."""

    text: str = ""
    """Digits as they came."""
    reads: Reads | None = None
    """What the line says it is; None where it says nothing."""
    why: str = ""


def number_in(line: str, pattern: str | None = None) -> Number:
    """The number of a line."""
    if not line.isprintable() and not line.replace("\t", " ").isprintable():
        return Number(why="characters that are no text")
    return _by_pattern(line, pattern) if pattern else _alone(line)


def _alone(line: str) -> Number:
    found = list(_NUMBER.finditer(line))
    if len(found) != 1:
        return Number(why=f"{len(found)} numbers" if found else "no number")
    number = found[0]
    if _JOINED.fullmatch(line[number.start() - 1 : number.start()]) or line[number.end() : number.end() + 1] in (
        ".",
        ",",
    ):
        return Number(why="a number within a word")
    rest = f"{line[: number.start()]} {line[number.end() :]}"
    words = [word.lower().strip(".,()[]") for word in _APART.split(rest) if word]
    if strange := [word for word in words if word not in WORDS]:
        return Number(why=f"beside the number stands {strange[0]}")
    units = {reads for word in words if (reads := WORDS[word])}
    if len(units) > 1:
        return Number(why="it says two units")
    return Number(number[0].replace(" ", ""), next(iter(units), None))


def _by_pattern(line: str, pattern: str) -> Number:
    try:
        found = list(re.finditer(pattern, line))
    except re.error as error:
        return Number(why=f"the laboratory's pattern is none: {error}")
    if len(found) != 1:
        return Number(why="the laboratory's pattern is not in it" if not found else "the pattern is in it twice")
    text = (found[0][1] if found[0].re.groups else found[0][0]) or ""
    if not _NUMBER.fullmatch(text.strip()):
        return Number(why="what the pattern names is no number")
    return Number(text.replace(" ", ""))
