"""What one field of a dataclass may hold.

Owns: questions about a field by its name, for those who type a value, list fields or show one. Invariant: the answers
are read from the annotation that also reads a document.
"""

from __future__ import annotations

import functools
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Annotated, Any, Literal, get_args, get_origin, get_type_hints

from runsheet.tables.bounds import Said
from runsheet.tables.reading import schema

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.problem import Problem


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
    schema(cls)[name](value, name, problems)
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
