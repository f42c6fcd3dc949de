"""What an annotation may say of a field beyond its type: bounds, a pattern, words and a unit.

Owns: the marks in `Annotated[...]` of the dataclasses that are schemas. Invariant: a good value has no complaint.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from decimal import Decimal

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
