"""The rule about how samples arrived.

Blanks of the journey are judged where their temperature or pH is recorded; that it is not is asked of samples only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, inside, pair
from runsheet.compute.results import Finding
from runsheet.compute.rules.times import zone

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, datetime

    from runsheet.compute.results import RowResult
    from runsheet.compute.rules.computed import Computed
    from runsheet.run.model import ReceiptLimits, Run, Sample


def receipt(run: Computed) -> Iterator[Finding]:
    """A sample arrives as cold, and a water as acid, as the method asks."""
    limits = run.run.method.receipt
    if limits is None:
        return
    rows: dict[str, list[RowResult]] = {}
    for row in run.read:
        if row.for_client:
            rows.setdefault(row.sample, []).append(row)
    for what, recorded, judge in (("temperature on receipt", "received_c", _temperature), ("pH", "pH", _acidity)):
        without = []
        for name, read in rows.items():
            sample = run.samples.get(name)
            if not _asked(what, read, limits):
                continue
            if sample is not None and getattr(sample, recorded) is not None:
                last = max((row.row.at for row in read if row.row.at), default=None)
                yield from (finding._replace(read_at=last) for finding in judge(sample, limits, run))
            elif any(row.kind == "sample" for row in read):  # a blank's journey was the samples', and they are asked
                without.append(name)
        if without:
            affects = run.reach.samples(without)
            yield Finding("receipt", tuple(without), state="warn", why=f"{what} is not recorded", affects=affects)


def _asked(what: str, read: list[RowResult], limits: ReceiptLimits) -> bool:
    """Whether the method has a limit for it that applies to these rows of a sample."""
    if what != "pH":
        return limits.temperature_c is not None
    return limits.ph_max is not None and any(row.amounts and row.amounts.matrix == "water" for row in read)


def _temperature(sample: Sample, limits: ReceiptLimits, run: Computed) -> Iterator[Finding]:
    low, high = pair(limits.temperature_c)
    value = float(sample.received_c or 0)
    if inside(value, low, high):
        return
    why = f"received at {value:g} C, limits {low:g} to {high:g}"
    cooling = high is not None and value > high and sample.on_ice is True and _same_day(sample, run.run)
    if cooling:
        why += "; received on ice the day it was collected"
    yield Finding(
        "receipt", (sample.id,), value, low, high, "warn" if cooling else "fail", why, "C",
        run.reach.samples((sample.id,)),
    )  # fmt: skip


def _acidity(sample: Sample, limits: ReceiptLimits, run: Computed) -> Iterator[Finding]:
    value, high = float(sample.pH or 0), float(limits.ph_max or 0)
    if at_most(value, high):
        return
    adjusted = bool(sample.pH_adjusted) or (sample.pH_adjusted == 0 and sample.pH_adjusted is not False)
    why = f"pH {value:g} on receipt, at most {high:g}" + ("; adjusted" if adjusted else "")
    affects = run.reach.samples((sample.id,))
    yield Finding("receipt", (sample.id,), value, None, high, "warn" if adjusted else "fail", why, "", affects)


def unpreserved(findings: tuple[Finding, ...]) -> set[str]:
    """The samples that take flag Y: received too warm, frozen or not acid enough, whatever was done about it later."""
    told = (finding for finding in findings if finding.rule == "receipt" and finding.value is not None)
    return {finding.rows[0] for finding in told if finding.state == "fail" or finding.unit != "C"}


def _same_day(sample: Sample, run: Run) -> bool:
    """Whether it was received on the day it was collected."""
    return _day(sample.received, run) == _day(sample.collected, run) is not None


def _day(when: datetime | date | None, run: Run) -> date | None:
    if when is None:
        return None
    return when.astimezone(zone(run)).date() if hasattr(when, "astimezone") else when
