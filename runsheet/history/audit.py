"""A folder of runs with their logs, gone through for what a data-integrity review looks for.

Owns: `Audited`, `audited`, `same_readings`, `Group`, `grouped`. Invariant: nothing is written and nobody is
accused; what cannot be read is named, and a rate never stands without its counts.

Logs are read whole and each step made again, so nothing of it is kept in the folder's cache: some hundredths of a
second for a run of sixty rows.

Two stretches of rows count as the same raw readings from four rows in a row on, or one row from three readings on, with
at least one of them not within two display steps of zero (common practice, no source): single readings are alike by
chance. Those with the same times are one measurement, as of a calibration carried into a later run.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from itertools import combinations
from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.sheet import evaluate
from runsheet.history import documents, extract
from runsheet.history.cache import Progress
from runsheet.problem import has_errors
from runsheet.review import cases, entries, trail, trail_rule
from runsheet.run.disk import opening

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from datetime import datetime
    from pathlib import Path

    from runsheet.review.cases import Case
    from runsheet.run.model import Row, Run, Standard
    from runsheet.tables import Number

STRETCH, REPLICATES = 4, 3
"""Rows in a row, and readings of one row, from which on sameness is told."""
NEAR_ZERO = 2
"""Display steps within which readings are alike by their nature."""


class Read(NamedTuple):
    """A row that was read."""

    row: str
    readings: tuple[Number, ...]
    at: datetime | None
    off: bool
    """Whether one of the readings is well off zero."""


@dataclass(frozen=True, slots=True)
class Audited:
    """One run gone through."""

    path: str
    id: str
    analyst: str
    instrument: str
    month: str
    """Of its latest reading, as 2026-03."""
    state: str
    log: str
    """What the log says of the document, in words."""
    cases: tuple[Case, ...]
    sequence: tuple[Read, ...] = field(repr=False, default=())
    """Each row that was read, in order."""

    @property
    def logged(self) -> bool:
        """Whether there is a log to judge the work by."""
        return self.log != trail.WORDS["none"]

    @property
    def readings(self) -> int:
        """How many readings there are, of standards too; a row may have several."""
        return sum(len(row.readings) for row in self.sequence)


def twice(runs: Iterable[Audited]) -> dict[str, list[str]]:
    """The runs that are in several documents, with these: each is gone through, since they may differ."""
    found: dict[str, list[str]] = defaultdict(list)
    for run in runs:
        found[run.id].append(run.path)
    return {name: paths for name, paths in found.items() if len(paths) > 1}


class Unread(NamedTuple):
    """A document that cannot be gone through."""

    path: str
    why: str


def audited(
    folder: Path, progress: Callable[[Progress], bool] = lambda _progress: True
) -> tuple[list[Audited], list[Unread]]:
    """Go through the documents of a folder and below. Raises OSError where the folder cannot be read."""
    found = documents.find(folder)
    runs: list[Audited] = []
    unread: list[Unread] = []
    for at, path in enumerate(found, 1):
        made = _one(folder, path)
        if isinstance(made, Audited):
            runs.append(made)
        elif made.why != documents.NO_RUN:
            unread.append(made)
        if not progress(Progress(at, len(found))):
            break
    return runs, unread


def _one(folder: Path, path: str) -> Audited | Unread:
    name = documents.shown(path)
    try:
        found = opening.look(folder / path)
    except OSError as error:
        return Unread(name, error.strerror or str(error))
    if found.run is None or has_errors(found.problems):
        return Unread(name, documents.why(found.data or b"", found.problems))
    run, last = found.run, extract.latest(found.run)
    said = trail.trail(found.told, found.data)
    sheet = trail_rule.judged(evaluate(run, last), said)
    told = entries.audit(found.log.steps, run)
    return Audited(
        name,
        run.run.id,
        run.run.analyst or "",
        extract.instrument(run),
        f"{last:%Y-%m}" if extract.dated(run) else "",
        sheet.state,
        said.words,
        tuple(cases.cases(sheet, said, told)),
        tuple(_sequence(run)),
    )


def _sequence(run: Run) -> Iterator[Read]:
    step = float(run.instrument.step or 0)
    target = 100 if run.instrument.reads == "transmittance" else 0
    rows: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    for row in rows:
        if row.readings:
            off = any(abs(float(value) - target) > NEAR_ZERO * step for value in row.readings)
            yield Read(row.id, row.readings, row.at, off)


# --- the same raw readings --------------------------------------------------------------------------------------


class Place(NamedTuple):
    """A stretch of rows of a run."""

    path: str
    rows: tuple[str, ...]

    @property
    def words(self) -> str:
        """The run with its rows."""
        return f"{self.path} {self.rows[0]}" + (f" to {self.rows[-1]}" if len(self.rows) > 1 else "")


class Same(NamedTuple):
    """Raw readings that stand in two places or more."""

    places: tuple[Place, ...]
    readings: tuple[Number, ...]


def same_readings(runs: Sequence[Audited]) -> list[Same]:
    """Each longest stretch of raw readings that stands in two places, in one run or in several."""
    seen: dict[tuple[tuple[Number, ...], ...], list[tuple[Audited, int]]] = defaultdict(list)
    for run in runs:
        for at, read in enumerate(run.sequence):
            rows = run.sequence[at : at + STRETCH]
            if len(rows) == STRETCH and any(row.off for row in rows):
                seen[tuple(row.readings for row in rows)].append((run, at))
            if len(read.readings) >= REPLICATES and read.off:
                seen[read.readings,].append((run, at))
    told: set[tuple[str, int, str, int]] = set()
    found: dict[tuple[Number, ...], dict[Place, None]] = defaultdict(dict)
    for places in seen.values():
        for one, other in combinations(places, 2):
            if (one[0].path, one[1], other[0].path, other[1]) not in told:
                length = _length(*one, *other, told)
                if length >= STRETCH or (length and len(one[0].sequence[one[1]].readings) >= REPLICATES):
                    rows = one[0].sequence[one[1] : one[1] + length]
                    readings = tuple(value for row in rows for value in row.readings)
                    found[readings] |= dict.fromkeys((_place(*one, length), _place(*other, length)))
    return [Same(tuple(places), readings) for readings, places in found.items()]


def _length(run: Audited, at: int, other: Audited, there: int, told: set[tuple[str, int, str, int]]) -> int:
    """How many rows from two places on have the same readings; the same at the same time is one measurement."""
    length = 0
    for one, two in zip(run.sequence[at:], other.sequence[there:], strict=False):
        same_time = one.at is not None and one.at == two.at
        if one.readings != two.readings or same_time or (run is other and at + length >= there):
            break
        told.add((run.path, at + length, other.path, there + length))
        length += 1
    return length


def _place(run: Audited, at: int, length: int) -> Place:
    return Place(run.path, tuple(read.row for read in run.sequence[at : at + length]))


# --- by analyst, instrument and month ---------------------------------------------------------------------------


class Group(NamedTuple):
    """The cases of one kind of one analyst, photometer or month."""

    by: str
    """analyst, photometer or month."""
    name: str
    kind: str
    cases: int
    runs: int
    """Runs with such a case."""
    of_runs: int
    readings: int
    """All readings of those runs and the others of the group."""


def grouped(runs: Iterable[Audited]) -> Iterator[Group]:
    """The cases of each kind by analyst, photometer and month."""
    runs = list(runs)
    for by, field_ in (("analyst", "analyst"), ("photometer", "instrument"), ("month", "month")):
        names = sorted({getattr(run, field_) for run in runs})
        for name in names:
            theirs = [run for run in runs if getattr(run, field_) == name]
            readings = sum(run.readings for run in theirs)
            for kind in cases.KINDS:
                counts = [sum(case.kind == kind for case in run.cases) for run in theirs]
                if any(counts):
                    with_one = sum(count > 0 for count in counts)
                    yield Group(by, name or "not named", kind, sum(counts), with_one, len(theirs), readings)
