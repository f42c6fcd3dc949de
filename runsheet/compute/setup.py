"""The setup checks of the photometer, judged.

Owns: the target and the limit of each check. Invariant: `full-scale` and `dark` are always %T; the others are judged in
absorbance, in whatever they were typed.

A stability check needs two readings to say anything.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.compare import at_most
from runsheet.compute.photometry import absorbance
from runsheet.compute.results import SetupResult
from runsheet.figures import against

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.run.model import Run, Setup, SetupLimits


class SetupCheck(NamedTuple):
    """What a setup check is judged by."""

    limit: str
    """The field of the method's limits."""
    target: float
    unit: str


SETUP_CHECKS = {
    "warm-up": SetupCheck("warm_up_minutes", 0, "min"),
    "zero": SetupCheck("zero_absorbance", 0, "A"),
    "full-scale": SetupCheck("full_scale_percent", 100, "%T"),
    "dark": SetupCheck("dark_percent", 0, "%T"),
    "recheck-zero": SetupCheck("zero_absorbance", 0, "A"),
    "stability": SetupCheck("stability_absorbance", 0, "A"),
    "cell": SetupCheck("cell_absorbance", 0, "A"),
}


def reading_times(run: Run) -> list[datetime]:
    """The times of everything read, standards and queue rows that are not void, in order."""
    standards = (standard.at for standard in run.standard if standard.readings)
    rows = (row.at for row in run.queue if row.readings and row.void is None)
    return sorted(at for at in (*standards, *rows) if at is not None)


def judge(run: Run, times: list[datetime], now: datetime) -> tuple[SetupResult, ...]:
    """Every setup check of the run, judged; `times` are those of everything read, in order."""
    return tuple(_judge(setup, run.method.setup, times, now) for setup in run.setup)


def _judge(setup: Setup, limits: SetupLimits | None, times: list[datetime], now: datetime) -> SetupResult:
    kind = SETUP_CHECKS[setup.check]
    given = getattr(limits, kind.limit, None)
    limit = None if given is None else float(given)
    if setup.check == "warm-up":
        return _warm_up(setup, limit, times, now)
    if not setup.readings or (setup.check == "stability" and len(setup.readings) < 2):
        why = "needs two readings or more" if setup.check == "stability" else "not read yet"
        return SetupResult(setup, "todo", None, limit, kind.unit, why)
    values = in_unit(setup, kind.unit)
    if values is None:
        return SetupResult(setup, "fail", None, limit, kind.unit, "0 %T and below has no absorbance: it is no reading")
    if setup.check == "stability":
        value, what = max(values) - min(values), "spread"
    else:
        value, what = max(abs(value - kind.target) for value in values), f"off {kind.target:g} {kind.unit} by"
    good = limit is None or at_most(value, limit)
    off, most = against(value, limit or 0, ".4g")
    why = "" if good else f"{what} {off} {kind.unit}, limit {most}"
    return SetupResult(setup, "pass" if good else "fail", value, limit, kind.unit, why)


def in_unit(setup: Setup, unit: str) -> list[float] | None:
    """The readings in the unit of the limit, A or %T; None where a transmittance has no absorbance."""
    values = [float(reading) for reading in setup.readings]
    if setup.reads != "transmittance" or unit == "%T":
        return values
    return [absorbance(value) for value in values] if min(values) > 0 else None


def _warm_up(setup: Setup, limit: float | None, times: list[datetime], now: datetime) -> SetupResult:
    started = setup.started
    if started is None:
        return SetupResult(setup, "todo", None, limit, "min", "not started yet")
    first = next((at for at in times if at >= started), None)
    minutes = ((first or now) - started).total_seconds() / 60
    if limit is None or at_most(limit, minutes):
        return SetupResult(setup, "pass", minutes, limit, "min", "")
    if first is None and minutes < 0:  # typed so, or the clock was set back
        return SetupResult(setup, "todo", minutes, limit, "min", ahead(minutes))
    if first is None:
        return SetupResult(setup, "todo", minutes, limit, "min", f"{math.ceil(limit - minutes)} min of {limit:g} left")
    short, least = against(minutes, limit, ".0f")
    why = f"first reading {short} min after the lamp, limit {least}"
    return SetupResult(setup, "fail", minutes, limit, "min", why)


def ahead(minutes: float) -> str:
    """Say of a warm-up that it is not begun by the clock: `minutes` since its start are below 0."""
    return f"its start is {math.ceil(-minutes)} min ahead of the clock"
