"""TOML text to plain data.

Owns: numbers as they were typed, and what is said of text that is not TOML. Invariant: numbers keep their characters
(`AsTyped`), also where Decimal would write 1E-7; text never raises.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any, Self

from runsheet.problem import Problem


class AsTyped(Decimal):
    """A decimal that is written back with the characters it was typed with, where `str` would change them."""

    text: str

    def __new__(cls, text: str) -> Self:
        """Keep the text beside the value."""
        made = super().__new__(cls, text)
        made.text = text
        return made

    def __str__(self) -> str:
        """The characters as typed."""
        return self.text


@dataclass(frozen=True)
class Unreadable:
    """A number whose conversion failed; it stands in the parsed data so that the reader can give its path."""

    text: str


def number(text: str) -> Decimal:
    """Turn typed characters into a decimal that is written back the same.

    Raises decimal.InvalidOperation for characters that are no number.
    """
    value = Decimal(text)
    written = str(value).lower()
    return value if written == text.lower() or not value.is_finite() else AsTyped(text)


def _parse_float(text: str) -> Decimal | Unreadable:
    try:
        return number(text)
    except InvalidOperation:
        return Unreadable(text)


_LONG_DIGITS = re.compile(r"[+-]?\d[\d_]{4000,}")
TOO_LARGE = "1e9999999999999999999"

_HINTS = (
    (re.compile(r"(?<![\w.\"'])(\d+),(\d+)\s*$"), r"for a decimal write \1.\2"),
    (re.compile(r"(?<![\w.\"'\]])([+-]?)(\.\d+)"), r"write \g<1>0\2"),
    (re.compile(r"(?<![\w.\"'])(\d+)\.(?!\d)"), r"write \1.0"),
    (
        re.compile(r"(?<![\w:.\"'-])(\d{1,2}:\d{2})(?![\d:])"),
        r"write a time with its date and offset: 2026-03-11T07:30:00+01:00",
    ),
    (re.compile(r"=\s*[+-]?(0\d+)"), r"a number does not start with 0: write it without"),
)
"""What people write by hand, and what to write instead."""


def parse(text: str) -> tuple[dict[str, Any] | None, list[Problem]]:
    """Parse TOML text to plain data; decimals are kept as typed.

    Returns the data (None where it is not TOML) and the problems found.
    """
    text = text.removeprefix("\ufeff")
    if deep := _deep_key(text):
        return None, [deep]
    try:
        return tomllib.loads(text, parse_float=_parse_float), []
    except tomllib.TOMLDecodeError as error:
        return None, [_syntax_problem(str(error), text)]
    except RecursionError:
        return None, [Problem("", "the document is nested too deeply to be read")]
    except ValueError as error:
        # The standard parser gives no place for an integer too long to convert: stand a marker in for it, so that
        # the typed reader meets it where it is.
        marked, count = _LONG_DIGITS.subn(TOO_LARGE, text)
        return parse(marked) if count else (None, [Problem("", f"the document cannot be read: {error}")])


DEEPEST = 16
"""Parts of the longest key that is read. The standard parser takes a time and a memory that grow with their square."""
_STRINGS = re.compile(r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL)
_DEEP = re.compile(rf"(?<![\w\"'-])(?:(?:[\w-]+|\"[^\"\n]*\"|'[^'\n]*')[ \t]*\.[ \t]*){{{DEEPEST}}}")


def _deep_key(text: str) -> Problem | None:
    """The problem of a key of too many parts, before anything is parsed; None where there is none."""
    # Nearly always nothing: the first question is quick, the second for a line of many points, what follows for a note
    # with a word of many.
    if all(line.count(".") < DEEPEST for line in text.split("\n")) or _DEEP.search(text) is None:
        return None
    bare = _STRINGS.sub(lambda found: "s" + "\n" * found[0].count("\n"), text)
    found = _DEEP.search(bare)
    if found is None:
        return None
    return Problem("", f"a key of more than {DEEPEST} parts is not read", line=bare.count("\n", 0, found.start()) + 1)


def _syntax_problem(message: str, text: str) -> Problem:
    found = re.search(r"\(at line (\d+), column \d+\)", message)
    line = int(found[1]) if found else None
    lines = text.splitlines()
    written = lines[line - 1] if line and line <= len(lines) else ""
    said = message if len(message) < 200 else message[:200] + "…"
    hint = _hint(written)
    return Problem("", f"{said}{'; ' + hint if hint else ''}", line=line)


def _hint(written: str) -> str:
    for pattern, hint in _HINTS:
        if found := pattern.search(written):
            return found.expand(hint)
    return ""


def has_comments(text: str) -> bool:
    """Whether TOML text holds a comment, which a writer of plain data loses."""
    bare = re.sub(r'"""(?:\\.|[^\\])*?"""|\'\'\'.*?\'\'\'', "''", text, flags=re.DOTALL)
    bare = re.sub(r'"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'', "''", bare)
    return "#" in bare
