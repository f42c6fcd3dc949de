"""Numbers, times and names as text, for people and for terminals.

Owns: how a figure, a time or a name is written wherever one is shown. Invariant: nothing written here can steer a
terminal or run in a spreadsheet, and no figure shown is ever computed with.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from datetime import date

STARTS_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def figure(value: float | None, digits: int = 4) -> str:
    """Write a figure with significant digits, without an exponent while it is of a readable size; empty for None."""
    if value is None or not math.isfinite(value):
        return ""
    if value and not 1e-5 <= abs(value) < 1e7:
        return f"{value:.{digits - 1}e}"
    text = f"{value:.{digits}g}"
    return f"{value:.0f}" if "e" in text and abs(value) >= 1 else f"{value:.7f}".rstrip("0") if "e" in text else text


def signal(value: float | None) -> str:
    """Write an absorbance with four decimals."""
    return "" if value is None else f"{value:.4f}"


def one_decimal(value: float | None) -> str:
    """Write a percentage with one decimal."""
    return "" if value is None else f"{value:.1f}".replace("-0.0", "0.0") if abs(value) < 0.05 else f"{value:.1f}"


def readings(values: tuple[Any, ...]) -> str:
    """Write readings as typed."""
    return " ".join(str(value) for value in values)


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


def counted(number: int, what: str, several: str = "") -> str:
    """A number of things: `1 row`, `2 rows`; `several` where an s does not make it more than one."""
    return f"{number} {what if number == 1 else several or f'{what}s'}"


def visible(text: str) -> str:
    """Show control characters as escapes, so that a name from a file cannot steer a terminal."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def safe(value: Any) -> str:
    """A cell's characters: figures in full, nothing for None, texts that cannot be run."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    text = str(value)
    return f"'{text}" if text.startswith(STARTS_FORMULA) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
