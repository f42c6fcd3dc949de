"""Rules about single results and the rows of one sample."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, below, finite
from runsheet.compute.photometry import step_signal
from runsheet.compute.results import Finding
from runsheet.compute.rules.computed import WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Day

GEL_G = 3.0
"""Silica gel for each started 100 mg of oil and grease (EPA 1664B)."""


def replicates(day: Day) -> Iterator[Finding]:
    """Readings of a row agree within a percentage of their net mean or three display steps."""
    step, reads = float(day.run.instrument.step or 0), day.run.instrument.reads
    for row in day.read:
        percent = day.limits(row.fraction).replicate_percent
        if percent is None or len(row.signals) < 2 or row.net is None or row.mean is None:
            continue
        allowed = max(float(percent) / 100 * abs(row.net), 3 * step_signal(step, reads, row.mean))
        spread = max(abs(signal - row.mean) for signal in row.signals)
        good = at_most(spread, allowed)
        why = "" if good else f"a reading is {spread:.3g} off the mean, at most {allowed:.3g}"
        yield Finding("replicates", (row.id,), spread, None, allowed, "pass" if good else "warn", why)


def over_dilution(day: Day) -> Iterator[Finding]:
    """A diluted extract that reads low says less than the undiluted one would."""
    lowest: dict[tuple[str, str], float] = {}
    for row in day.read:
        if row.amounts is not None:
            key = (row.sample, row.fraction)
            lowest[key] = min(lowest.get(key, math.inf), row.amounts.dilution)
    for row in day.read:
        if row.amounts is None or row.amounts.dilution <= 1 or not {"U", "J"} & set(row.flags):
            continue
        if lowest[row.sample, row.fraction] >= row.amounts.dilution:
            why = f"diluted {row.amounts.dilution:g}x and read low, and there is no less diluted reading of it"
            yield Finding("over-dilution", (row.id,), row.amounts.dilution, None, None, "warn", why)


def fractions(day: Day) -> Iterator[Finding]:
    """Petroleum hydrocarbons are part of oil and grease and cannot exceed it beyond their uncertainties."""
    for sample, whole, one in day.partners.fractions():
        allowed = math.hypot(whole.expanded or 0.0, one.expanded or 0.0)
        over = (one.result or 0.0) - (whole.result or 0.0)
        if over > 0 and not at_most(over, allowed):
            more = f"by {over:.3g} {one.unit}, uncertainty {allowed:.3g}"
            why = f"petroleum hydrocarbons of {sample} exceed its oil and grease {more}"
            yield Finding("fractions", (whole.id, one.id), over, None, allowed, "fail", why)


def silica_gel(day: Day) -> Iterator[Finding]:
    """The gel is enough for the oil and grease in the extract."""
    for row in day.live:
        if row.row.silica_gel_g is None or not row.row.silica_gel:
            continue
        whole = day.partners.reported.get((row.sample, "oil_grease"))
        if whole is None or whole.extract is None or whole.amounts is None or whole.amounts.extract_ml is None:
            continue
        mass = finite(whole.extract * whole.amounts.extract_ml * whole.amounts.dilution / 1000)
        if mass is None:
            continue
        needed, used = GEL_G * max(1, math.ceil(mass / 100 - 1e-9)), float(row.row.silica_gel_g)
        if below(used, needed):
            why = f"{used:g} g of silica gel for {mass:.0f} mg of oil and grease, {needed:g} g needed"
            yield Finding("silica-gel", (row.id,), used, needed, None, "warn", why)


def one_result(day: Day) -> Iterator[Finding]:
    """A sample has one reported result a fraction; the others are superseded with a reason."""
    found: dict[tuple[str, str], list[str]] = {}
    for row in day.of_kind("sample"):
        if row.reports and row.counted:
            found.setdefault((row.sample, row.fraction), []).append(row.id)
    for (sample, fraction), rows in found.items():
        if len(rows) > 1:
            why = f"{len(rows)} rows of {sample} report {WORDS[fraction]}: one is reported, the others are superseded"
            yield Finding("one-result", tuple(rows), len(rows), None, 1, "fail", why)


def amounts(day: Day) -> Iterator[Finding]:
    """A row that should have a result has the amounts it needs."""
    for row in day.live:
        if row.amounts is not None and row.amounts.factor is None:
            missing = [name for name, value in _needed(row) if value is None]
            why = f"no {' and no '.join(missing)}: no result" if missing else "its amounts give no result"
            yield Finding("amounts", (row.id,), None, None, None, "warn", why)


def _needed(row: RowResult) -> tuple[tuple[str, float | None], ...]:
    amounts = row.amounts
    if amounts is None:
        return ()
    extract = ("extract volume", amounts.extract_ml)
    return (extract,) if amounts.matrix == "wipe" else (("amount", amounts.amount), extract)


def unit(day: Day) -> Iterator[Finding]:
    """A row in another unit than the method's cannot be judged by its limits."""
    for row in day.live:
        if row.unit is not None and row.unit != day.run.method.unit:
            why = f"{row.unit}, and the method's limits are in {day.run.method.unit}: it has no limits"
            yield Finding("unit", (row.id,), None, None, None, "warn", why)
