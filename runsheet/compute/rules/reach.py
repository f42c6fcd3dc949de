"""Which of the client's results a finding bears on.

Owns: the ways a finding reaches a result: by row, sample, batch, calibration, day, bracket, time. Invariant: what is
reached is always a reported row of a sample or of a blank that made the samples' journey, in the order of analysis.

A name in a finding is a row's where its rule names rows, and a sample's where its rule names samples (batch, receipt,
the warnings of holding), although both may be spelt alike.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any

from runsheet.run.kinds import EVENTS, OF_BATCH, WITH_PARENT

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from runsheet.compute.days import Days
    from runsheet.compute.results import RowResult

Ids = tuple[str, ...]
Index = dict[Any, list["RowResult"]]


class Reach:
    """The client's results of a run, found by what bears on them."""

    def __init__(self, rows: tuple[RowResult, ...], days: Days, made_good: frozenset[str]) -> None:
        """Index the reported results once; `made_good` are superseded controls after which a later one passes."""
        self._rows, self._made_good = rows, made_good
        self._by_id = {row.id: row for row in rows}
        self._clients = [row for row in rows if row.for_client]
        self._sample: Index = defaultdict(list)
        self._group: Index = defaultdict(list)
        self._curve: Index = defaultdict(list)
        self._all: Ids | None = None
        self._on_curve: dict[str | None, Ids] = {}
        self._day: Index = defaultdict(list)
        self._before: Index = defaultdict(list)
        self._after: Index = defaultdict(list)
        for row in self._clients:
            self._sample[row.sample].append(row)
            self._sample[row.sample, row.fraction].append(row)
            self._group[row.batch, row.fraction].append(row)
            self._day[days.of(row)].append(row)
            if row.calibration is not None:
                self._curve[row.calibration.id].append(row)
            for event in row.after.values():
                self._before[event.id].append(row)
            for event in row.before.values():
                self._after[event.id].append(row)

    def all(self) -> Ids:
        """All of them."""
        if self._all is None:
            self._all = _ids(self._clients)
        return self._all

    def named(self, names: Iterable[str]) -> Ids:
        """Those named, the parents of duplicates and spikes named, and all on the calibration of a second source."""
        found: list[RowResult] = []
        curves: set[str] = set()
        for row in filter(None, map(self._by_id.get, names)):
            made = row.as_if or row
            if row.for_client:
                found.append(row)
            elif made.kind in WITH_PARENT:
                found += self._sample[made.row.of or "", made.fraction]
            elif made.kind == "second-source" and made.calibration is not None:
                curves.add(made.calibration.id)
        if len(curves) == 1 and not found:
            return self.calibration(*curves)
        return _ids([*found, *(row for curve in curves for row in self._curve[curve])])

    def samples(self, names: Iterable[str]) -> Ids:
        """Those of some samples."""
        return _ids(row for name in names for row in self._sample[name])

    def groups(self, *wanted: tuple[str | None, str]) -> Ids:
        """Those of some batches and fractions."""
        return _ids(row for group in wanted for row in self._group[group])

    def calibration(self, name: str | None) -> Ids:
        """Those on a calibration."""
        if name not in self._on_curve:
            self._on_curve[name] = _ids(self._curve[name])
        return self._on_curve[name]

    def with_flag(self, flag: str, row: RowResult) -> Ids:
        """Those of a row's batch, fraction and unit that carry a flag."""
        others = self._group[row.batch, row.fraction]
        return _ids(other for other in others if flag in other.flags and other.unit == row.unit)

    def day(self, day: int) -> Ids:
        """Those of a day."""
        return _ids(self._day[day])

    def between(self, start: datetime | None, end: datetime | None, curves: Iterable[str]) -> Ids:
        """Those read from one time to before another, and those on some calibrations.

        A row without a time comes after everything.
        """

        def within(at: datetime | None) -> bool:
            return (start is None or at is None or at >= start) and (end is None or (at is not None and at < end))

        read = [row for row in self._clients if within(row.row.at)]
        return _ids([*read, *(row for name in curves for row in self._curve[name])])

    def beside(self, event: RowResult, *, before: bool = True, after: bool = True) -> Ids:
        """Those that have a blank or check as their nearest event after them (they are before it), or before them."""
        sides = self._as_if_read(event) if event.void else (self._before[event.id], self._after[event.id])
        return _ids([*(sides[0] if before else ()), *(sides[1] if after else ())])

    def _as_if_read(self, event: RowResult) -> tuple[list[RowResult], list[RowResult]]:
        """The client's rows before and after a void event that would have had it as nearest, had it counted."""
        curve = event.as_if.calibration if event.as_if else None
        sides = []
        for way in (self._rows[: event.place][::-1], self._rows[event.place + 1 :]):
            near = []
            for row in way:
                if row.calibration is not curve:
                    continue
                if row.kind == event.kind and row.counted:
                    break
                near.append(row)
            sides.append([row for row in near if row.for_client])
        return sides[0], sides[1]

    def of_row(self, row: RowResult) -> Ids:
        """What something wrong with one row bears on, by its kind: its bracket, its curve, its batch, itself."""
        made = row.as_if or row
        if made.kind in EVENTS:
            return self.beside(row)
        if made.kind == "second-source":
            return self.calibration(made.calibration.id if made.calibration else None)
        if made.kind in OF_BATCH:
            return () if row.id in self._made_good else self.groups((made.batch, made.fraction))
        return self.named((row.id,))

    def of_rows(self, rows: Iterable[RowResult]) -> Ids:
        """What something wrong with several rows bears on."""
        return _ids(self._by_id[name] for row in rows for name in self.of_row(row))


def _ids(rows: Iterable[RowResult]) -> Ids:
    """The ids of rows, each once, in the order of analysis."""
    return tuple({row.place: row.id for row in sorted(rows, key=_place)}.values())


def _place(row: RowResult) -> int:
    return row.place
