"""Typed TOML: text to dataclasses and back. Knows nothing of runs.

Owns: the one way TOML becomes dataclasses. The dataclass annotations are the schema.
Invariant: content never raises; everything wrong is collected with its path, and what could be read is kept.

Numbers keep the characters they were typed with (`AsTyped`), also where Decimal would write 1E-7. Line numbers of
problems come from a scan of headers and keys; text with multi-line strings has none.
"""

from __future__ import annotations

import difflib
import functools
import re
import sys
import tomllib
import types
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Annotated, Any, Literal, Self, TypeVar, Union, get_args, get_origin, get_type_hints

from runsheet.problem import Problem

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    Reader = Callable[[Any, str, list[Problem]], Any]

T = TypeVar("T")

Number = Decimal | int
"""A number a person typed: kept as typed, computed with as a float."""


@dataclass(frozen=True)
class Above:
    """A number greater than `limit`."""

    limit: float

    def complaint(self, value: float) -> str:
        """What was expected, or nothing."""
        return "" if value > self.limit else f"a number above {self.limit:g}"


@dataclass(frozen=True)
class Within:
    """A number from `low` to `high`."""

    low: float = -sys.float_info.max
    high: float = sys.float_info.max

    def complaint(self, value: float) -> str:
        """What was expected, or nothing."""
        if self.low <= value <= self.high:
            return ""
        if self.high == sys.float_info.max:
            return f"a number of at least {self.low:g}"
        return f"a number from {self.low:g} to {self.high:g}"


@dataclass(frozen=True)
class Matching:
    """Text that matches the whole of `pattern`; `words` says so to a person."""

    pattern: str
    words: str

    def complaint(self, value: str) -> str:
        """What was expected, or nothing."""
        return "" if re.fullmatch(self.pattern, value) else self.words


@dataclass(frozen=True)
class Said:
    """What a field is called, and its unit; it bounds nothing."""

    words: str
    unit: str = ""

    def complaint(self, _value: object) -> str:
        """Nothing: any value may stand there."""
        return ""


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
class _Unreadable:
    """A number whose conversion failed; it stands in the parsed data so that the reader can give its path."""

    text: str


_ABSENT = object()
"""What a reader returns for a value it could not read."""


# --- text to plain data ---------------------------------------------------------------------------------------


def number(text: str) -> Decimal:
    """Turn typed characters into a decimal that is written back the same.

    Raises decimal.InvalidOperation for characters that are no number.
    """
    value = Decimal(text)
    written = str(value).lower()
    return value if written == text.lower() or not value.is_finite() else AsTyped(text)


def _parse_float(text: str) -> Decimal | _Unreadable:
    try:
        return number(text)
    except InvalidOperation:
        return _Unreadable(text)


_LONG_DIGITS = re.compile(r"[+-]?\d[\d_]{4000,}")
_TOO_LARGE = "1e9999999999999999999"

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
        marked, count = _LONG_DIGITS.subn(_TOO_LARGE, text)
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


# --- plain data to dataclasses ----------------------------------------------------------------------------------


def table(cls: type[T], data: dict[str, Any], where: str, problems: list[Problem]) -> T | None:
    """Build `cls` from a TOML table, adding what is wrong with it to `problems`.

    A value that cannot be read is left out; None where a required one is missing or cannot be read.
    """
    kind: Any = cls
    schema = _schema(kind)
    values: dict[str, Any] = {}
    for key, value in data.items():
        path = f"{where}.{key}" if where else key
        if key not in schema:
            problems.append(Problem(path, _unknown(key, schema)))
        elif (read := schema[key](value, path, problems)) is not _ABSENT:
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
def _schema(cls: Any) -> dict[str, Reader]:
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
    return _ABSENT


