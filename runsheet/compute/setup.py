"""The setup checks of the photometer, judged.

Owns: the target and the limit of each check. Invariant: `full-scale` and `dark` are always %T, the others absorbance.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.compare import at_most
from runsheet.compute.results import SetupResult

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.run.model import Run, Setup, SetupLimits


class _Kind(NamedTuple):
    limit: str
    target: float
    unit: str


KINDS = {
    "warm-up": _Kind("warm_up_minutes", 0, "min"),
    "zero": _Kind("zero_absorbance", 0, "A"),
    "full-scale": _Kind("full_scale_percent", 100, "%T"),
    "dark": _Kind("dark_percent", 0, "%T"),
    "recheck-zero": _Kind("zero_absorbance", 0, "A"),
    "stability": _Kind("stability_absorbance", 0, "A"),
    "cell": _Kind("cell_absorbance", 0, "A"),
}


def judge(run: Run, now: datetime) -> tuple[SetupResult, ...]:
    """Judge every setup check of the run."""
    first = min((standard.at for standard in run.standard if standard.at and standard.readings), default=None)
    return tuple(_judge(setup, run.method.setup, first, now) for setup in run.setup)


def _judge(setup: Setup, limits: SetupLimits | None, first: datetime | None, now: datetime) -> SetupResult:
    kind = KINDS[setup.check]
    given = getattr(limits, kind.limit, None)
    limit = None if given is None else float(given)
    if setup.check == "warm-up":
        return _warm_up(setup, limit, first, now)
    values = [float(reading) for reading in setup.readings]
    if not values or (setup.check == "stability" and len(values) < 2):
        why = "needs two readings or more" if setup.check == "stability" else "not read yet"
        return SetupResult(setup, "todo", None, limit, kind.unit, why)
    if setup.check == "stability":
        value, what = max(values) - min(values), "spread"
    else:
        value, what = max(abs(value - kind.target) for value in values), f"off {kind.target:g} {kind.unit} by"
    good = limit is None or at_most(value, limit)
    why = "" if good else f"{what} {value:.4g} {kind.unit}, limit {limit:g}"
    return SetupResult(setup, "pass" if good else "fail", value, limit, kind.unit, why)


def _warm_up(setup: Setup, limit: float | None, first: datetime | None, now: datetime) -> SetupResult:
    if setup.started is None:
        return SetupResult(setup, "todo", None, limit, "min", "not started yet")
    minutes = ((first or now) - setup.started).total_seconds() / 60
    if limit is None or at_most(limit, minutes):
        return SetupResult(setup, "pass", minutes, limit, "min", "")
    if first is None:
        return SetupResult(setup, "todo", minutes, limit, "min", f"{limit - minutes:.0f} min of {limit:g} left")
    return SetupResult(
        setup, "fail", minutes, limit, "min", f"first standard {minutes:.0f} min after the lamp, limit {limit:g}"
    )
