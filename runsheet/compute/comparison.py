"""Recoveries and relative differences of the QC rows.

Owns: the found mass, what a QC row is compared with, and its recovery or RPD. Invariant: a difference is taken on
concentrations, a recovery on mass, so unequal bottles do not look like bad work (EPA 1664B).
"""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from runsheet.compute.compare import finite

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import RowResult

CONTROLS = ("control", "control-duplicate")
SPIKES = ("spike", "spike-duplicate")
ADDED = (*CONTROLS, *SPIKES, "capability", "detection-spike")


class Partners:
    """Finds the row a QC row is compared with."""

    def __init__(self, rows: tuple[RowResult, ...]) -> None:
        """Index the reported samples and keep the order of the others."""
        self._rows = rows
        self._places = {id(row): place for place, row in enumerate(rows)}
        self.reported = {
            (row.sample, row.fraction): row for row in rows if row.row.kind == "sample" and row.counted and row.reports
        }
        """The reported row of each sample and fraction."""

    def fractions(self) -> Iterator[tuple[str, RowResult, RowResult]]:
        """Give each sample reported in both fractions on one basis: its oil and grease, its petroleum hydrocarbons."""
        for (sample, fraction), part in self.reported.items():
            whole = self.reported.get((sample, "oil_grease"))
            if fraction != "petroleum" or whole is None or whole.result is None or part.result is None:
                continue
            if whole.amounts is not None and part.amounts is not None and whole.amounts.basis == part.amounts.basis:
                yield sample, whole, part

    def parent(self, row: RowResult) -> RowResult | None:
        """Give the reported row of the sample a duplicate or spike belongs to, same fraction and same basis."""
        found = self.reported.get((row.row.of or "", row.fraction))
        if found is None or found.amounts is None or row.amounts is None or found.amounts.basis != row.amounts.basis:
            return None
        return found

    def first_of_pair(self, row: RowResult) -> RowResult | None:
        """Give the nearest earlier control of batch and fraction, or the spike of the sample, an earlier one first."""
        wanted = "control" if row.kind == "control-duplicate" else "spike"
        here = self._places[id(row)]
        later = range(here + 1, len(self._rows) if wanted == "spike" else here)
        for place in itertools.chain(range(here - 1, -1, -1), later):
            other = self._rows[place]
            if other.kind != wanted or not other.counted or other.fraction != row.fraction:
                continue
            if other.row.of == row.row.of if wanted == "spike" else other.batch == row.batch:
                return other
        return None


def compute(rows: tuple[RowResult, ...], partners: Partners) -> None:
    """Give every QC row its recovery and its RPD."""
    for row in rows:
        if not row.counted or row.kind in ("sample", "blank", "method-blank"):
            continue
        if row.kind in ("check", "second-source"):
            row.recovery_percent = _of_expected(row)
        elif row.kind in ADDED:
            row.recovery_percent = _of_added(row, partners)
        if row.kind == "duplicate":
            row.rpd_percent = rpd(row, partners.parent(row))
        elif row.kind in ("control-duplicate", "spike-duplicate"):
            row.rpd_percent = rpd(row, partners.first_of_pair(row))


def _of_expected(row: RowResult) -> float | None:
    if row.extract is None or row.row.expected is None:
        return None
    return finite(row.extract / float(row.row.expected) * 100)


def _of_added(row: RowResult, partners: Partners) -> float | None:
    """Recovery % = (result - parent's result) as mass found / added mass x 100, over the response factor if any."""
    if row.result is None or row.amounts is None or row.amounts.mass_factor is None or row.row.added_mg is None:
        return None
    background = 0.0
    if row.kind in SPIKES:
        parent = partners.parent(row)
        if parent is None or parent.result is None:
            return None
        background = parent.result
    response = 1.0 if row.row.response_factor is None else float(row.row.response_factor)
    found = (row.result - background) * row.amounts.mass_factor
    return finite(found / float(row.row.added_mg) * 100 / response)


def rpd(row: RowResult, other: RowResult | None) -> float | None:
    """RPD % = difference / mean x 100, on concentrations; None where the mean is not above 0 or the units differ."""
    if other is None or row.result is None or other.result is None or row.unit != other.unit:
        return None
    mean = (row.result + other.result) / 2
    return finite(abs(row.result - other.result) / mean * 100) if mean > 0 else None
