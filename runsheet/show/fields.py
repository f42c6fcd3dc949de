"""The fields of the files a person writes, as their dataclasses have them.

Owns: `Field`, `Group`, and finding them. Invariant: nothing is said of a field here: its type, bounds, unit and default
come from its annotation, its words from the docstring below it.
"""

from __future__ import annotations

import ast
import functools
import inspect
import textwrap
import types
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin, get_type_hints

from runsheet.figures import minute
from runsheet.tables import Above, Matching, Said, Within, said

if TYPE_CHECKING:
    from collections.abc import Iterator

REQUIRED = object()
"""The default of a field that must be written."""
UNITS = {
    "absorbance": "A", "c": "C", "cm2": "cm2", "days": "days", "g": "g", "mg": "mg", "minutes": "min", "ml": "mL",
    "mm": "mm", "percent": "%",
}  # fmt: skip
"""What the last part of a field's name says of its unit, where its annotation says nothing."""
_OF_THE_METHOD = {"{unit}": "the method's unit", "{amount}": "mL, g or cm2"}


class Field(NamedTuple):
    """One field of a table."""

    name: str
    hint: Any
    """Its annotation, without the None that stands for "not written"."""
    default: Any
    """`REQUIRED`, None where there is none, else the value that stands for one not written."""
    unit: str
    words: str
    """What it is called, and what the docstring below it says."""


class Group(NamedTuple):
    """A table, wherever it may stand."""

    cls: Any
    places: tuple[str, ...]
    """As `[method.batch]`, `[[queue]]`; empty for the top level."""

    @property
    def words(self) -> str:
        """What it holds."""
        return inspect.getdoc(self.cls) or ""


@functools.cache
def of(cls: Any) -> tuple[Field, ...]:
    """The fields of a dataclass, in order."""
    hints, told = get_type_hints(cls, include_extras=True), _docstrings(cls)
    return tuple(
        Field(each.name, written(hints[each.name]), _default(each), _unit(cls, each.name), _words(cls, each.name, told))
        for each in fields(cls)
    )


def _default(field: Any) -> Any:
    if field.default is MISSING and field.default_factory is MISSING:
        return REQUIRED
    return None if field.default == () or is_dataclass(field.default) else field.default


def _unit(cls: Any, name: str) -> str:
    called = said(cls, name)
    if called is not None and called.unit:
        return _OF_THE_METHOD.get(called.unit, called.unit)
    return UNITS.get(name.rpartition("_")[2], "") if "_" in name else ""


def _words(cls: Any, name: str, told: dict[str, str]) -> str:
    called = said(cls, name)
    return ". ".join(filter(None, (called.words if called is not None else "", told.get(name, ""))))


def _docstrings(cls: Any) -> dict[str, str]:
    """The docstrings below the fields, also of what the class is made from."""
    found: dict[str, str] = {}
    for each in reversed(cls.__mro__[:-1]):
        body = ast.parse(textwrap.dedent(inspect.getsource(each))).body[0]
        last = ""
        for node in getattr(body, "body", ()):
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant) and last:
                found[last] = inspect.cleandoc(str(node.value.value))
            last = node.target.id if isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name) else ""
    return found


def written(hint: Any) -> Any:
    """An annotation without None."""
    if get_origin(hint) not in (Union, types.UnionType):
        return hint
    kept = [arg for arg in get_args(hint) if arg is not type(None)]
    return Union[tuple(kept)]  # noqa: UP007 - made of what is only known here


def alternatives(hint: Any) -> tuple[Any, ...]:
    """What an annotation is one of; a number is one thing, whether decimal or whole."""
    if get_origin(hint) not in (Union, types.UnionType):
        return (hint,)
    args = get_args(hint)
    return tuple(arg for arg in args if arg is not int or Decimal not in args)


def groups(cls: Any) -> tuple[Group, ...]:
    """Every table of a file, each with the places it may stand at."""
    found: dict[Any, list[str]] = {}
    for made, place in _placed(cls, "", array=False):
        found.setdefault(made, []).append(place)
    return tuple(Group(made, tuple(filter(None, places))) for made, places in found.items())


def _placed(cls: Any, path: str, *, array: bool) -> Iterator[tuple[Any, str]]:
    yield cls, (f"[[{path}]]" if array else f"[{path}]") if path else ""
    for field in of(cls):
        below = f"{path}.{field.name}" if path else field.name
        if is_dataclass(field.hint):
            yield from _placed(field.hint, below, array=False)
        elif get_origin(field.hint) is tuple and is_dataclass(get_args(field.hint)[0]):
            yield from _placed(get_args(field.hint)[0], below, array=True)


# --- a type in words --------------------------------------------------------------------------------------------

_PLAIN: dict[Any, str] = {
    str: "text", bool: "true or false", int: "whole number", Decimal: "number", date: "date",
    datetime: "time with its offset",
}  # fmt: skip


def type_words(hint: Any) -> str:
    """Say what may be written for an annotation."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return " ".join(filter(None, (type_words(args[0]), *map(_bound, args[1:]))))
    if origin in (Union, types.UnionType):
        return " or ".join(map(type_words, alternatives(hint)))
    if origin is Literal:
        words = ", ".join(f'"{word}"' if isinstance(word, str) else str(word) for word in args)
        return words if len(args) == 1 else f"one of {words}"
    if origin is tuple and args[-1] is Ellipsis:
        return "tables" if is_dataclass(args[0]) else f"array, each: {type_words(args[0])}"
    if origin is tuple:
        return f"array of {len(args)}, each: {type_words(args[0])}"
    if origin is dict:
        return "table of texts"
    return "table" if is_dataclass(hint) else _PLAIN[hint]


def _bound(bound: Above | Within | Matching | Said) -> str:
    if isinstance(bound, Said):
        return ""
    if isinstance(bound, Matching):
        return f"that is {bound.words}"
    return bound.complaint(_refused(bound)).removeprefix("a number ")


def _refused(bound: Above | Within) -> float:
    """A number that a bound refuses, so that it says what it takes."""
    return float("nan") if isinstance(bound, Within) else bound.limit


def default_words(default: Any) -> str:
    """Write a default as it would stand in the file."""
    if default is REQUIRED:
        return "required"
    return "" if default is None else f'"{default}"' if isinstance(default, str) else minute(str(default)).lower()
