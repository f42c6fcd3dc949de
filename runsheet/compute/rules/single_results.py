"""Rules about single results and the rows of one sample."""

from __future__ import annotations

import math
from itertools import combinations
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, below, finite, optional
from runsheet.compute.comparison import rpd, same_basis
from runsheet.compute.photometry import step_signal
from runsheet.compute.results import Finding
from runsheet.compute.rules import recovery
from runsheet.compute.rules.computed import FRACTION_WORDS
from runsheet.figures import against

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed

GEL_G = 3.0
"""Silica gel for each started 100 mg of oil and grease (EPA 1664B)."""
LOW = frozenset("UJ")
"""Flags of a result below its limits."""
OFF_RANGE = LOW | {"E"}
"""Those of a result that two dilutions are not compared by."""


def over_range(run: Computed) -> Iterator[Finding]:
    """No reported row is above the calibrated range."""
    for row in run.read:
        if row.is_reported and "E" in row.flags:
            high, why = _above(row, run)
            yield Finding(
                "over-range", (row.id,), row.extract, None, high, "fail", why, "mg/L of extract",
                run.reach.of_row(row), read_at=row.row.at,
            )  # fmt: skip


def _above(row: RowResult, run: Computed) -> tuple[float | None, str]:
    """What a row with E is above, and that it is reported: the curve, its range, or what the photometer may read."""
    high = row.calibration.high if row.calibration else None
    if row.beyond == "curve":
        return high, "off the curve it was calibrated by, and reported"
    most = optional(run.run.method.calibration and run.run.method.calibration.max_absorbance)
    if most is None or row.mean is None or row.beyond == "range":
        return high, "above the range it was calibrated in, and reported"
    reads, allowed = against(row.mean, most, ".4g")
    return None, f"reads {reads} A, above the {allowed} A the method allows, and reported"


def negative(run: Computed) -> Iterator[Finding]:
    """No result is further below zero than its limits are above it."""
    for row in run.read:
        if row.result is None or not (row.is_reported or row.kind == "method-blank"):
            continue
        for state, limit, words in (("fail", row.reporting, "reporting"), ("warn", row.detection, "detection")):
            if limit is not None and below(row.result, -limit):
                off, most = against(row.result, limit, ".4g", ".4g")
                why = f"{off} {row.unit} is below zero by more than its {words} limit {most}"
                yield Finding(
                    "negative", (row.id,), row.result, -limit, None, state, why, row.unit or "",  # type: ignore[arg-type]
                    run.reach.of_row(row), read_at=row.row.at,
                )  # fmt: skip
                break


def replicates(run: Computed) -> Iterator[Finding]:
    """Readings of a row agree within a percentage of their net mean or three display steps."""
    step, reads = float(run.run.instrument.step or 0), run.run.instrument.reads
    for row in run.read:
        percent = run.limits(row.fraction).replicate_percent
        if percent is None or len(row.signals) < 2 or row.net is None or row.mean is None:
            continue
        allowed = max(float(percent) / 100 * abs(row.net), 3 * step_signal(step, reads, row.mean))
        spread = max(abs(signal - row.mean) for signal in row.signals)
        good = at_most(spread, allowed)
        why = "" if good else "a reading is {} off the mean, at most {}".format(*against(spread, allowed, ".3g", ".3g"))
        unit = "mg/L of extract" if row.calibration and row.calibration.direct else "A"
        yield Finding("replicates", (row.id,), spread, None, allowed, "pass" if good else "warn", why, unit)


def over_dilution(run: Computed) -> Iterator[Finding]:
    """A diluted extract that reads low says less than the undiluted one would."""
    lowest: dict[tuple[str, str], float] = {}
    for row in run.read:
        if row.amounts is not None:
            key = (row.sample, row.fraction)
            lowest[key] = min(lowest.get(key, math.inf), row.amounts.dilution)
    for row in run.read:
        if row.amounts is None or row.amounts.dilution <= 1 or LOW.isdisjoint(row.flags):
            continue
        if lowest[row.sample, row.fraction] >= row.amounts.dilution:
            why = f"diluted {row.amounts.dilution:g}x and read low, and there is no less diluted reading of it"
            yield Finding("over-dilution", (row.id,), row.amounts.dilution, state="warn", why=why, unit="x")


def dilution_agreement(run: Computed) -> Iterator[Finding]:
    """Two dilutions of one extract, both within the range, agree as duplicates do."""
    found: dict[tuple[object, ...], list[RowResult]] = {}
    for row in run.read:
        if row.amounts is not None and row.result is not None and OFF_RANGE.isdisjoint(row.flags):
            found.setdefault((row.kind, row.sample, row.fraction, row.batch), []).append(row)
    for rows in found.values():
        high = optional(run.limits(rows[0].fraction).duplicate_rpd_percent)
        for one, other in combinations(rows, 2):
            value = rpd(one, other)
            same = one.amounts and other.amounts and one.amounts.dilution == other.amounts.dilution
            if not same and value is not None and high is not None and not at_most(value, high):
                off, most = against(value, high, ".1f")
                basis = "" if same_basis(one, other) else ", one on dry weight and the other as received"
                why = f"two dilutions of {one.sample} differ: RPD {off} %, at most {most}{basis}"
                yield Finding("dilution-agreement", (one.id, other.id), value, None, high, "warn", why, "%")


