"""Plain data to dataclasses.

Owns: the one way TOML becomes dataclasses; their annotations are the schema, and one function makes the reader of each.
Invariant: content never raises; everything wrong is collected with its path, and what could be read is kept.
"""

from __future__ import annotations

import difflib
import functools
import sys
import types
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime, time
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from runsheet.problem import Problem
from runsheet.tables.bounds import Number
from runsheet.tables.parsing import TOO_LARGE, Unreadable

if TYPE_CHECKING:
    from collections.abc import Callable

    Reader = Callable[[Any, str, list[Problem]], Any]

T = TypeVar("T")

ABSENT = object()
"""What a reader returns for a value it could not read."""


def table(cls: type[T], data: dict[str, Any], where: str, problems: list[Problem]) -> T | None:
    """Build `cls` from a TOML table, adding what is wrong with it to `problems`.

    A value that cannot be read is left out; None where a required one is missing or cannot be read.
    """
    kind: Any = cls
    known = schema(kind)
    values: dict[str, Any] = {}
    for key, value in data.items():
        path = f"{where}.{key}" if where else key
        if key not in known:
            problems.append(Problem(path, _unknown(key, known)))
        elif (read := known[key](value, path, problems)) is not ABSENT:
            values[key] = read
    missing = [name for name in _required(kind) if name not in values]
    absent = [name for name in missing if name not in data]
    problems += [Problem(f"{where}.{name}" if where else name, "is required") for name in absent]
    return None if missing else cls(**values)


RENAMED = {"left": "as_left", "surrendered_ml": "not_sample_ml"}
"""Keys that had another name before anything was released."""


def _unknown(key: str, known: dict[str, Reader]) -> str:
    if RENAMED.get(key) in known:
        return f"unknown key; did you mean {RENAMED[key]}?"
    near = difflib.get_close_matches(key, known, n=1)
    return f"unknown key; did you mean {near[0]}?" if near else f"unknown key; known here: {', '.join(known)}"


@functools.cache
def schema(cls: Any) -> dict[str, Reader]:
    """The reader of each field of a dataclass, by name: it gives the value, or `ABSENT` beside a problem."""
    return {name: _reader(hint) for name, hint in get_type_hints(cls, include_extras=True).items()}


@functools.cache
def _required(cls: Any) -> tuple[str, ...]:
    plain = (field for field in fields(cls) if field.default is MISSING and field.default_factory is MISSING)
    return tuple(field.name for field in plain)


