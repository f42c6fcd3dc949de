"""What QC rows are compared with, their recoveries and relative differences.

Owns: the found mass, the row a QC row is compared with, and its recovery or RPD. Invariant: a difference is taken on
concentrations, a recovery on mass, so unequal bottles do not look like bad work (EPA 1664B).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.compute.compare import finite
from runsheet.run.kinds import ADDED, CHECK_STANDARDS, PAIRS, SPIKES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult


class Reported:
    """The reported results of each sample and fraction, in the order of analysis."""

    def __init__(self, rows: tuple[RowResult, ...]) -> None:
        """Index the reported rows of samples and of blanks that made their journey."""
        self._rows: dict[tuple[str, str], list[RowResult]] = {}
        for row in rows:
            if row.for_client:
                self._rows.setdefault((row.sample, row.fraction), []).append(row)

    def of(self, sample: str, fraction: str) -> list[RowResult]:
        """Every reported row of a sample and fraction."""
        return self._rows.get((sample, fraction), [])

    def last(self, sample: str, fraction: str) -> RowResult | None:
        """The last reported row of a sample and fraction."""
        return next(reversed(self.of(sample, fraction)), None)

    def several(self) -> Iterator[list[RowResult]]:
        """The rows of each sample and fraction of which more than one is reported."""
        return (rows for rows in self._rows.values() if len(rows) > 1)

    def parent(self, row: RowResult) -> RowResult | None:
        """What a spike or duplicate belongs to: the last reported row of its sample and fraction.

        A spike's is on the same basis, since its recovery takes one from the other.
        """
        rows = reversed(self.of(row.row.of or "", row.fraction))
        if row.kind not in SPIKES:
            return next(rows, None)
        return next((other for other in rows if same_basis(row, other)), None)

    def both_fractions(self) -> Iterator[tuple[str, RowResult, RowResult]]:
        """Each sample reported in both fractions on one basis: its oil and grease, its petroleum hydrocarbons."""
        for (sample, fraction), rows in self._rows.items():
            whole = self.last(sample, "oil_grease")
            part = rows[-1]
            if fraction != "petroleum" or whole is None or whole.result is None or part.result is None:
                continue
            if same_basis(whole, part):
                yield sample, whole, part


def same_basis(row: RowResult, other: RowResult) -> bool:
    """Whether two results are in one unit and both on dry weight or both as received."""
    return row.amounts is not None and other.amounts is not None and row.amounts.basis == other.amounts.basis


def compute(rows: tuple[RowResult, ...], reported: Reported) -> None:
    """Set what each QC row is compared with, its recovery and its RPD, in place; void rows as if they were not."""
    earlier: dict[tuple[str | None, ...], RowResult] = {}
    for row in rows:
        each = row.as_if or row
        if not each.counted:
            continue
        if each.kind in CHECK_STANDARDS:
            each.recovery_percent = _of_expected(each)
            continue
        if each.kind in SPIKES or each.kind == "duplicate":
            each.compared_with = reported.parent(each)
        if each.kind in ADDED:
            each.recovery_percent = _of_added(each)
        if each.kind == "duplicate":
            each.rpd_percent = rpd(each, each.compared_with)
        elif each.kind in FIRST_OF_PAIR:
            each.pair_with = next(filter(None, map(earlier.get, _pair_keys(each, FIRST_OF_PAIR[each.kind]))), None)
            each.rpd_percent = rpd(each, each.pair_with)
        if not row.void and each.kind in FIRST_OF_PAIR.values():
            earlier.update(dict.fromkeys(_pair_keys(each, each.kind), each))


FIRST_OF_PAIR = {second: first for first, second in PAIRS.items()}


def _pair_keys(row: RowResult, kind: str) -> tuple[tuple[str | None, ...], ...]:
    """What the first of a pair is found by: a control's batch, a spike's sample, of the same batch before another."""
    if kind == "control":
        return ((kind, row.fraction, row.batch),)
    return (kind, row.fraction, row.row.of, row.batch), (kind, row.fraction, row.row.of)


def _of_expected(row: RowResult) -> float | None:
    if row.extract is None or row.row.expected is None:
        return None
    return finite(row.extract / float(row.row.expected) * 100)


def _of_added(row: RowResult) -> float | None:
    """Recovery % = (result - parent's result) as mass found / added mass x 100, over the response factor if any.

    A parent's result below zero counts as 0: noise about nothing is no reason for a higher recovery.
    """
    if row.result is None or row.amounts is None or row.amounts.mass_factor is None or row.row.added_mg is None:
        return None
    background = 0.0
    if row.kind in SPIKES:
        if row.compared_with is None or row.compared_with.result is None:
            return None
        background = max(0.0, row.compared_with.result)
    response = 1.0 if row.row.response_factor is None else float(row.row.response_factor)
    found = (row.result - background) * row.amounts.mass_factor
    return finite(found / float(row.row.added_mg) * 100 / response)


def rpd(row: RowResult, other: RowResult | None) -> float | None:
    """RPD % = difference / mean x 100, on concentrations; None where the mean is not above 0 or the units differ."""
    if other is None or row.result is None or other.result is None or row.unit != other.unit:
        return None
    mean = (row.result + other.result) / 2
    return finite(abs(row.result - other.result) / mean * 100) if mean > 0 else None
