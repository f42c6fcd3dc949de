"""The two limits of a detection study: MDL_S from its spikes, MDL_b from its method blanks.

Owns: which results count, and how each limit is taken from them (40 CFR 136 Appendix B, revision 2, sections 2 and 4;
the definition was read, the details are from memory). Invariant: nothing is left out without a word why, and no result
is left out for being far off.
"""

from __future__ import annotations

import calendar
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, Literal

from runsheet.compute.compare import at_most, finite
from runsheet.compute.statistics.control_charts import mean_and_s
from runsheet.compute.statistics.student_t import one_sided
from runsheet.figures import against

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

RESULTS = 7
"""Spikes, and method blanks, a study needs."""
SPREAD = 3
"""Batches they are of, and calendar days they were read on, at least."""
MONTHS = 24
"""Data older than so many months are left out."""
SAME_LEVEL = 0.02
"""How far apart, of the larger, two spiking levels are one level (bottles are seldom equal; no source)."""
RANKED_FROM = 100
"""Method blanks from which their 99th percentile may be taken by rank."""

Way = Literal["t s", "none", "highest", "rank", "mean + t s"]


@dataclass(frozen=True, slots=True)
class Measured:
    """One spike or method blank of the study."""

    value: float | None
    """Result, in the study's unit; None where there is no numerical one. It may be negative."""
    at: datetime
    batch: str
    run: str
    row: str
    spiked: float | None = None
    """Concentration a spike was made to, in the same unit."""

    @property
    def number(self) -> float | None:
        """The numerical result, if there is one."""
        return finite(self.value)

    @property
    def level(self) -> float | None:
        """The spiked concentration, if it is known."""
        return positive(self.spiked)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A result the study does not use."""

    measured: Measured
    why: str


@dataclass(frozen=True, slots=True)
class Part:
    """What the spikes, or the method blanks, say."""

    used: tuple[Measured, ...]
    """In order of time."""
    left_out: tuple[LeftOut, ...]
    missing: tuple[str, ...]
    n: int
    """Results with a number; t and s are theirs."""
    mean: float | None
    s: float | None
    t: float | None
    limit: float | None
    """MDL_S or MDL_b; None where it does not apply or cannot be computed yet."""
    way: Way
    words: str
    """How the limit was taken, or why there is none."""


def from_spikes(spikes: Iterable[Measured], now: datetime, *, initial: bool) -> tuple[float | None, Part]:
    """The latest spiking level, and MDL_S = t(n - 1, 0.99) s of the spikes at it.

    An `initial` study wants every result above 0, a later one 95 % of them.
    """
    recent, left_out = _recent(spikes, now)
    level = next((spike.level for spike in reversed(recent) if spike.level is not None), None)
    left_out += [LeftOut(spike, why) for spike in recent if (why := _other_level(spike.level, level))]
    used = [spike for spike in recent if not _other_level(spike.level, level)]
    numbers = _numbers(used)
    mean, s, t = _figures(numbers)
    limit = None if s is None or t is None else finite(t * s)
    missing = [*_counted("spike", used, len(numbers)), *_not_positive(used, initial=initial)]
    if limit is None and not missing:
        missing.append("figures that can be computed with: the spikes' are out of all range")
    words = f"t {t:.3f} x s" if t else "s needs two results"
    return level, Part(tuple(used), tuple(left_out), tuple(missing), len(numbers), mean, s, t, limit, "t s", words)


def from_blanks(blanks: Iterable[Measured], now: datetime, *, recent: bool, percentile: bool) -> Part:
    """MDL_b, the way of it chosen by how many of the method blanks gave a number.

    `recent` takes only those of the last six months or the fifty latest, whichever are more.
    """
    used, left_out = _recent(blanks, now)
    if recent:
        half_year = sum(day_of(blank.at) >= months_on(day_of(now), -6) for blank in used)
        older = max(0, len(used) - max(half_year, 50))
        why = "not of the last six months nor of the fifty latest"
        left_out += [LeftOut(blank, why) for blank in used[:older]]
        used = used[older:]
    numbers = _numbers(used)
    mean, s, t = _figures(numbers)
    missing = _counted("method blank", used, len(used))
    way, limit, words = _of_blanks(len(used), numbers, percentile=percentile)
    if limit is None and way != "none" and not missing:
        missing = ["figures that can be computed with: the method blanks' are out of all range"]
    return Part(tuple(used), tuple(left_out), tuple(missing), len(numbers), mean, s, t, limit, way, words)


def _of_blanks(count: int, numbers: Sequence[float], *, percentile: bool) -> tuple[Way, float | None, str]:
    """MDL_b of `count` blanks, of which `numbers` are the numerical results in rising order."""
    if not count:
        return "none", None, "no method blank counts"
    if not numbers:
        return "none", None, "no method blank gave a numerical result: MDL_b does not apply"
    every = len(numbers) == count
    if count >= RANKED_FROM and (percentile or not every):
        rank = rank_of_99th(count)
        # Blanks without a number rank lowest. Where the rank falls on one, the next number is no less than it.
        value = numbers[max(0, rank - 1 - (count - len(numbers)))]
        return "rank", value, f"the 99th percentile: rank {rank} of {count}"
    if not every:
        return "highest", numbers[-1], f"the highest: {len(numbers)} of {count} gave a numerical result"
    mean, s, t = _figures(numbers)
    if mean is None or s is None or t is None:
        return "mean + t s", None, "s needs two results"
    taken = "0 (the mean is negative)" if mean < 0 else "mean"
    return "mean + t s", finite(max(mean, 0.0) + t * s), f"{taken} + t {t:.3f} x s"


def rank_of_99th(count: int) -> int:
    """The rank, from 1, that is the 99th percentile: count x 0.99 to the nearest whole number, half up.

    Whole numbers, since neither 0.99 nor Python's rounding is exact about a half. The procedure also asks for "no less
    than the 99th percentile", but rounds down itself: 164 x 0.99 = 162.36 is the 162nd.
    """
    return (99 * count + 50) // 100


def _recent(measured: Iterable[Measured], now: datetime) -> tuple[list[Measured], list[LeftOut]]:
    """Part the results of the last 24 months, in order of time, from the others."""
    oldest, today = months_on(day_of(now), -MONTHS), day_of(now)
    used, left_out = [], []
    for one in sorted(measured, key=lambda one: one.at.replace(tzinfo=None)):
        if day_of(one.at) < oldest:
            left_out.append(LeftOut(one, f"older than {MONTHS} months"))
        elif day_of(one.at) > today:
            left_out.append(LeftOut(one, f"later than {today}, the day of the study"))
        else:
            used.append(one)
    return used, left_out


def _other_level(spiked: float | None, level: float | None) -> str:
    """Say why a spike is not of the study's level; "" where it is."""
    if spiked is None or level is None:
        return "its spiked concentration is not known"
    if at_most(abs(spiked - level), SAME_LEVEL * max(spiked, level)):
        return ""
    one, latest = against(spiked, level, ".4g", ".4g")
    return f"spiked to {one}, the latest to {latest}: one level counts"


