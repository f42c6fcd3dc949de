"""The initial demonstration of capability: one analyst, four control samples.

Owns: its figures, its verdict and the published criteria. Invariant: no verdict on fewer than four results, and a
figure on its limit is within it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet.compute.compare import at_most, finite, inside
from runsheet.compute.statistics.control_charts import mean_and_s
from runsheet.figures import beside, counted, figure

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

RESULTS = 4
"""Results a demonstration needs (EPA 1664B, SW-846 8000D)."""


@dataclass(frozen=True, slots=True)
class Criteria:
    """What a demonstration is judged by."""

    mean_low: float
    mean_high: float
    """Mean recovery, %."""
    s: float | None
    """Standard deviation of the recoveries, at most, in % of what was added; None where it does not apply."""
    rsd: float | None
    """The same in % of the mean, at most."""
    source: str


OIL_GREASE_1664B = Criteria(83, 101, 11, None, "EPA 1664B Table 1, HEM: gravimetric, so by analogy")
PETROLEUM_1664B = Criteria(83, 116, 28, None, "EPA 1664B Table 1, SGT-HEM: gravimetric, so by analogy")
INTERIM_8000D = Criteria(70, 130, None, 20, "SW-846 8000D, interim recovery; RSD from memory")
"""For a method that chooses none."""


@dataclass(frozen=True, slots=True)
class Demonstration:
    """A demonstration, with its figures also where something is missing."""

    criteria: Criteria
    n: int
    mean: float | None
    """Mean recovery, %."""
    s: float | None
    """Standard deviation of the recoveries, %."""
    missing: tuple[str, ...]
    failures: tuple[str, ...]

    @property
    def passes(self) -> bool | None:
        """Whether the analyst has shown capability; None while something is missing."""
        return None if self.missing else not self.failures


def judge(recoveries: Iterable[float | None], criteria: Criteria = INTERIM_8000D) -> Demonstration:
    """Judge an analyst's recoveries, %, all of them: the caller chooses the rows. None is a row without a result."""
    rows = list(recoveries)
    numbers = [number for one in rows if (number := finite(one)) is not None]
    mean, s = mean_and_s(numbers) if len(numbers) > 1 else (numbers[0] if numbers else None, None)
    missing = []
    if len(numbers) < RESULTS:
        missing.append(f"{len(numbers)} of {RESULTS} results: {RESULTS - len(numbers)} more")
    if len(numbers) < len(rows):
        without = f"{len(rows) - len(numbers)} of {counted(len(rows), 'row')} without a recovery"
        missing.append(f"{without}: no result, or added_mg is not given")
    failures = () if missing or mean is None or s is None else tuple(_failures(mean, s, criteria))
    return Demonstration(criteria, len(numbers), mean, s, tuple(missing), failures)


def _failures(mean: float, s: float, criteria: Criteria) -> Iterator[str]:
    low, high = criteria.mean_low, criteria.mean_high
    if not inside(mean, low, high):
        yield f"the mean recovery is {beside(mean, (low, high))} %, limits {low:g}-{high:g} %"
    if criteria.s is not None and not at_most(s, criteria.s):
        yield f"s is {beside(s, (criteria.s,), 3)} %, at most {criteria.s:g} %"
    if criteria.rsd is not None and not at_most(100 * s, criteria.rsd * mean):  # a mean of 0 has no RSD to divide by
        off = beside(s, (criteria.rsd * mean / 100,), 3)
        yield f"s is {off} % at a mean of {figure(mean)} %, at most {criteria.rsd:g} % of it"
