"""The detection study: a method detection limit (MDL) from spikes and method blanks.

Owns: the limit, what the study lacks, and its annual verification: 40 CFR 136 Appendix B, revision 2 (2017); the
definition was read, the details are from memory. The two limits it is the larger of are in `detection_limits`.
Invariant: no input raises, and a study that lacks something still gives its figures but is not complete.

One study is one fraction on one instrument, cell and solvent, in one unit. Days are those the bench's clock showed when
a row was read; the days of preparation, which the procedure counts too, and the batches that were rejected are not
known here: the caller hands over what stands.

A limit in use counts for a verification only where the method says when it was studied. Held and superseded results
are left out and named. The 3 % of blanks are of all blanks used. Several instruments are not pooled.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING

from runsheet.compute.compare import below, finite, inside
from runsheet.compute.statistics.detection_limits import (
    MONTHS,
    Measured,
    Part,
    day_of,
    from_blanks,
    from_spikes,
    months_on,
    positive,
)
from runsheet.figures import beside

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

RECHECK_MONTHS = 13
"""A limit is verified again within so many months."""


@dataclass(frozen=True, slots=True)
class Verification:
    """The annual verification of the limit in use."""

    existing: float
    verified: float | None
    """The larger of MDL_S and MDL_b of the collected data."""
    ratio: float | None
    """Verified over existing."""
    blanks: int
    above: int
    """Method blanks with a number above the existing limit."""
    may_keep: bool | None
    """Whether the existing limit may be left unchanged; None while the study is not complete."""
    words: str


@dataclass(frozen=True, slots=True)
class Study:
    """A detection study, with its figures also where something is missing."""

    spikes: Part
    blanks: Part
    level: float | None
    """The spiking level of the spikes used: that of the latest."""
    mdl: float | None
    """The larger of MDL_S and MDL_b, where it is above 0."""
    missing: tuple[str, ...]
    advice: tuple[str, ...]
    """What the procedure recommends and the study does not have; nothing here makes it incomplete."""
    verification: Verification | None
    """None without a limit in use."""
    due: date | None
    """The last day for the next verification; None without the day of the study in use."""
    overdue: bool

    @property
    def complete(self) -> bool:
        """Whether the limit stands on all the procedure asks for."""
        return not self.missing

    @property
    def mdl_s(self) -> float | None:
        """The limit from the spikes."""
        return self.spikes.limit

    @property
    def mdl_b(self) -> float | None:
        """The limit from the method blanks."""
        return self.blanks.limit


@dataclass(frozen=True, slots=True)
class Options:
    """What the procedure leaves to the laboratory; without them, all data are used by the main rule."""

    recent_blanks: bool = False
    """In a verification, only the blanks of the last six months or the fifty latest, whichever are more."""
    percentile: bool = False
    """With 100 blanks or more that all gave a number, their 99th percentile instead of mean + t s: the procedure
    offers it as an option, and mean + t s does not hang on the two highest of them."""


DEFAULT = Options()


def study(
    spikes: Iterable[Measured],
    blanks: Iterable[Measured],
    now: datetime,
    existing: float | None = None,
    studied: date | None = None,
    options: Options = DEFAULT,
) -> Study:
    """Make the study of a set of spikes and method blanks, as of `now`.

    `existing` is the limit in use, in the same unit: with it this is its annual verification, without it an initial
    study. `studied` is the day of the study in use. Never raises.
    """
    existing = positive(existing)
    level, of_spikes = from_spikes(spikes, now, initial=existing is None)
    of_blanks = from_blanks(
        blanks, now, recent=options.recent_blanks and existing is not None, percentile=options.percentile
    )
    limits = [part.limit for part in (of_spikes, of_blanks) if part.limit is not None]
    mdl = max(limits) if limits and max(limits) > 0 else None
    missing = (*of_spikes.missing, *of_blanks.missing)
    if mdl is None and not missing:
        missing = ("a limit above 0: the results are rounded too coarsely to scatter",)
    due = months_on(studied, RECHECK_MONTHS) if studied is not None else None
    return Study(
        of_spikes,
        of_blanks,
        level,
        mdl,
        missing,
        tuple(_advice(of_spikes, of_blanks, level, existing or mdl, None if existing is None else now)),
        _verification(existing, mdl, of_blanks, complete=not missing) if existing is not None else None,
        due,
        due is not None and day_of(now) > due,
    )


def _advice(
    spikes: Part, blanks: Part, level: float | None, estimate: float | None, verified_at: datetime | None
) -> Iterable[str]:
    if level is not None and estimate is not None and not inside(times := level / estimate, 2, 10):
        yield f"spiked to {beside(times, (2, 10), 3)} times the limit: 2 to 10 times is typical"
    if spikes.n > 1 and spikes.s == 0:
        yield "the spikes' results are all equal: rounded too coarsely for a study"
    if verified_at is not None:
        yield from _quarters(spikes.used, blanks.used, verified_at)


def _quarters(spikes: Sequence[Measured], blanks: Sequence[Measured], now: datetime) -> Iterable[str]:
    """Each quarter in which samples were analysed has two spikes in separate batches; its blanks tell that they were.

    The quarter that is not over and the one the 24 months begin in are not judged.
    """
    first, current = _quarter(months_on(day_of(now), -MONTHS)), _quarter(day_of(now))
    for quarter in sorted({_quarter(day_of(blank.at)) for blank in blanks} - {first, current}):
        batches = {(one.run, one.batch) for one in spikes if _quarter(day_of(one.at)) == quarter}
        if len(batches) < 2:
            yield f"spikes in {len(batches)} of 2 batches in quarter {quarter[1]} of {quarter[0]}"


def _verification(existing: float, verified: float | None, blanks: Part, *, complete: bool) -> Verification:
    """The existing limit may stay when the verified one is 0.5 to 2.0 times it and fewer than 3 % of blanks exceed it.

    The 3 % are of all method blanks: one without a number is not above the limit.
    """
    count = len(blanks.used)
    above = sum(one.number is not None and below(existing, one.number) for one in blanks.used)
    ratio = None if verified is None else finite(verified / existing)
    few = 100 * above < 3 * count
    shares = f"{above} of {count} method blanks above it, fewer than 3 % allowed"
    if ratio is None or not complete:
        return Verification(existing, verified, ratio, count, above, None, f"not complete; {shares}")
    near = inside(ratio, 0.5, 2.0)
    words = f"{beside(ratio, (0.5, 2.0))} times the existing limit, 0.5 to 2.0 allowed; {shares}"
    verdict = "it may be kept" if near and few else "it may not be kept: the new one replaces it"
    return Verification(existing, verified, ratio, count, above, near and few, f"{verdict}; {words}")


def _quarter(day: date) -> tuple[int, int]:
    return day.year, (day.month + 2) // 3
