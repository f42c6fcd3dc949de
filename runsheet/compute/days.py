"""The days of a run.

Owns: which day a reading, a row and a setup check belong to. Invariant: a day begins with its first reading and after
each 8 h without one, whatever the calendar says: a run may go past midnight.

A gap of just 8 h begins a new day. A setup check without a time counts for the first day, and a row without one that
stands first in the queue too.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.compute.results import RowResult
    from runsheet.run.model import Setup, Standard

REST = timedelta(hours=8)
"""Without a reading, after which the next one begins a new day."""


class Days:
    """The days of a run, counted from 0."""

    def __init__(self, times: list[datetime], rows: tuple[RowResult, ...], standards: tuple[Standard, ...]) -> None:
        """Cut the times of everything read, in order, into days."""
        self._times = times
        self.starts = [at for n, at in enumerate(times) if n == 0 or at - times[n - 1] >= REST]
        """The first reading of each day; empty where nothing read has a time."""
        self._of_row: dict[str, int] = {}
        here = 0
        for row in rows:
            if not row.void:
                here = here if row.row.at is None or not row.counted else self.at(row.row.at)
                self._of_row[row.id] = here
        self.asked = sorted({self._of_row[row.id] for row in rows if row.counted})
        """Days with a row of the queue that was read: the others are asked nothing."""
        self._standards = standards

    def at(self, when: datetime) -> int:
        """The day of a reading."""
        return max(0, bisect_right(self.starts, when) - 1)

    def of(self, row: RowResult) -> int:
        """The day of a row; one without a time is of the day of the row above."""
        return self._of_row.get(row.id, 0)

    def of_setup(self, setup: Setup) -> int:
        """The day of a setup check: that of the reading nearest to it; without a time the first."""
        when = setup_time(setup)
        if when is None or not self._times:
            return 0
        place = bisect_left(self._times, when)
        near = self._times[max(0, place - 1) : place + 1]
        return self.at(min(near, key=lambda at: abs(at - when)))

    def start(self, day: int) -> datetime | None:
        """The first reading of a day, None where it is not known."""
        return self.starts[day] if day < len(self.starts) else None

    def last_standard(self, day: int) -> datetime | None:
        """When the last standard of a day was read, None where none was."""
        times = (standard.at for standard in self._standards if standard.readings and standard.at is not None)
        return max((at for at in times if self.at(at) == day), default=None)


def setup_time(setup: Setup) -> datetime | None:
    """When a setup check was made: a warm-up by its start."""
    return setup.started if setup.check == "warm-up" else setup.at
