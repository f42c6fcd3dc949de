"""Detection studies and demonstrations of capability from the tables of a history.

Owns: which results belong to one study, and the figure offered to the method. Invariant: a detection limit belongs to
an instrument, a cell, a solvent, a method and a fraction, and a demonstration to an analyst besides.

A demonstration of capability is an analyst's latest four `capability` rows of a group.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.rounding import significant
from runsheet.compute.statistics import demonstration, detection_study
from runsheet.compute.statistics.detection_limits import Measured
from runsheet.compute.statistics.detection_study import DEFAULT, Options
from runsheet.history.charts import named
from runsheet.history.rows import StudyRow

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.statistics.demonstration import Criteria, Demonstration
    from runsheet.compute.statistics.detection_study import Study
    from runsheet.history.cache import Tables


class Group(NamedTuple):
    """What the results of one study share."""

    method: str
    fraction: str
    instrument: str
    cell: str
    solvent: str
    unit: str

    @property
    def title(self) -> str:
        """Name it in full."""
        return named("", self.fraction, self.method, "", self.instrument, self.cell, self.solvent)


@dataclass(frozen=True, slots=True)
class Detection:
    """One study with what it is of."""

    group: Group
    study: Study
    not_standing: tuple[tuple[StudyRow, str], ...]
    """Results that were handed to it not at all, and why: those that do not stand in their run."""

    @property
    def left_out(self) -> tuple[tuple[str, str, str], ...]:
        """Every result that does not count: document, row and why; first those the study leaves out."""
        parts = (*self.study.spikes.left_out, *self.study.blanks.left_out)
        return (
            *((each.measured.run, each.measured.row, each.why) for each in parts),
            *((row.path, row.row, why) for row, why in self.not_standing),
        )

    @property
    def offered(self) -> str | None:
        """The figure for the method's `detection`, as text of two significant figures; None while incomplete."""
        return significant(self.study.mdl) if self.study.complete and self.study.mdl else None


SHARED = ", ".join(f'"{name}"' for name in Group._fields)
OF_GROUP = " AND ".join(f'"{name}" = ?' for name in Group._fields)


def _groups(tables: Tables, kind: str) -> list[Group]:
    """The groups that have a row of a kind, in order."""
    once = "path NOT IN (SELECT path FROM twice)"
    rows = tables.rows(f"SELECT DISTINCT {SHARED} FROM study WHERE kind = ? AND {once}", kind)  # noqa: S608 - our own
    return sorted(Group(*map(str, row)) for row in rows)


def _rows(tables: Tables, group: Group, *kinds: str) -> list[StudyRow]:
    """The rows of some kinds of a group, in order of time."""
    query = (
        f"SELECT * FROM study WHERE {OF_GROUP} AND kind IN ({', '.join('?' * len(kinds))}) "  # noqa: S608 - our own names
        "AND path NOT IN (SELECT path FROM twice) ORDER BY moment, path, rowid"
    )
    return [StudyRow(*values) for values in tables.rows(query, *group, *kinds)]  # type: ignore[arg-type]


def detections(tables: Tables, now: datetime, options: Options = DEFAULT) -> list[Detection]:
    """Make the detection study of every group that has a spike, as of `now`.

    The limit in use, and the day of its study, are those of the method in the group's latest run of that day or before;
    a limit of one run and the study of another are no pair, and one without a day has no study.
    """
    found = []
    for group in _groups(tables, "detection-spike"):
        rows = _rows(tables, group, "detection-spike", "method-blank")
        spikes = [row for row in rows if row.kind == "detection-spike"]
        blanks = [row for row in rows if row.kind == "method-blank"]
        until = [row for row in rows if datetime.fromisoformat(row.at).date() <= now.date()]
        last = until[-1] if until and until[-1].detection is not None and until[-1].studied else None
        study = detection_study.study(
            _measured(spikes),
            _measured(blanks),
            now,
            last and last.detection,
            date.fromisoformat(last.studied) if last else None,
            options,
        )
        found.append(Detection(group, study, tuple((row, row.left_out) for row in rows if row.left_out)))
    return found


def _measured(rows: Iterable[StudyRow]) -> list[Measured]:
    return [
        Measured(row.value, datetime.fromisoformat(row.at), row.batch, row.path, row.row, row.spiked)
        for row in rows
        if not row.left_out
    ]


@dataclass(frozen=True, slots=True)
class Capability:
    """One analyst's demonstration."""

    group: Group
    analyst: str
    rows: tuple[StudyRow, ...]
    """The four it is judged by, the latest; fewer where there are no more."""
    of: int
    """How many of theirs count."""
    result: Demonstration
    left_out: tuple[tuple[str, str, str], ...] = ()
    """Those that do not: document, row and why."""


def capabilities(
    tables: Tables, criteria: Criteria = demonstration.INTERIM_8000D, until: date | None = None
) -> list[Capability]:
    """Judge each analyst's latest four `capability` rows, or the latest four read on a day or before."""
    return demonstrated(demonstrations(tables), criteria, until)


def demonstrations(tables: Tables) -> list[StudyRow]:
    """The `capability` rows of a folder, those of each group in order of time."""
    return [row for group in _groups(tables, "capability") for row in _rows(tables, group, "capability")]


def demonstrated(
    rows: Iterable[StudyRow], criteria: Criteria = demonstration.INTERIM_8000D, until: date | None = None
) -> list[Capability]:
    """As `capabilities`, of rows that are in order of time."""
    by: dict[tuple[Group, str], list[StudyRow]] = {}
    for row in rows:
        if until is None or datetime.fromisoformat(row.at).date() <= until:
            group = Group(*(getattr(row, name) for name in Group._fields))
            by.setdefault((group, row.analyst), []).append(row)
    found = []
    for (group, analyst), theirs in sorted(by.items()):
        good = [row for row in theirs if not row.left_out]
        last = tuple(good[-demonstration.RESULTS :])
        result = demonstration.judge((row.recovery for row in last), criteria)
        out = tuple((row.path, row.row, row.left_out) for row in theirs if row.left_out)
        found.append(Capability(group, analyst, last, len(good), result, out))
    return found