def _reader(hint: Any) -> Reader:
    """Make the reader for an annotation."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _bounded(_reader(args[0]), args[1:])
    if origin in (Union, types.UnionType):
        return _union(args)
    if origin is Literal:
        return _words(args)
    if origin is tuple and len(args) == 2 and args[1] is Ellipsis:
        return _tables(args[0]) if is_dataclass(args[0]) else _array(_reader(args[0]))
    if origin is tuple:
        return _fixed([_reader(arg) for arg in args])
    if origin is dict:
        return _mapping
    if is_dataclass(hint):
        return _nested(hint)
    return functools.partial(_scalar, hint)


_EXPECTED = {
    str: "text in quotes",
    bool: "true or false",
    int: "a whole number",
    datetime: "a date and time with its offset, as 2026-03-11T07:30:00+01:00",
    date: "a date, as 2026-03-11",
}


def _complain(path: str, expected: str, value: Any, problems: list[Problem]) -> object:
    problems.append(Problem(path, f"expected {expected}, found {shown(value)}"))
    return ABSENT


def _scalar(kind: Any, value: Any, path: str, problems: list[Problem]) -> Any:
    # type() and not isinstance: a boolean is an int, and a date-time a date, to Python but not to a reader.
    if type(value) is not kind:
        extra = " (a date and time)" if kind is date and isinstance(value, datetime) else ""
        return _complain(path, _EXPECTED[kind] + extra, value, problems)
    if kind is datetime and value.utcoffset() is None:
        return _complain(path, _EXPECTED[kind] + " (a local time cannot be ordered)", value, problems)
    return value


def _number(value: Any, path: str, problems: list[Problem]) -> Any:
    if isinstance(value, Unreadable) or (isinstance(value, Number) and not _fits_float(value)):
        return _complain(path, "a number that fits a float", value, problems)
    if isinstance(value, bool):
        return _complain(path, "a number, not a boolean", value, problems)
    if not isinstance(value, Number):
        return _complain(path, "a number", value, problems)
    return value


def _fits_float(value: Number) -> bool:
    if isinstance(value, Decimal) and not value.is_finite():
        return False
    try:
        return abs(float(value)) <= sys.float_info.max
    except OverflowError:
        return False


def _bounded(inner: Reader, bounds: tuple[Any, ...]) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        got = inner(value, path, problems)
        if got is ABSENT:
            return got
        if isinstance(got, Number) and not _fits_float(got):  # where the type is an integer, nothing has looked yet
            return _complain(path, "a number that fits a float", value, problems)
        for bound in bounds:
            if expected := bound.complaint(float(got) if isinstance(got, Number) and type(got) is not bool else got):
                return _complain(path, expected, value, problems)
        return got

    return read


def _union(args: tuple[Any, ...]) -> Reader:
    kinds = tuple(arg for arg in args if arg is not type(None))
    if set(kinds) == {Decimal, int}:
        return _number
    if len(kinds) == 1:
        return _reader(kinds[0])
    if Decimal in kinds:  # a number or something else: the number is one alternative
        readers = [_number, *(_reader(kind) for kind in kinds if kind not in (Decimal, int))]
    else:
        readers = [_reader(kind) for kind in kinds]

    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        found: list[Problem] = []
        for reader in readers:
            if (got := reader(value, path, found)) is not ABSENT:
                return got
        alternatives = [problem.message.removeprefix("expected ").partition(", found ")[0] for problem in found]
        return _complain(path, " or ".join(alternatives), value, problems)

    return read


def _words(words: tuple[Any, ...]) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if type(value) in (str, int) and value in words:
            return value
        near = difflib.get_close_matches(value, map(str, words), n=1) if isinstance(value, str) else []
        expected = "one of " + ", ".join(map(shown, words))
        return _complain(path, expected + (f' (did you mean "{near[0]}"?)' if near else ""), value, problems)

    return read


def _array(inner: Reader) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, list):
            return _complain(path, "an array, as [0.112]", value, problems)
        got = [inner(item, f"{path}[{at}]", problems) for at, item in enumerate(value, 1)]
        return ABSENT if any(item is ABSENT for item in got) else tuple(got)

    return read


def _fixed(inner: list[Reader]) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, list) or len(value) != len(inner):
            return _complain(path, f"an array of {len(inner)}, as [90, 110]", value, problems)
        got = [
            reader(item, f"{path}[{at}]", problems)
            for at, (reader, item) in enumerate(zip(inner, value, strict=True), 1)
        ]
        return ABSENT if any(item is ABSENT for item in got) else tuple(got)

    return read


def _nested(cls: Any) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, dict):
            return _complain(path, f"a table, [{path}]", value, problems)
        made = table(cls, value, path, problems)
        return ABSENT if made is None else made

    return read


def _tables(cls: Any) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            return _complain(path, f"tables, [[{path}]]", value, problems)
        made = [table(cls, item, f"{path}[{at}]", problems) for at, item in enumerate(value, 1)]
        return tuple(item for item in made if item is not None)

    return read


def _mapping(value: Any, path: str, problems: list[Problem]) -> Any:
    if not isinstance(value, dict):
        return _complain(path, "a table of texts", value, problems)
    good = {key: text for key, text in value.items() if isinstance(text, str)}
    for key in value.keys() - good.keys():
        _complain(f'{path}."{key}"', _EXPECTED[str], value[key], problems)
    return good


def shown(value: Any) -> str:
    """A value as TOML, cut to a readable length."""
    if isinstance(value, Unreadable):
        text = "a number of thousands of digits" if value.text == TOO_LARGE else value.text
    elif isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = '"' + value.encode("unicode_escape").decode("ascii").replace('"', '\\"') + '"'
    elif isinstance(value, datetime | date | time):
        text = value.isoformat()
    elif isinstance(value, list):
        text = "[" + ", ".join(shown(item) for item in value[:4]) + (", …]" if len(value) > 4 else "]")
    elif isinstance(value, dict):
        text = "{" + ", ".join(list(value)[:4]) + "}"
    else:
        text = _shown_number(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _shown_number(value: Any) -> str:
    try:
        return str(value).lower()
    except ValueError:  # an integer of thousands of digits
        return f"{hex(value)[:20]}…"