def fractions(run: Computed) -> Iterator[Finding]:
    """Petroleum hydrocarbons are part of oil and grease and cannot exceed it beyond their uncertainties."""
    for sample, whole, one in run.reported.both_fractions():
        allowed = math.hypot(whole.expanded or 0.0, one.expanded or 0.0)
        over = (one.result or 0.0) - (whole.result or 0.0)
        if over > 0 and not at_most(over, allowed):
            off, most = against(over, allowed, ".3g", ".3g")
            why = f"petroleum hydrocarbons of {sample} exceed its oil and grease by {off} {one.unit}, "
            why += _beyond(whole, one, f"{most} {one.unit}")
            last = max((row.row.at for row in (whole, one) if row.row.at), default=None)
            unit = one.unit or ""
            yield Finding("fractions", (whole.id, one.id), over, None, allowed, "fail", why, unit, read_at=last)


def _beyond(whole: RowResult, one: RowResult, allowed: str) -> str:
    """What an excess is more than; not the U of the polar part, which knows what both rows have in common."""
    having = [row.id for row in (whole, one) if row.expanded]
    if not having:
        return "and neither has a U"
    if len(having) == 1:
        without = one.id if having == [whole.id] else whole.id
        return f"more than the U of {having[0]}, {allowed}; {without} has none"
    return f"more than both U, sqrt(U^2 + U^2) = {allowed}"


def silica_gel(run: Computed) -> Iterator[Finding]:
    """The gel is enough for the oil and grease in the extract."""
    for row in run.live:
        if row.row.silica_gel_g is None or not row.row.silica_gel:
            continue
        whole = run.reported.last(row.sample, "oil_grease")
        if whole is None or whole.extract is None or whole.amounts is None or whole.amounts.extract_ml is None:
            continue
        mass = finite(whole.extract * whole.amounts.extract_ml * whole.amounts.dilution / 1000)
        if mass is None:
            continue
        needed, used = GEL_G * max(1, math.ceil(mass / 100 - 1e-9)), float(row.row.silica_gel_g)
        if below(used, needed):
            held, _ = against(mass, 100 * (needed / GEL_G - 1), ".0f")  # 100.4 mg need more than 100 mg do
            why = f"{used:g} g of silica gel for {held} mg of oil and grease, {needed:g} g needed"
            yield Finding("silica-gel", (row.id,), used, needed, None, "warn", why, "g")


def one_result(run: Computed) -> Iterator[Finding]:
    """A sample has one reported result a fraction; the others are superseded with a reason."""
    for rows in run.reported.several():
        first, names = rows[0], tuple(row.id for row in rows)
        words = FRACTION_WORDS[first.fraction]
        why = f"{len(rows)} rows of {first.sample} report {words}: one is reported, the others are superseded"
        yield Finding("one-result", names, len(rows), None, 1, "fail", why, "rows")


def amounts(run: Computed) -> Iterator[Finding]:
    """A reported row has a result; a row still to be read has the amounts for one."""
    for row in run.live:
        if row.amounts is None:
            continue
        if row.is_reported and row.result is None:
            why = f"{_lacking(row)}: no result"
            yield Finding(
                "amounts", (row.id,), state="fail", why=why, affects=run.reach.of_row(row), read_at=row.row.at
            )
        elif not row.counted and row.amounts.factor is None:
            yield Finding("amounts", (row.id,), state="warn", why=f"{_lacking(row)}: no result can come of it")


def _lacking(row: RowResult) -> str:
    """What a row lacks for a result."""
    if row.amounts is not None and row.amounts.factor is None:
        missing = [name for name, value in _needed(row) if value is None]
        dish = row.amounts.matrix == "solid" and row.amounts.solids_percent is None and row.row.wet_g is not None
        none = "its dish as weighed gives no solids content" if dish else "its amounts give no factor"
        return f"no {' and no '.join(missing)}" if missing else none
    return recovery.no_extract(row) if row.extract is None else "its figures give none"


def _needed(row: RowResult) -> tuple[tuple[str, float | None], ...]:
    amounts = row.amounts
    if amounts is None:
        return ()
    extract = ("extract volume", amounts.extract_ml)
    return (extract,) if amounts.matrix == "wipe" else (("amount", amounts.amount), extract)


def unit(run: Computed) -> Iterator[Finding]:
    """A row in another unit than the method's cannot be judged by its limits."""
    for row in run.live:
        if row.unit is not None and row.unit != run.run.method.unit:
            why = f"{row.unit}, and the method's limits are in {run.run.method.unit}: it has no limits"
            yield Finding("unit", (row.id,), state="warn", why=why)
