"""Dataclasses to plain data.

Owns: what is left out of a file. Invariant: what is written is read as the same dataclass.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator


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
