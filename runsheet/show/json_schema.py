"""The files a person writes as a JSON Schema, for an editor to complete and check them by.

Owns: the schema (draft 2020-12). Invariant: it follows from the dataclasses as the reader does. It holds each field by
itself: what must hold between fields, and which names exist, only the program knows, so that a file the schema takes
may still have a problem. Times and dates are texts in it, as editors hand TOML's on.
"""

from __future__ import annotations

import sys
import types
from datetime import date, datetime
from decimal import Decimal
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from runsheet.show import fields
from runsheet.tables import Above, Matching, Within

DRAFT = "https://json-schema.org/draft/2020-12/schema"
TIME = r"^\d{4}-\d{2}-\d{2}[Tt ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?([+-]\d{2}:\d{2}|[Zz])$"
DATE = r"^\d{4}-\d{2}-\d{2}$"
_PLAIN: dict[Any, dict[str, Any]] = {
    str: {"type": "string"},
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    Decimal: {"type": "number"},
    date: {"type": "string", "format": "date", "pattern": DATE},
    datetime: {"type": "string", "format": "date-time", "pattern": TIME},
}


def schema(cls: Any, title: str) -> dict[str, Any]:
    """The schema of a file that a dataclass stands for."""
    below = [group.cls for group in fields.groups(cls) if group.cls is not cls]
    return {"$schema": DRAFT, "title": title, **_table(cls), "$defs": {made.__name__: _table(made) for made in below}}


def _table(cls: Any) -> dict[str, Any]:
    every = fields.of(cls)
    required = [field.name for field in every if field.default is fields.REQUIRED]
    return {
        "type": "object",
        "description": fields.Group(cls, ()).words,
        "properties": {field.name: _field(field) for field in every},
        **({"required": required} if required else {}),
        "additionalProperties": False,
    }


def _field(field: fields.Field) -> dict[str, Any]:
    told = ", ".join(filter(None, (field.words, field.unit and f"unit: {field.unit}")))
    more = {} if field.default is fields.REQUIRED or field.default is None else {"default": field.default}
    return {**({"description": told} if told else {}), **_type(field.hint), **more}


def _type(hint: Any) -> dict[str, Any]:
    origin, args = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _merged(_type(args[0]), args[1:])
    if origin in (Union, types.UnionType):
        kinds = fields.alternatives(hint)
        return _type(kinds[0]) if len(kinds) == 1 else {"anyOf": [_type(kind) for kind in kinds]}
    if origin is Literal:
        return {"enum": list(args)}
    if origin is tuple:
        return _array(args)
    if origin is dict:
        return {"type": "object", "additionalProperties": {"type": "string"}}
    return dict(_PLAIN[hint]) if hint in _PLAIN else {"$ref": f"#/$defs/{hint.__name__}"}


def _array(args: tuple[Any, ...]) -> dict[str, Any]:
    if args[-1] is Ellipsis:
        return {"type": "array", "items": _type(args[0])}
    return {"type": "array", "prefixItems": [_type(a) for a in args], "minItems": len(args), "maxItems": len(args)}


def _merged(made: dict[str, Any], bounds: tuple[Any, ...]) -> dict[str, Any]:
    for bound in bounds:
        if isinstance(bound, Above):
            made["exclusiveMinimum"] = bound.limit
        elif isinstance(bound, Matching):
            made["pattern"] = f"^(?:{bound.pattern})$"
        elif isinstance(bound, Within):
            made |= {"minimum": bound.low} if bound.low != -sys.float_info.max else {}
            made |= {"maximum": bound.high} if bound.high != sys.float_info.max else {}
    return made
