"""When the readings of a run were taken, against the clock of now.

Owns: `clock_behind`. Invariant: a clock that ran back is said, since a reading dated before its calibration would be
held, and one dated before its blank be judged by another.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

    from runsheet.run.model import Row, Run, Standard

ALLOWED = timedelta(minutes=2)
"""How much earlier than the last reading a clock may be that was set by a minute or rounded."""


def clock_behind(run: Run, now: datetime) -> str:
    """What is said of a clock that is behind the run's latest reading; empty where it is not."""
    read: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    rows = [(row.at, row.id) for row in read if row.readings and row.at is not None]
    rows += [(row.at, row.check) for row in run.setup if row.at is not None]
    last, name = max(rows, default=(now, ""))
    if last - now <= ALLOWED:
        return ""
    last = last.astimezone(now.tzinfo)
    day = "" if last.date() == now.date() else f" of {last:%Y-%m-%d}"
    return f"the clock shows {now:%Y-%m-%d %H:%M}, but {name} was read at {last:%H:%M}{day}"