def positive(value: float | None) -> float | None:
    """A figure above 0, None for any other."""
    number = finite(value)
    return number if number is not None and number > 0 else None


def _numbers(measured: Iterable[Measured]) -> list[float]:
    return sorted(one.number for one in measured if one.number is not None)


def _figures(numbers: Sequence[float]) -> tuple[float | None, float | None, float | None]:
    """Mean, s and t(n - 1, 0.99 one-sided); s and t need two results."""
    if len(numbers) < 2:
        return (numbers[0] if numbers else None), None, None
    mean, s = mean_and_s(numbers)
    return mean, finite(s), one_sided(0.99, len(numbers) - 1)


def _counted(what: str, used: Sequence[Measured], had: int) -> list[str]:
    """Say what is missing in number, batches and days; a batch is one of its run."""
    batches = len({(one.run, one.batch) for one in used})
    days = len({day_of(one.at) for one in used})
    words = [f"{had} of {RESULTS} {what}s: {RESULTS - had} more"] if had < RESULTS else []
    if batches < SPREAD:
        words.append(f"{what}s in {batches} of {SPREAD} batches")
    if days < SPREAD:
        words.append(f"{what}s on {days} of {SPREAD} calendar days")
    return words


def _not_positive(used: Sequence[Measured], *, initial: bool) -> list[str]:
    """Every spike of an initial study gives a number above 0; of those collected later at least 95 %."""
    bad = [one for one in used if one.number is None or one.number <= 0]
    if initial and bad:
        rows = ", ".join(f"{one.run} {one.row}" for one in bad)
        return [f"a spike's result is not above 0 ({rows}): repeat the spikes at a higher level"]
    if 100 * len(bad) > 5 * len(used):
        what = f"{len(bad)} of {len(used)} spikes, more than 5 %, gave no result above 0"
        return [f"{what}: raise the spiking level and make an initial study"]
    return []


def day_of(at: date | datetime) -> date:
    """The calendar day, as the clock showed it."""
    return at.date() if isinstance(at, datetime) else at


def months_on(day: date, months: int) -> date:
    """The same day so many calendar months later, or the last day of a month that is too short for it."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if not date.min.year <= year <= date.max.year:
        return date.min if months < 0 else date.max
    return date(year, month + 1, min(day.day, calendar.monthrange(year, month + 1)[1]))
