"""Rules about the batch QC: method blanks, controls, spikes, duplicates."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, below, equal, inside, optional
from runsheet.compute.comparison import CONTROLS, SPIKES
from runsheet.compute.results import Finding
from runsheet.compute.rules.computed import WORDS, pair

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Day

UNEQUAL = 0.02
"""How far apart, of the larger, the amounts or additions of a pair may be before its RPD says nothing."""


def batch(day: Day) -> Iterator[Finding]:
    """Each batch and fraction has its method blanks and controls, and a duplicate or a spike pair."""
    for (name, fraction), rows in day.groups.items():
        samples = _distinct(rows, "sample")
        size = day.limits(fraction).samples
        if not samples or size is None:
            continue
        what = f"{f'batch {name}, ' if name else ''}{WORDS[fraction]}"
        needed = math.ceil(len(samples) / float(size) - 1e-9)
        for kind in ("method-blank", "control"):
            had = len(_distinct(rows, kind))
            if had < needed:
                many = f"{len(samples)} sample{'s' if len(samples) > 1 else ''}"
                why = f"{what}: {had} {kind} for {many}, {needed} needed"
                yield Finding("batch", tuple(samples), had, needed, None, "fail", why)
        kinds = {row.kind for row in rows}
        if "duplicate" not in kinds and not set(SPIKES) <= kinds:
            yield Finding(
                "batch", tuple(samples), None, None, None, "warn", f"{what}: neither a duplicate nor a spike pair"
            )


def _distinct(rows: list[RowResult], kind: str) -> list[str]:
    return list(dict.fromkeys(row.sample for row in rows if row.kind == kind))


def method_blank(day: Day) -> Iterator[Finding]:
    """A method blank is below the reporting limit."""
    for row in day.of_kind("method-blank"):
        if row.result is None:
            yield _without_result("method-blank", row, None, row.reporting)
            continue
        good = row.reporting is None or below(row.result, row.reporting)
        why = "" if good else f"{row.result:.4g} {row.unit} is not below the reporting limit {row.reporting:.4g}"
        yield Finding("method-blank", (row.id,), row.result, None, row.reporting, "pass" if good else "fail", why)


def blank_flags(rows: tuple[RowResult, ...]) -> set[str]:
    """Name the rows that take flag B: samples of a batch and fraction below 10 times a blank that shows something."""
    floors: dict[tuple[str | None, str, str | None], float] = {}
    for row in rows:
        if row.kind == "method-blank" and _shows(row):
            key = (row.batch, row.fraction, row.unit)
            floors[key] = max(floors.get(key, 0.0), 10 * (row.result or 0.0))
    if not floors:
        return set()
    samples = [row for row in rows if row.kind in ("sample", "duplicate") and row.result is not None]
    return {
        row.id
        for row in samples
        if below(row.result or 0.0, floors.get((row.batch, row.fraction, row.unit), -math.inf))
    }


def _shows(blank: RowResult) -> bool:
    limit = blank.reporting if blank.detection is None else blank.detection
    return blank.result is not None and limit is not None and at_most(limit, blank.result)


def _without_result(rule: str, row: RowResult, low: float | None, high: float | None) -> Finding:
    if not row.counted:
        return Finding(rule, (row.id,), None, low, high, "todo", "not read yet")
    return Finding(rule, (row.id,), None, low, high, "warn", "it has no result, so no verdict")


def control(day: Day) -> Iterator[Finding]:
    """A control recovers what was added within its limits."""
    for row in day.of_kind(*CONTROLS):
        yield _recovery("control", row, day, *pair(day.limits(row.fraction).control_percent))


def spike(day: Day) -> Iterator[Finding]:
    """A spike recovers within its limits; where the controls pass, a spike that does not shows a matrix effect."""
    for row in day.of_kind(*SPIKES):
        finding = _recovery("spike", row, day, *pair(day.limits(row.fraction).spike_percent))
        if finding.state in ("pass", "fail") and (why := _too_small(row, day)):
            finding = finding._replace(state="warn", why=why)
        elif finding.state == "fail" and _controls_pass(row, day):
            finding = finding._replace(state="warn", why=f"{finding.why}: matrix effect, the control passes")
        yield finding


def _recovery(rule: str, row: RowResult, day: Day, low: float | None, high: float | None) -> Finding:
    value = row.recovery_percent
    if not row.counted:
        return Finding(rule, (row.id,), None, low, high, "todo", "not read yet")
    if value is None:
        return Finding(rule, (row.id,), None, low, high, "warn", f"{_missing(row, day)}: no verdict")
    if why := _foreign(row):
        return Finding(rule, (row.id,), value, low, high, "warn", why)
    good = inside(value, low, high)
    why = "" if good else f"recovers {value:.1f} %, limits {low:g}-{high:g}"
    return Finding(rule, (row.id,), value, low, high, "pass" if good else "fail", why)


def _missing(row: RowResult, day: Day) -> str:
    if row.row.added_mg is None:
        return "the added mass is missing"
    if row.kind in SPIKES and (parent := day.partners.parent(row)) is None:
        return "no reported reading of its sample in the same fraction and on the same basis"
    if row.kind in SPIKES and parent is not None and parent.result is None:
        return f"{parent.id} has no result"
    return "it has no result"


def _foreign(row: RowResult) -> str:
    """Say why a recovery is no verdict where another material was added than the curve was made of."""
    made_of = row.calibration.calibration.material if row.calibration else None
    added = row.row.material
    if not added or not made_of or added.casefold() == made_of.casefold() or row.row.response_factor is not None:
        return ""
    return f"{added} was added and the standards are {made_of}: without a response factor no verdict"


def _too_small(row: RowResult, day: Day) -> str:
    parent, amounts = day.partners.parent(row), row.amounts
    if (
        parent is None
        or parent.result is None
        or amounts is None
        or not amounts.mass_factor
        or row.row.added_mg is None
    ):
        return ""
    added = float(row.row.added_mg) / amounts.mass_factor
    if at_most(parent.result, 4 * added):
        return ""
    return f"{parent.id} holds more than 4 times what was added ({added:.3g} {row.unit}): the recovery says nothing"


def _controls_pass(row: RowResult, day: Day) -> bool:
    """Whether the batch and fraction has controls with a verdict and all of them pass."""
    limits = pair(day.limits(row.fraction).control_percent)
    same = [other for other in day.of_kind(*CONTROLS) if (other.batch, other.fraction) == (row.batch, row.fraction)]
    states = {_recovery("control", other, day, *limits).state for other in same}
    return "pass" in states and "fail" not in states


def control_pair(day: Day) -> Iterator[Finding]:
    """A control and its duplicate agree."""
    yield from _pairs("control-pair", "control-duplicate", day)


def spike_pair(day: Day) -> Iterator[Finding]:
    """A spike and its duplicate agree."""
    yield from _pairs("spike-pair", "spike-duplicate", day)


def _pairs(rule: str, kind: str, day: Day) -> Iterator[Finding]:
    for row in day.of_kind(kind):
        limit = day.limits(row.fraction).pair_rpd_percent
        high = None if limit is None else float(limit)
        first = day.partners.first_of_pair(row)
        rows = (row.id,) if first is None else (first.id, row.id)
        value = row.rpd_percent
        if not row.counted:
            yield Finding(rule, rows, None, None, high, "todo", "not read yet")
        elif first is None or value is None:
            why = "there is no first of the pair" if first is None else "the pair has no two results to compare"
            yield Finding(rule, rows, None, None, high, "warn", f"{why}: no verdict")
        elif why := _unequal(first, row):
            yield Finding(rule, rows, value, None, high, "warn", why)
        else:
            good = high is None or at_most(value, high)
            yield Finding(
                rule,
                rows,
                value,
                None,
                high,
                "pass" if good else "fail",
                "" if good else f"RPD {value:.1f} %, at most {high:g}",
            )


def _unequal(first: RowResult, second: RowResult) -> str:
    """Say why the RPD of two bottles is no verdict: their amounts or additions differ."""
    a, b = first.amounts, second.amounts
    pairs = (
        ("amounts", a.amount if a else None, b.amount if b else None),
        ("additions", optional(first.row.added_mg), optional(second.row.added_mg)),
    )
    for what, one, other in pairs:
        if one is None or other is None:
            continue
        larger = max(one, other)
        if abs(one - other) > UNEQUAL * larger and not equal(abs(one - other), UNEQUAL * larger):
            return f"the {what} are more than 2 % apart ({one:g}, {other:g}): their RPD is no verdict"
    return ""


def duplicate(day: Day) -> Iterator[Finding]:
    """A duplicate agrees with its sample: by RPD, near the reporting limit by difference."""
    for row in day.of_kind("duplicate"):
        limit = day.limits(row.fraction).duplicate_rpd_percent
        high = None if limit is None else float(limit)
        parent = day.partners.parent(row)
        if not row.counted:
            yield Finding("duplicate", (row.id,), None, None, high, "todo", "not read yet")
        elif parent is None or parent.result is None or row.result is None:
            why = "no reported result of its sample in the same fraction and on the same basis: no verdict"
            yield Finding("duplicate", (row.id,), None, None, high, "warn", why)
        else:
            yield _duplicate(row, parent, parent.result, row.result, high)


def _duplicate(row: RowResult, parent: RowResult, one: float, other: float, high: float | None) -> Finding:
    rows = (parent.id, row.id)
    detections = (parent.detection, row.detection)
    if None not in detections and below(one, parent.detection or 0) and below(other, row.detection or 0):
        return Finding("duplicate", rows, row.rpd_percent, None, high, "pass", "")
    reporting = [limit for limit in (parent.reporting, row.reporting) if limit is not None]
    low_level = any(
        limit is not None and below(result, 5 * limit)
        for result, limit in ((one, parent.reporting), (other, row.reporting))
    )
    if low_level:
        difference, allowed = abs(one - other), max(reporting)
        good = at_most(difference, allowed)
        why = "" if good else f"differ by {difference:.3g} {row.unit}, near the reporting limit at most {allowed:.3g}"
        return Finding("duplicate", rows, difference, None, allowed, "pass" if good else "fail", why)
    value = row.rpd_percent
    good = high is None or (value is not None and at_most(value, high))
    told = "no RPD" if value is None else f"RPD {value:.1f} %"
    return Finding(
        "duplicate", rows, value, None, high, "pass" if good else "fail", "" if good else f"{told}, at most {high:g}"
    )
