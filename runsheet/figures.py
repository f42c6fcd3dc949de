"""Numbers, times and names as text, for people and for terminals.

Owns: how a figure, a time or a name is written wherever one is shown. Invariant: nothing written here can steer a
terminal or run in a spreadsheet, and no figure shown is ever computed with.

A piece of a text that a spreadsheet would run, whatever it sets its cells apart by, has an apostrophe before it.
"""

from __future__ import annotations

import math
import re
import unicodedata
from datetime import datetime
from numbers import Number
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date


NOISE = 1e-12
"""Below this no figure of a bench is anything but the noise of float arithmetic: 0.002 - 0.001 is 0.001 to 1e-19."""


def figure(value: float | None, digits: int = 4) -> str:
    """Write a figure with significant digits, without an exponent while it is of a readable size; empty for None."""
    if value is None or not math.isfinite(value):
        return ""
    if abs(value) < NOISE:
        return "0"
    if value and not 1e-5 <= abs(value) < 1e7:
        return f"{value:.{digits - 1}e}"
    text = f"{value:.{digits}g}"
    if "e" not in text:
        return text
    mantissa, _, power = text.partition("e")
    return f"{value:.{max(0, len(mantissa.partition('.')[2]) - int(power))}f}"


def against(value: float, limit: float, form: str, limit_form: str = ".6g") -> tuple[str, str]:
    """Write a figure and the limit it is beyond, each with as many more digits as it takes to see on which side it is.

    `form` is a format with its digits, as `.1f`: 20.04 beside 20 is "20.04", not "20.0".
    """
    for more in range(16):
        one, other = (_longer(what, given, more) for what, given in ((value, form), (limit, limit_form)))
        if _side(abs(float(one)), abs(float(other))) == _side(abs(value), abs(limit)):
            break
    return one, other


def _longer(value: float, form: str, more: int) -> str:
    sign, _, rest = form.partition(".")
    digits, kind = int(rest[:-1]) + more, rest[-1]
    text = f"{value:{sign}.{digits}{kind}}"
    return text if "e" not in text else f"{'+' if sign and value >= 0 else ''}{figure(value, digits)}"


def beside(value: float | None, limits: Iterable[float | None], digits: int = 4) -> str:
    """Write a figure with as many more significant digits as it takes to see on which side of each limit it is."""
    given = [limit for limit in limits if limit is not None]
    text = figure(value, digits)
    for more in range(1, 16):
        if value is None or not text or all(_side(float(text), limit) == _side(value, limit) for limit in given):
            break
        text = figure(value, digits + more)
    return text


def _side(value: float, limit: float) -> int:
    """On which side of a limit a figure is; 0 where they agree as verdicts are taken, to 1e-9."""
    close = abs(value - limit) <= 1e-9 * max(abs(value), abs(limit))
    return 0 if close else (value > limit) - (value < limit)


def passed(minutes: float) -> str:
    """Write minutes that have passed to a tenth, never more than have: 14.96 are not yet 15."""
    return f"{math.floor(minutes * 10 + 1e-6) / 10:.1f}".removesuffix(".0")


def signal(value: float | None) -> str:
    """Write an absorbance with four decimals."""
    return "" if value is None else f"{value:.4f}"


def one_decimal(value: float | None) -> str:
    """Write a percentage with one decimal."""
    return "" if value is None else f"{value:.1f}".replace("-0.0", "0.0") if abs(value) < 0.05 else f"{value:.1f}"


def readings(values: tuple[Any, ...]) -> str:
    """Write readings as typed."""
    return " ".join(str(value) for value in values)


def fillings(row: Any) -> str:
    """Write the readings of a row as typed, those struck out in brackets behind them."""
    return " ".join([*map(str, row.readings), *(f"({value})" for value in row.struck)])


def clock(at: datetime | None) -> str:
    """Write the time of day."""
    return "" if at is None else f"{at:%H:%M}"


def minute(iso: str) -> str:
    """Write a time kept as text to the minute, without its offset."""
    return iso[:16].replace("T", " ")


def when(at: datetime | date | None) -> str:
    """Write a time to the minute, or a date."""
    if isinstance(at, datetime):
        return at.isoformat(" ", "minutes")
    return "" if at is None else at.isoformat()


def told_apart(one: datetime, other: datetime) -> tuple[str, str]:
    """Two times as short as tells which is the earlier: with seconds, day or offset where it takes them."""
    forms = ("%H:%M", "%H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M:%S.%f")
    if one.utcoffset() != other.utcoffset():
        return one.isoformat(" "), other.isoformat(" ")
    days = 0 if one.date() == other.date() else 2
    found = ((one.strftime(form), other.strftime(form)) for form in forms[days:])
    return next(pair for pair in found if pair[0] != pair[1])


def some(names: Sequence[str], most: int = 8, between: str = " ") -> str:
    """Name some of several, and say how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return between.join(names[:most]) + more


def counted(number: int, what: str, several: str = "") -> str:
    """A number of things: `1 row`, `2 rows`; `several` where an s does not make it more than one."""
    return f"{number} {what if number == 1 else several or f'{what}s'}"


COUNTED = ("rows", "readings", "days", "months")


def unit_of(value: float, unit: str) -> str:
    """A unit after a figure: of what is counted, one or several."""
    return unit.removesuffix("s") if value == 1 and unit in COUNTED else unit


def visible(text: str) -> str:
    """Show control characters as escapes, so that a name from a file cannot steer a terminal."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def csv_line(values: Iterable[Any]) -> str:
    """A line of CSV: figures in full and bare, every text in quotes and such that no spreadsheet runs it."""
    return ",".join(map(_csv_cell, values)) + "\n"


def _csv_cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, Number):
        return str(value)
    text = unrunnable(str(value)).replace('"', '""')
    return f'"{text}"'


def unrunnable(text: str) -> str:
    """A text with an apostrophe before each piece of it that a spreadsheet would run as a formula.

    A piece: one that sets its cells apart by another mark than ours, or takes a line's end within quotes for one of the
    table, sees cells where there are none.
    """
    return "".join(f"'{piece}" if _runs(piece) else piece for piece in _PIECES.split(text))


_PIECES = re.compile("([;,|\t\n\v\f\r\x1c-\x1e\x85\u2028\u2029])")
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]*)?([eE][+-]?[0-9]+)?")
_SIGNS = "=+-@\u2212"
"""What a formula begins with, and the minus sign that some programs take for a hyphen."""


def _runs(piece: str) -> bool:
    """Whether the first sign that counts begins a formula: blanks, quotes, what has no width and full width aside."""
    if _NUMBER.fullmatch(piece.strip()):
        return False
    signs = (
        sign for sign in piece if sign not in "\"'" and not sign.isspace() and unicodedata.category(sign)[0] not in "CM"
    )
    first = next(signs, "")
    return bool(first) and unicodedata.normalize("NFKC", first)[:1] in _SIGNS