def _scalar(kind: Any, value: Any, path: str, problems: list[Problem]) -> Any:
    # type() and not isinstance: a boolean is an int, and a date-time a date, to Python but not to a reader.
    if type(value) is not kind:
        extra = " (a date and time)" if kind is date and isinstance(value, datetime) else ""
        return _complain(path, _EXPECTED[kind] + extra, value, problems)
    if kind is datetime and value.utcoffset() is None:
        return _complain(path, _EXPECTED[kind] + " (a local time cannot be ordered)", value, problems)
    return value


def _number(value: Any, path: str, problems: list[Problem]) -> Any:
    if isinstance(value, _Unreadable) or (isinstance(value, Number) and not _fits_float(value)):
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
        if got is _ABSENT:
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
            if (got := reader(value, path, found)) is not _ABSENT:
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
        return _ABSENT if any(item is _ABSENT for item in got) else tuple(got)

    return read


def _fixed(inner: list[Reader]) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, list) or len(value) != len(inner):
            return _complain(path, f"an array of {len(inner)}, as [90, 110]", value, problems)
        got = [
            reader(item, f"{path}[{at}]", problems)
            for at, (reader, item) in enumerate(zip(inner, value, strict=True), 1)
        ]
        return _ABSENT if any(item is _ABSENT for item in got) else tuple(got)

    return read


def _nested(cls: Any) -> Reader:
    def read(value: Any, path: str, problems: list[Problem]) -> Any:
        if not isinstance(value, dict):
            return _complain(path, f"a table, [{path}]", value, problems)
        made = table(cls, value, path, problems)
        return _ABSENT if made is None else made

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
    if isinstance(value, _Unreadable):
        text = "a number of thousands of digits" if value.text == _TOO_LARGE else value.text
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


# --- dataclasses to plain data ----------------------------------------------------------------------------------


def plain(made: Any) -> dict[str, Any]:
    """Turn a dataclass into data TOML can hold: what is None or an empty array is left out."""
    return {name: _plain_value(value) for name, value in _filled(made)}


def _filled(made: Any) -> Iterator[tuple[str, Any]]:
    for field in fields(made):
        value = getattr(made, field.name)
        if value is not None and value != ():
            yield field.name, value


def _plain_value(value: Any) -> Any:
    if is_dataclass(value):
        return plain(value)
    if isinstance(value, tuple):
        return [_plain_value(item) for item in value]
    return value


# --- lines ------------------------------------------------------------------------------------------------------


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


# --- one field --------------------------------------------------------------------------------------------------


@functools.cache
def kinds_of(cls: type, name: str) -> tuple[str, ...]:
    """Say what a field may hold, in the order typed characters are tried: number, numbers, flag, date, time, text."""
    found = _leaves(get_type_hints(cls, include_extras=True)[name])
    kinds = (("number", Decimal), ("number", int), ("flag", bool), ("date", date), ("time", datetime))
    named = [("numbers" if "..." in found and kind == "number" else kind) for kind, leaf in kinds if leaf in found]
    return (*dict.fromkeys(named), *(("text",) if {Literal, str} & found else ()))


def _leaves(hint: Any) -> set[Any]:
    """The plain types an annotation is made of, `Literal` for words and "..." for an array."""
    if get_origin(hint) is Literal:
        return {Literal}
    if get_origin(hint) is Annotated:
        return _leaves(get_args(hint)[0])
    args = [arg for arg in get_args(hint) if arg is not Ellipsis]
    array = {"..."} if get_origin(hint) is tuple else set()
    return {leaf for arg in args for leaf in _leaves(arg)} | array if args else {hint}


def complaint(cls: type, name: str, value: Any) -> str:
    """Say what is wrong with a value for a field; empty when it may stand there."""
    problems: list[Problem] = []
    _schema(cls)[name](value, name, problems)
    return problems[0].message if problems else ""


@functools.cache
def said(cls: type, name: str) -> Said | None:
    """The words and the unit a field is shown with, None where it has none."""

    def within(hint: Any) -> Iterator[Said]:
        for arg in get_args(hint):
            if isinstance(arg, Said):
                yield arg
            else:
                yield from within(arg)

    return next(within(get_type_hints(cls, include_extras=True)[name]), None)
