"""Verdicts on recoveries: of certified values and of added masses.

Owns: when a recovery is a verdict and which. Invariant: what says nothing is a warning that says why, never a pass.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, inside, pair
from runsheet.compute.results import Finding
from runsheet.figures import against, figure
from runsheet.run.kinds import SPIKES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from runsheet.compute.results import RowResult, Verdict
    from runsheet.run.model import Fraction, FractionLimits, Limits

BIG_PARENT = 4
"""From how many times the added mass on a parent leaves a spike's recovery without meaning (review guidelines, from
memory)."""


def unread(rule: str, row: RowResult, low: float | None = None, high: float | None = None) -> Finding:
    """The finding on a row that is still to be read."""
    return Finding(rule, (row.id,), None, low, high, "todo", "not read yet", "%")


def of_expected(rule: str, row: RowResult, limits: Limits | None) -> Finding:
    """The verdict on a standard with a certified value; one without an extract fails."""
    low, high = pair(limits)
    value = row.recovery_percent
    state: Verdict = "fail"
    if not row.counted:
        return unread(rule, row, low, high)
    if row.extract is None:
        why = no_extract(row)
    elif limits is None:
        state, why = "pass", ""
    elif value is None:
        why = "its expected value is missing"
    else:
        state, why = _judged(value, low, high)
    return Finding(rule, (row.id,), value, low, high, state, why, "%", read_at=row.row.at)


def no_extract(row: RowResult) -> str:
    """Why a row that was read has no concentration in its extract."""
    if row.calibration is None:
        return "no calibration of its cell was read in full by its time"
    return f"calibration {row.calibration.id} gives no concentration for its reading"


def of_added(rule: str, row: RowResult, limits: Limits | None) -> Finding:
    """The verdict on a control or spike by itself, whatever the others of its batch say."""
    low, high = pair(limits)
    value = row.recovery_percent
    state: Verdict = "warn"
    if not row.counted:
        return unread(rule, row, low, high)
    if value is None:
        why = f"{_missing(row)}: recovery not judged"
    elif not (why := says_nothing(row)):
        state, why = _judged(value, low, high)
    return Finding(rule, (row.id,), value, low, high, state, why, "%", read_at=row.row.at)


def says_nothing(row: RowResult) -> str:
    """Why the recovery of an added mass is no verdict, whatever its figure; empty where it is one."""
    return _foreign(row) or _over_range(row) or _too_small(row)


def _judged(value: float, low: float | None, high: float | None) -> tuple[Verdict, str]:
    """Whether a recovery is within its limits, and why not."""
    if inside(value, low, high):
        return "pass", ""
    limit = low if low is not None and value < low else high
    off = f"{value:.1f}" if limit is None else against(value, limit, ".1f")[0]
    return "fail", f"recovers {off} %, limits {low:g}-{high:g}"


def made_good(controls: Iterable[RowResult], limits: Callable[[Fraction], FractionLimits]) -> frozenset[str]:
    """The superseded controls after which a later one of their batch and fraction passes."""
    passed: set[tuple[str | None, str]] = set()
    found = set()
    for row in sorted(controls, key=lambda row: -row.place):
        group = (row.batch, row.fraction)
        if row.row.report is False and group in passed:
            found.add(row.id)
        if of_added("control", row, limits(row.fraction).control_percent).state == "pass":
            passed.add(group)
    return frozenset(found)


def _missing(row: RowResult) -> str:
    parent = row.compared_with
    if row.row.added_mg is None:
        return "the added mass is missing"
    if row.kind in SPIKES and parent is None:
        return "no reported reading of its sample in the same fraction and on the same basis"
    if row.kind in SPIKES and parent is not None and parent.result is None:
        return f"{parent.id} has no result"
    return "it has no result"


def _foreign(row: RowResult) -> str:
    """Why a recovery is no verdict where another material was added than the standards were made of."""
    made_of = row.calibration.calibration.material if row.calibration else None
    added = row.row.material
    if not added or not made_of or added.casefold() == made_of.casefold() or row.row.response_factor is not None:
        return ""
    return f"{added} was added and the standards are {made_of}: without a response factor not judged"


def _over_range(row: RowResult) -> str:
    said = over(row, row.compared_with)
    return f"{said}: recovery not judged" if said else ""


def over(*rows: RowResult | None) -> str:
    """Which of some rows have E, and what they are over; empty where none has."""
    found = [row for row in rows if row is not None and row.over]
    if len({row.over for row in found}) == 1:
        return f"{' and '.join(row.id for row in found)} {found[0].over}"
    return " and ".join(f"{row.id} {row.over}" for row in found)


def _too_small(row: RowResult) -> str:
    """Why a spike is no verdict where its parent holds far more than was added."""
    parent, amounts = row.compared_with, row.amounts
    if parent is None or parent.result is None or amounts is None or not amounts.mass_factor or not row.row.added_mg:
        return ""
    added = float(row.row.added_mg) / amounts.mass_factor
    if at_most(parent.result, BIG_PARENT * added):
        return ""
    more = f"{parent.id} holds more than {BIG_PARENT} times what was added ({figure(added, 3)} {row.unit})"
    return f"{more}, spike too small: recovery not judged"
