"""The baselines of control charts: the points a person froze to judge later ones by.

Owns: `baselines.toml` beside the runs, `Baseline`, `read`, `freeze`, `text`. Invariant: a baseline holds its own
values, so that no later change of a run moves it; it is taken by a person, by name and with a reason, and never by
itself. A point left out of it has its assigned cause beside it.

What was frozen is signed for by the SHA-256 of its points: one that does not agree was changed by hand, and gives no
limits.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

import tomli_w

from runsheet import tables
from runsheet.compute.statistics.control_charts import OWN_LIMITS_FROM
from runsheet.figures import counted
from runsheet.run.disk import files
from runsheet.tables import Number  # noqa: TC001 - read at run time, to read the file

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from runsheet.history.charts import Series
    from runsheet.history.rows import PointRow

NAME = "baselines.toml"
LEAST = OWN_LIMITS_FROM
"""Points a baseline needs, without those left out."""
SHARED = ("what", "method", "fraction", "instrument", "cell", "solvent", "model", "unit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a baseline."""

    path: str
    row: str
    at: str
    value: Number
    cause: str | None = None
    """Why it is left out, as somebody found; None: it counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The points of one chart, frozen."""

    what: str
    method: str = ""
    fraction: str = ""
    instrument: str = ""
    cell: str = ""
    solvent: str = ""
    model: str = ""
    unit: str = ""
    by: str
    at: datetime
    why: str
    digest: str
    """SHA-256 of the points."""
    point: tuple[Point, ...] = ()

    @property
    def values(self) -> list[float]:
        """Of the points that count, in order of time."""
        return [float(point.value) for point in self.point if point.cause is None]

    @property
    def shared(self) -> tuple[str, ...]:
        """What its points share, which is of one chart."""
        return tuple(getattr(self, name) for name in SHARED)

    @property
    def stands(self) -> bool:
        """Whether its points are those that were signed for."""
        return self.digest == digest(self.point)


@dataclass(frozen=True, slots=True, kw_only=True)
class Baselines:
    """The file."""

    baseline: tuple[Baseline, ...] = ()


class Found(NamedTuple):
    """What a folder has."""

    baselines: tuple[Baseline, ...]
    problems: tuple[str, ...]


def digest(points: Iterable[Point]) -> str:
    """The SHA-256 of points, as hexadecimal digits."""
    rows = [[each.path, each.row, each.at, repr(float(each.value)), each.cause] for each in points]
    return hashlib.sha256(json.dumps(rows, ensure_ascii=False).encode()).hexdigest()


def read(folder: Path) -> Found:
    """The baselines of a folder that stand, and what is wrong with the file and with the others."""
    try:
        data = files.DISK.read(folder / NAME)
    except FileNotFoundError:
        return Found((), ())
    except OSError as error:
        return Found((), (f"{NAME}: {files.unread(error)}",))
    found, problems = tables.parse(data.decode(errors="replace"))
    if found is None:
        return Found((), tuple(f"{NAME}: {problem}" for problem in problems))
    made = tables.table(Baselines, found, "", problems)
    told = [f"{NAME}: {problem}" for problem in problems]
    every = made.baseline if made else ()
    told += [
        f"{NAME}: that of {each.what} by {each.by} was changed by hand: not used" for each in every if not each.stands
    ]
    return Found(tuple(each for each in every if each.stands), tuple(told))


def of(baselines: Iterable[Baseline], series: Series) -> Baseline | None:
    """The one of a chart; the last of several."""
    same = [each for each in baselines if each.shared == tuple(getattr(series, name) for name in SHARED)]
    return same[-1] if same else None


def freeze(
    series: Series, points: Sequence[PointRow], causes: Mapping[tuple[str, str], str], by: str, why: str, now: datetime
) -> Baseline:
    """Freeze the points of a chart; `causes` are by document and row. Raises ValueError where they are too few."""
    made = tuple(
        Point(
            path=each.path,
            row=each.row,
            at=each.at,
            value=Decimal(repr(each.value)),
            cause=causes.get((each.path, each.row)),
        )
        for each in points
    )
    count = sum(each.cause is None for each in made)
    if count < LEAST:
        raise ValueError(f"{counted(count, 'point')}; a baseline needs {LEAST}")
    shared = {name: getattr(series, name) for name in SHARED}
    return Baseline(**shared, by=by, at=now, why=why, digest=digest(made), point=made)


def text(baselines: Iterable[Baseline]) -> str:
    """The file."""
    return tomli_w.dumps(tables.plain(Baselines(baseline=tuple(baselines))))
