"""The methods and the solvents in words, for a terminal.

Owns: the words for each limit. Invariant: a limit is never shown without its source; where a method gives none, that
is said.
"""

from __future__ import annotations

import textwrap
from datetime import date
from itertools import zip_longest
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables
from runsheet.figures import unit_of
from runsheet.methods import solvents, standing
from runsheet.run.model import (
    BatchLimits,
    BlankLimits,
    CheckLimits,
    CurveLimits,
    HoldingLimits,
    ReceiptLimits,
    ReportingLimits,
    SetupLimits,
    Uncertainty,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from runsheet.run.model import Method

GROUPS = {
    "setup": "Setup checks",
    "calibration": "Calibration",
    "blank": "Solvent blank",
    "check": "Check standard",
    "batch": "Batch quality control",
    "limits": "Detection and reporting",
    "holding": "Holding times",
    "receipt": "Receipt",
    "uncertainty": "Uncertainty",
}
"""The tables of a method that hold limits, in the order of a day, with their titles."""

FRACTIONS = {"oil_grease": "oil and grease", "petroleum": "petroleum hydrocarbons"}
AMOUNTS = {"mg/L": "mL", "mg/kg": "g", "mg/100cm2": "cm2"}
"""What the nominal amount is measured in, by the method's unit."""
UNBROKEN = "\N{NO-BREAK SPACE}"
"""Between a value and its unit while lines are broken."""
_TABLES = {
    "setup": SetupLimits,
    "calibration": CurveLimits,
    "blank": BlankLimits,
    "check": CheckLimits,
    "batch": BatchLimits,
    "limits": ReportingLimits,
    "holding": HoldingLimits,
    "receipt": ReceiptLimits,
    "uncertainty": Uncertainty,
}
NO_SOURCE = "the method gives no source"


class Limit(NamedTuple):
    """One limit of a method, in words."""

    path: str
    """Below the method, as `blank.absorbance`."""
    words: str
    value: str
    """With its unit."""
    source: str


def source_of(method: Method, path: str) -> str:
    """Where the method says that a limit comes from; `path` is below the method, as `blank.absorbance`."""
    return (method.sources or {}).get(path) or NO_SOURCE


def describe(method: Method) -> list[Limit]:
    """Put each limit of a method in words, with its value and its source."""
    units = {"unit": method.unit, "amount": AMOUNTS.get(method.unit, "")}
    made = []
    for path, value in limits(method):
        words, unit = _words(path)
        shown = f"{_value(value)} {unit_of(value, unit.format(**units))}".strip()
        made.append(Limit(path, words, shown, source_of(method, path)))
    return made


def limits(method: Method) -> Iterator[tuple[str, Any]]:
    """Each limit of a method, number, pair or yes-or-no, with its path below the method."""
    data = tables.plain(method)
    for group in GROUPS:
        yield from _limits(group, data.get(group, {}))


def lines(method: Method, width: int = 80) -> list[str]:
    """Print a method at `width` columns: title, basis, and each limit beside its source."""
    made = [*_wrapped(f"{method.name}: {method.title or 'no title'}", width), *_wrapped(_basis(method), width, "  ")]
    if method.note:
        made += _wrapped(method.note, width, "  ")
    described = describe(method)
    for group, title in GROUPS.items():
        rows = [limit for limit in described if limit.path.split(".")[0] == group]
        note = getattr(getattr(method, group), "note", None)
        made += ["", title] if rows or note else []
        for limit in rows:
            made += _beside(f"{limit.words} {limit.value.replace(' ', UNBROKEN)}", limit.source, width)
        made += _wrapped(f"note: {note}", width, "  ") if note else []
    return made


def standing_lines(unit: str, width: int = 80) -> list[str]:
    """Print what a result in `unit` is not."""
    return [line for sentence in standing.standing(unit) for line in _item(str(sentence), width)]


def solvent_lines(width: int = 80) -> list[str]:
    """Print each known solvent with its cautions, then those that hold for all."""
    known = solvents.known()
    made: list[str] = []
    for solvent in known.solvent:
        others = f" ({', '.join(solvent.aliases)})" if solvent.aliases else ""
        made += _wrapped(solvent.name + others, width)
        if solvent.refusal:
            made += _item(f"Refused for infrared: {solvent.refusal}.", width)
        made += [line for caution in solvent.cautions for line in _item(str(caution), width)]
        made.append("")
    made.append("every solvent")
    made += [line for caution in known.general for line in _item(str(caution), width)]
    return [*made, "", *_wrapped(known.always, width)]


def _limits(path: str, data: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for key, value in data.items():
        if isinstance(value, dict):
            yield from _limits(f"{path}.{key}", value)
        elif not isinstance(value, str | date):
            yield f"{path}.{key}", value


def _words(path: str) -> tuple[str, str]:
    group, *fraction, key = path.split(".")
    said = tables.said(_TABLES[group], key) or tables.Said(key)
    return ", ".join([*(FRACTIONS[name] for name in fraction), said.words]), said.unit


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return " to ".join(map(str, value)) if isinstance(value, list) else str(value)


def _basis(method: Method) -> str:
    studied = method.limits.studied if method.limits else None
    study = f"; detection study of {studied}" if studied else ""
    return f"{method.basis or 'no basis given'}; results in {method.unit}{study}"


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)


def _item(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent="  - ", subsequent_indent="    ")


def _beside(left: str, right: str, width: int) -> list[str]:
    """Set two texts side by side, each wrapped in its half, the second line of the left one further in."""
    half = width // 2
    lefts = textwrap.wrap(left, half - 2, initial_indent="  ", subsequent_indent="    ")
    rights = textwrap.wrap(right, width - half)
    return [f"{a:{half}}{b}".replace(UNBROKEN, " ").rstrip() for a, b in zip_longest(lefts, rights, fillvalue="")]
