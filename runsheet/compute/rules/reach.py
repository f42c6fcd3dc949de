"""Which of the client's results a finding bears on.

Owns: the ways a finding reaches a result: by row, sample, batch, calibration, day, bracket, time. Invariant: what is
reached is always a reported row of a sample or of a blank that made the samples' journey, in the order of analysis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.run.kinds import OF_BATCH, WITH_PARENT

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from runsheet.compute.days import Days
    from runsheet.compute.results import RowResult

Ids = tuple[str, ...]


class Reach:
    """The client's results of a run, found by what bears on them."""

    def __init__(self, rows: tuple[RowResult, ...], days: Days, made_good: frozenset[str]) -> None:
        """Index the reported results once; `made_good` are superseded controls after which a later one passes."""
        self._rows, self._days, self._made_good = rows, days, made_good
        self._clients = [row for row in rows if row.for_client]
        self._by_id = {row.id: row for row in rows}
        self._beside: dict[str, tuple[list[RowResult], list[RowResult]]] = {}
        for row in self._clients:
            for event in row.after.values():
                self._beside.setdefault(event.id, ([], []))[0].append(row)
            for event in row.before.values():
                self._beside.setdefault(event.id, ([], []))[1].append(row)

    def _where(self, test: Callable[[RowResult], bool]) -> Ids:
        return tuple(row.id for row in self._clients if test(row))

    def all(self) -> Ids:
        """All of them."""
        return tuple(row.id for row in self._clients)

    def named(self, names: Iterable[str]) -> Ids:
        """Those named, the parents of duplicates and spikes named, and all on the calibration of a second source."""
        wanted = set(names)
        rows = [self._by_id[name] for name in wanted if name in self._by_id]
        rows = [row.as_if or row for row in rows]
        parents = {(row.row.of, row.fraction) for row in rows if row.kind in WITH_PARENT}
        curves = {row.calibration.id for row in rows if row.kind == "second-source" and row.calibration}
        return self._where(
            lambda row: (
                row.id in wanted
                or (row.sample, row.fraction) in parents
                or (row.calibration is not None and row.calibration.id in curves)
            )
        )

    def samples(self, names: Iterable[str]) -> Ids:
        """Those of some samples."""
        wanted = set(names)
        return self._where(lambda row: row.sample in wanted)

    def groups(self, *wanted: tuple[str | None, str]) -> Ids:
        """Those of some batches and fractions."""
        return self._where(lambda row: (row.batch, row.fraction) in wanted)

    def calibration(self, name: str | None) -> Ids:
        """Those on a calibration."""
        return self._where(lambda row: row.calibration is not None and row.calibration.id == name)

    def with_flag(self, flag: str, row: RowResult) -> Ids:
        """Those of a row's batch, fraction and unit that carry a flag."""
        wanted = (row.batch, row.fraction, row.unit)
        return self._where(lambda other: flag in other.flags and (other.batch, other.fraction, other.unit) == wanted)

    def day(self, day: int) -> Ids:
        """Those of a day."""
        return self._where(lambda row: self._days.of(row) == day)

    def between(self, start: datetime | None, end: datetime | None, curves: Iterable[str]) -> Ids:
        """Those read from one time to before another, and those on some calibrations.

        A row without a time comes after everything.
        """
        wanted = set(curves)

        def test(row: RowResult) -> bool:
            at = row.row.at
            late = start is None or at is None or at >= start
            early = end is None or (at is not None and at < end)
            return (late and early) or (row.calibration is not None and row.calibration.id in wanted)

        return self._where(test)

    def beside(self, event: RowResult, *, before: bool = True, after: bool = True) -> Ids:
        """Those that have a blank or check as their nearest event after them (they are before it), or before them."""
        around = self._beside.get(event.id, ([], [])) if not event.void else self._as_if_read(event)
        wanted = {row.id for row in (around[0] if before else [])} | {row.id for row in (around[1] if after else [])}
        return self._where(lambda row: row.id in wanted)

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
        if made.kind in ("blank", "check"):
            return self.beside(row)
        if made.kind == "second-source":
            return self.calibration(made.calibration.id if made.calibration else None)
        if made.kind in OF_BATCH:
            return () if row.id in self._made_good else self.groups((made.batch, made.fraction))
        return self.named((row.id,))

    def of_rows(self, rows: Iterable[RowResult]) -> Ids:
        """What something wrong with several rows bears on."""
        wanted = {name for row in rows for name in self.of_row(row)}
        return self._where(lambda row: row.id in wanted)
