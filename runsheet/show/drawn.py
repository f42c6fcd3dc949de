"""What the Monte Carlo draws say of a result, in words.

Owns: the sentence beside a first-order U. Invariant: a U that is not validated is said to be so, and which way it is
off.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from runsheet.figures import figure

if TYPE_CHECKING:
    from runsheet.compute.results import RowResult
    from runsheet.compute.statistics.monte_carlo import Propagated

SOURCE = "JCGM 101:2008, clause 8, u with one digit"
TITLES = ("row", "result", "U", "mean", "u", "from", "to", "first-order U")


def verdict(made: Propagated, row: RowResult) -> str:
    """Whether the first-order U holds, and which way it is off where it does not."""
    if not row.expanded:
        return "no U to validate"
    if made.validated is None:
        return f"not judged: too few draws {f'for {made.probability * 100:g} %' if made.too_few else 'to tell'}"
    if made.validated:
        return "validated"
    wide, half = 2 * row.expanded, made.high - made.low
    if not half:
        return "not validated"
    off = (wide / half - 1) * 100
    if abs(off) < 1:
        return "not validated: as wide, and off to one side"
    return f"not validated: {abs(off):.0f} % {'wider' if off > 0 else 'narrower'}"


def words(made: Propagated, row: RowResult) -> str:
    """The draws of one result in a sentence."""
    low, high = _ends(made)
    ends = f"{low} to {high} {row.unit or ''}".strip()
    drawn = f"{made.draws} draws: {made.probability * 100:g} % within {ends}"
    return f"{drawn}; first-order U {verdict(made, row)}"


def line(made: Propagated, row: RowResult) -> tuple[str, ...]:
    """The draws of one result as cells under `TITLES`."""
    figures = (row.result, row.expanded or None, made.mean, made.u)
    return (made.id, *(figure(value, 4) for value in figures), *_ends(made), verdict(made, row))


def _ends(made: Propagated) -> tuple[str, str]:
    """The ends of the interval, with two digits of its width: "26 to 26" would say that it has none."""
    width, largest = made.high - made.low, max(abs(made.low), abs(made.high))
    digits = math.floor(math.log10(largest)) - math.floor(math.log10(width)) + 2 if 0 < width < math.inf else 0
    return figure(made.low, max(4, digits)), figure(made.high, max(4, digits))
