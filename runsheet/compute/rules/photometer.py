"""Rules about the photometer: each setup check, and whether each day has them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.days import setup_time
from runsheet.compute.results import Finding
from runsheet.compute.setup import SETUP_CHECKS
from runsheet.figures import told_apart

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from runsheet.compute.results import SetupResult, Verdict
    from runsheet.compute.rules.computed import Computed

ASKED = ("warm-up", "zero", "full-scale", "dark", "stability", "cell")
"""The checks each day is asked for, where the method has a limit for them."""
NEEDED = ("warm-up", "zero")
"""Those without which a day fails."""


def setup(run: Computed) -> Iterator[Finding]:
    """Every setup check is within its limit, or was repeated before anything was read; each day has them all."""
    for result in run.setup:
        if result.state == "fail":
            yield _failing(result, run)
    limits = run.run.method.setup
    direct = any(calibration.direct for calibration in run.calibrations)
    for day in run.days.asked:
        for kind in ("warm-up",) if direct else ASKED:
            if getattr(limits, SETUP_CHECKS[kind].limit, None) is not None:
                yield from _of_day(kind, day, run)


def _failing(result: SetupResult, run: Computed) -> Finding:
    """The finding on a check that fails; one that was repeated at once only warns."""
    low, high = (result.limit, None) if result.setup.check == "warm-up" else (None, result.limit)
    at, following = setup_time(result.setup), _next(result, run)
    again = following is not None and at is not None and not any(at < read < following for read in run.times)
    curves = _calibrated(at, following, run)
    return Finding(
        "setup", (result.setup.check,), result.value, low, high, "warn" if again else "fail",
        f"{result.why}; repeated" if again else result.why, result.unit,
        run.reach.between(at, following, curves), read_at=at,
    )  # fmt: skip


def _next(result: SetupResult, run: Computed) -> datetime | None:
    """When the next check of its kind was read, None where none was."""
    at = setup_time(result.setup)
    times = (setup_time(other.setup) for other in run.setup if other.setup.check == result.setup.check and _read(other))
    return min((time for time in times if time is not None and at is not None and time > at), default=None)


def _read(result: SetupResult) -> bool:
    return bool(result.setup.readings) if result.setup.check != "warm-up" else result.setup.started is not None


def _calibrated(start: datetime | None, end: datetime | None, run: Computed) -> list[str]:
    """The calibrations with a standard read from one time to before another."""
    return [
        result.id
        for result in run.calibrations
        if any(_within(standard.standard.at, start, end) for standard in result.standards if standard.standard.readings)
    ]


def _within(at: datetime | None, start: datetime | None, end: datetime | None) -> bool:
    """Whether a standard was read in a time; one without a time comes before everything."""
    return (start is None or (at is not None and at >= start)) and (end is None or at is None or at < end)


def _of_day(kind: str, day: int, run: Computed) -> Iterator[Finding]:
    made = [other.setup for other in run.setup if other.setup.check == kind and _read(other)]
    times = [setup_time(setup) for setup in made if run.days.of_setup(setup) == day]
    which = f" on day {day + 1}" if len(run.days.asked) > 1 else ""
    if not times:
        state: Verdict = "fail" if kind in NEEDED else "warn"
        yield Finding("setup", (kind,), state=state, why=f"no {kind}{which}", affects=run.reach.day(day))
        return
    first, start = min((time for time in times if time is not None), default=None), run.days.start(day)
    if first is not None and start is not None and None not in times and first > start:
        made_at, read_at = told_apart(first, start)
        why = f"the first {kind}{which} was at {made_at}, after the first reading at {read_at}"
        yield Finding("setup", (kind,), state="warn", why=why, affects=run.reach.day(day), read_at=first)
