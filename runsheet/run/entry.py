"""What a person types into a cell, turned into a value of the document.

Owns: the rules of typing: comma or point for decimals, a time without its date. Invariant: nothing is guessed: what is
not clear is refused with the reason, and a half-typed number is told apart from a wrong one.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables

if TYPE_CHECKING:
    from datetime import tzinfo

HALF = "half-typed"
"""The complaint about a number that is not finished yet."""

_NUMBER = re.compile(r"[+-]?(\d+(\.\d+)?|\.\d+)")
_BEGUN = re.compile(r"[+-]?\d*[.]?")


class Entry(NamedTuple):
    """A typed value, or why it is none."""

    value: Any
    complaint: str = ""


def parse(cls: type, name: str, text: str, now: datetime) -> Entry:
    """Turn typed characters into a value of a field; an empty text is None, "nothing there".

    `now` gives the date and the offset a time of day is completed with.
    """
    if not text:
        return Entry(None)
    found = [_checked(cls, name, _PARSERS[kind](text, now)) for kind in tables.kinds_of(cls, name)]
    return next((each for each in found if not each.complaint), found[0])


def _checked(cls: type, name: str, entry: Entry) -> Entry:
    if entry.complaint:
        return entry
    value = list(entry.value) if isinstance(entry.value, tuple) else entry.value
    return Entry(value, tables.complaint(cls, name, value))


def _number(text: str, _now: datetime | None = None) -> Entry:
    plain = text.replace(",", ".")
    if plain != plain.rstrip():
        return Entry(None, "a space after the number")
    if plain != plain.lstrip() or " " in plain:
        return Entry(None, "a space in the number")
    if plain.count(".") > 1:
        return Entry(None, "two decimal points")
    if _BEGUN.fullmatch(plain) and not _NUMBER.fullmatch(plain):
        return Entry(None, HALF)
    if not _NUMBER.fullmatch(plain):
        return Entry(None, f"{text!r} is no number")
    if plain.lstrip("+-").startswith("."):
        plain = plain.replace(".", "0.", 1)
    bare = plain.removeprefix("+")
    if re.fullmatch(r"-?\d+", bare):
        # TOML has no leading zeros: 007 is 7, and as digits it is nothing else.
        return Entry(int(bare)) if len(bare) < 400 else Entry(None, "too many digits")
    return Entry(tables.number(re.sub(r"^(-?)0+(?=\d)", r"\1", bare)))


def _numbers(text: str, _now: datetime) -> Entry:
    """Readings, one blank between two."""
    parts = [_number(part) for part in text.split(" ")] if text == text.rstrip() else [_number(text)]
    bad = next((part for part in parts if part.complaint), None)
    return bad or Entry(tuple(part.value for part in parts))


def _flag(text: str, _now: datetime) -> Entry:
    word = text.strip().lower()
    if word in ("y", "yes", "true", "1"):
        return Entry(value=True)
    if word in ("n", "no", "false", "0"):
        return Entry(value=False)
    return Entry(None, "yes or no")


def _time(text: str, now: datetime) -> Entry:
    if re.fullmatch(r"\d{1,2}:\d{2}", text):
        hour, minute = map(int, text.split(":"))
        if hour > 23 or minute > 59:
            return Entry(None, f"{text} is no time of day")
        return Entry(datetime.combine(now.date(), time(hour, minute), _zone(now)))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return Entry(None, "a time as 9:05, or a date and time as 2026-03-11T09:05")
    return Entry(moment if moment.tzinfo else moment.replace(tzinfo=_zone(now)))


def _zone(now: datetime) -> tzinfo | None:
    return now.tzinfo


def _date(text: str, _now: datetime) -> Entry:
    try:
        return Entry(date.fromisoformat(text))
    except ValueError:
        return Entry(None, "a date as 2026-03-11")


def _text(text: str, _now: datetime) -> Entry:
    return Entry(text) if text.isprintable() else Entry(None, "a character that cannot be shown")


_PARSERS = {
    "number": _number,
    "numbers": _numbers,
    "flag": _flag,
    "time": _time,
    "date": _date,
    "text": _text,
}


def shown(value: Any) -> str:
    """Write a value of the document as a person would type it, for editing in place."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return " ".join(shown(item) for item in value)
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    if isinstance(value, Decimal | int | date):
        return str(value)
    return str(value)
