"""Rules about the batch QC: method blanks, controls, spikes, duplicates.

Controls are counted without their duplicates, method blanks and controls once a sample, so that a re-read counts
once. Matrix effect needs at least one control of the batch and fraction that passes, and none that fails. B goes on
samples and duplicates, not on spikes. A superseded method blank is judged all the same: a bad blank is not made good
by leaving it unreported.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, below, equal, optional
from runsheet.compute.comparison import rpd, same_basis
from runsheet.compute.results import Finding
from runsheet.compute.rules import recovery
from runsheet.compute.rules.computed import FRACTION_WORDS, plain_lot
from runsheet.figures import against, beside, counted, figure
from runsheet.run.kinds import BLANKABLE, CONTROLS, JOURNEY_BLANKS, PAIRS, SOLVENT_STANDARDS, SPIKES, spoken

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed
    from runsheet.run.model import Fraction

UNEQUAL = 0.02
"""How far apart, of the larger, the amounts or additions of a pair may be before its RPD says nothing."""


def batch(run: Computed) -> Iterator[Finding]:
    """Each batch and fraction has its method blanks, its controls, and enough duplicates and pairs."""
    for (name, fraction), rows in run.groups.items():
        yield from _of_group(name, fraction, rows, run)
    if len(run.run.batch) > 1:
        without = [row for row in run.live if row.batch is None and row.kind not in SOLVENT_STANDARDS]
        if without:
            why = "they name no batch and there are several: they count as a batch of their own"
            affects = run.reach.groups(*((row.batch, row.fraction) for row in without))
            yield Finding("batch", tuple(row.id for row in without), state="warn", why=why, affects=affects)


def _of_group(name: str | None, fraction: Fraction, rows: list[RowResult], run: Computed) -> Iterator[Finding]:
    samples, size = _distinct(rows, "sample"), run.limits(fraction).samples
    if not samples or size is None:
        return
    what = f"{f'batch {name}, ' if name else ''}{FRACTION_WORDS[fraction]}"
    many = f"{len(samples)} sample{'s' if len(samples) > 1 else ''}"
    needed = math.ceil(len(samples) / float(size) - 1e-9)
    pairs = sum(min(len(_of(rows, kind)), len(_of(rows, PAIRS[kind]))) for kind in PAIRS)
    had = {kind: len(_distinct(rows, kind)) for kind in ("method-blank", "control")}
    had["duplicate or pair"] = len(_distinct(rows, "duplicate")) + pairs
    read = [row.row.at for row in rows if row.kind == "sample" and row.row.at is not None]
    made = Finding("batch", tuple(samples), affects=run.reach.groups((name, fraction)), read_at=max(read, default=None))
    for kind, count in had.items():
        had_words = counted(count, spoken(kind), "duplicates or pairs" if kind == "duplicate or pair" else "")
        why = f"{what}: {had_words} for {many}, {needed} needed"
        if count < needed and kind in ("method-blank", "control"):
            yield made._replace(value=count, low=needed, why=why)
        elif count < needed:
            yield made._replace(state="warn", why=why)


def _of(rows: list[RowResult], kind: str) -> list[RowResult]:
    return [row for row in rows if row.kind == kind]


def _distinct(rows: list[RowResult], kind: str) -> list[str]:
    return list(dict.fromkeys(row.sample for row in _of(rows, kind)))


def method_blank(run: Computed) -> Iterator[Finding]:
    """A method blank is below the reporting limit, or no sample of its batch is near it."""
    for row in run.of_kind("method-blank"):
        yield run.bearing(_method_blank(row, run), partial(run.reach.with_flag, "B", row))


def _not_below(row: RowResult) -> str:
    result, limit = beside(row.result, (row.reporting,)), figure(row.reporting)
    return f"{result} {row.unit} is not below the reporting limit {limit}"


def _method_blank(row: RowResult, run: Computed) -> Finding:
    unit = row.unit or ""
    made = Finding("method-blank", (row.id,), row.result, None, row.reporting, "pass", "", unit, read_at=row.row.at)
    if not row.counted:
        return recovery.unread("method-blank", row, None, row.reporting)._replace(unit=unit)
    if row.result is None:
        return made._replace(state="warn", why="it has no result: not judged")
    if row.unit != run.run.method.unit:
        why = f"{row.unit}, and the method's limits are in {run.run.method.unit}: not judged"
        return made._replace(state="warn", why=why)
    if row.reporting is None or below(row.result, row.reporting):
        return made
    why = _not_below(row)
    samples = [
        other for other in run.group(row) if other.kind == "sample" and other.is_reported and other.unit == row.unit
    ]
    if samples and all("U" in other.flags or _far_above(other, row) for other in samples):
        return made._replace(state="warn", why=f"{why}; each sample is below its limit or at least 10 times it")
    return made._replace(state="fail", why=why)


def _far_above(row: RowResult, blank: RowResult) -> bool:
    return row.result is not None and not below(row.result, 10 * (blank.result or 0.0))


def blank_flags(rows: tuple[RowResult, ...]) -> set[str]:
    """The rows that take flag B: samples of a batch and fraction below 10 times a blank that shows something."""
    floors: dict[tuple[str | None, str, str | None], float] = {}
    for row in rows:
        if row.kind == "method-blank" and _shows(row):
            key = (row.batch, row.fraction, row.unit)
            floors[key] = max(floors.get(key, 0.0), 10 * (row.result or 0.0))
    if not floors:
        return set()
    samples = [row for row in rows if row.kind in BLANKABLE and row.result is not None]
    return {
        row.id
        for row in samples
        if "U" not in row.flags and below(row.result or 0.0, floors.get((row.batch, row.fraction, row.unit), -math.inf))
    }


def _shows(blank: RowResult) -> bool:
    limit = blank.reporting if blank.detection is None else blank.detection
    return blank.counted and blank.result is not None and limit is not None and at_most(limit, blank.result)


def control(run: Computed) -> Iterator[Finding]:
    """A control recovers what was added within its limits."""
    for row in run.of_kind(*CONTROLS):
        finding = recovery.of_added("control", row, run.limits(row.fraction).control_percent)
        yield run.bearing(finding, partial(run.reach.of_row, row))


def spike(run: Computed) -> Iterator[Finding]:
    """A spike recovers within its limits; where the controls pass, a spike that does not shows a matrix effect."""
    for row in run.of_kind(*SPIKES):
        finding = recovery.of_added("spike", row, run.limits(row.fraction).spike_percent)
        if finding.state == "fail" and _controls_pass(row, run):
            finding = finding._replace(state="warn", why=f"{finding.why}: matrix effect, the control passes")
        yield finding


def _controls_pass(row: RowResult, run: Computed) -> bool:
    """Whether the batch and fraction has controls with a verdict and all of them pass."""
    limits = run.limits(row.fraction).control_percent
    controls = (other for other in run.group(row) if other.kind in CONTROLS)
    states = {recovery.of_added("control", other, limits).state for other in controls}
    return "pass" in states and "fail" not in states


def control_pair(run: Computed) -> Iterator[Finding]:
    """A control and its duplicate agree."""
    for row in run.of_kind("control-duplicate"):
        yield run.bearing(_pair("control-pair", row, run), partial(run.reach.groups, (row.batch, row.fraction)))


def spike_pair(run: Computed) -> Iterator[Finding]:
    """A spike and its duplicate agree."""
    for row in run.of_kind("spike-duplicate"):
        yield _pair("spike-pair", row, run)


def _pair(rule: str, row: RowResult, run: Computed) -> Finding:
    high = optional(run.limits(row.fraction).pair_rpd_percent)
    first = row.pair_with
    names = (row.id,) if first is None else (first.id, row.id)
    made = Finding(rule, names, row.rpd_percent, None, high, "warn", "", "%", read_at=row.row.at)
    if not row.counted:
        return made._replace(state="todo", why="not read yet")
    if first is None:
        return made._replace(why="there is no first of the pair: not judged")
    if why := _over(first, row) or _bases(first, row) or _unequal(first, row):
        return made._replace(why=why)
    if row.rpd_percent is None:
        return made._replace(why="the pair has no two results to compare: not judged")
    good = high is None or at_most(row.rpd_percent, high)
    return made._replace(state="pass" if good else "fail", why="" if good else _rpd_over(row.rpd_percent, high or 0))


def _rpd_over(value: float, high: float) -> str:
    return "RPD {} %, at most {}".format(*against(value, high, ".1f"))


def _over(first: RowResult, second: RowResult) -> str:
    said = recovery.over(first, second)
    return f"{said}: not judged" if said else ""


def _bases(first: RowResult, second: RowResult) -> str:
    if same_basis(first, second) or first.unit != second.unit:
        return ""
    return "one is on dry weight and the other as received: not judged"


def _unequal(first: RowResult, second: RowResult) -> str:
    """Why the RPD of two bottles is no verdict: their amounts or additions differ."""
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
            return f"the {what} are more than 2 % apart ({one:g}, {other:g}): not judged"
    return ""


def duplicate(run: Computed) -> Iterator[Finding]:
    """A duplicate agrees with its sample: by RPD, near the reporting limit by difference."""
    for row in run.of_kind("duplicate"):
        high, parent = optional(run.limits(row.fraction).duplicate_rpd_percent), row.compared_with
        if not row.counted:
            yield recovery.unread("duplicate", row, None, high)
        elif parent is None or parent.result is None or row.result is None:
            none = "no reported result of its sample in the same fraction to compare"
            why = f"{'it has no result' if row.result is None else none}: not judged"
            yield Finding("duplicate", (row.id,), None, None, high, "warn", why, "%", read_at=row.row.at)
        else:
            yield agreement("duplicate", row, parent, high)


def agreement(rule: str, row: RowResult, other: RowResult, high: float | None) -> Finding:
    """Whether two results of one sample agree, as a duplicate must."""
    one, two = other.result or 0.0, row.result or 0.0
    made = Finding(rule, (other.id, row.id), rpd(row, other), None, high, "pass", "", "%", read_at=row.row.at)
    if why := _over(other, row) or _bases(other, row):
        return made._replace(state="warn", why=why)
    if row.unit != other.unit:
        return made._replace(state="warn", why=f"{other.unit} and {row.unit}: not judged")
    if _both_below(row, other):
        return made._replace(high=None, why="both below the detection limit")
    limits = [limit for limit in (other.reporting, row.reporting) if limit is not None]
    pairs = ((one, other.reporting), (two, row.reporting))
    if any(limit is not None and below(result, 5 * limit) for result, limit in pairs):
        difference, allowed = abs(one - two), max(limits)
        good = at_most(difference, allowed)
        off, most = against(difference, allowed, ".3g", ".3g")
        why = "" if good else f"differ by {off} {row.unit}, near the reporting limit at most {most}"
        return made._replace(
            value=difference, high=allowed, state="pass" if good else "fail", why=why, unit=row.unit or ""
        )
    if high is None:
        return made
    if made.value is None:
        return made._replace(state="warn", why="the mean of both is not above 0: no RPD, not judged")
    good = at_most(made.value, high)
    return made._replace(state="pass" if good else "fail", why="" if good else _rpd_over(made.value, high))


def _both_below(*rows: RowResult) -> bool:
    return all(row.detection is not None and below(row.result or 0.0, row.detection) for row in rows)


def rpd_says_nothing(row: RowResult) -> bool:
    """Whether the RPD of a duplicate is no verdict and none of its spread: over range, of two bases, both below."""
    other = row.compared_with
    return other is not None and bool(_over(other, row) or _bases(other, row) or _both_below(row, other))


def solvent_lot(run: Computed) -> Iterator[Finding]:
    """A batch extracted with another lot of solvent than its calibration's has a method blank that shows it."""
    for made in run.run.batch:
        rows = [row for row in run.live if row.batch == made.id]
        if not made.solvent_lot or any(row.kind == "method-blank" for row in rows):
            continue
        curves = {row.calibration.id: row.calibration.calibration for row in rows if row.calibration}
        lots = {name: curve.solvent_lot or run.run.solvent.lot for name, curve in curves.items()}
        others = {name: lot for name, lot in lots.items() if lot and plain_lot(lot) != plain_lot(made.solvent_lot)}
        if others:
            named = ", ".join(f"{name} in {lot}" for name, lot in others.items())
            why = f"extracted with lot {made.solvent_lot}, calibrated {named}, and no method blank in the batch"
            yield Finding("solvent-lot", (made.id,), state="warn", why=why)


def field_blank(run: Computed) -> Iterator[Finding]:
    """A blank that made the samples' journey is below its reporting limit."""
    for row in run.of_kind(*JOURNEY_BLANKS):
        if row.result is not None and row.reporting is not None and not below(row.result, row.reporting):
            why = _not_below(row)
            yield Finding(
                "field-blank", (row.id,), row.result, None, row.reporting, "warn", why, row.unit or "",
                read_at=row.row.at,
            )  # fmt: skip
