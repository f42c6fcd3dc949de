"""The history of a run that is open, or that a report is written of.

Owns: which folder that is, and loading what is needed of it. Invariant: after loading nothing is read any more, so that
a key is never kept waiting by a disk.

The screen looks at the run's own folder and not below it, since that may be a home with much in it;
`RUNSHEET_HISTORY` names another, with what is below.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.history import baselines, cache, charts, documents, earlier_runs, extract, findings, good_for, studies

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.compute.results import Sheet
    from runsheet.history.baselines import Baseline
    from runsheet.history.cache import Progress
    from runsheet.history.charts import Chart, Series
    from runsheet.history.earlier_runs import SeriesBefore
    from runsheet.history.rows import StudyRow
    from runsheet.run.model import Run


@dataclass(frozen=True)
class EarlierRuns:
    """What earlier runs were, for judging and charting one run."""

    document: str
    """The run's own document, as the tables name it."""
    past: dict[Series, SeriesBefore] = field(default_factory=dict)
    unread: int = 0
    """Documents of the folder that were not read."""
    demonstrations: tuple[StudyRow, ...] = ()
    """The demonstrations of capability of the folder's other runs."""
    baselines: tuple[Baseline, ...] = ()
    """Its frozen limits of control."""
    wrong: tuple[str, ...] = ()
    """What is wrong with the folder: documents that could not be computed, and what else counts for nothing."""

    def judged(self, sheet: Sheet) -> Sheet:
        """The sheet with what the history says of its points among its findings."""
        warnings = tuple(good_for.findings(sheet, self.demonstrations, self.baselines, self.unread))
        if self.past:
            warnings += tuple(earlier_runs.warnings(extract.points(self.document, sheet), self.past))
        return replace(sheet, quality=(*sheet.quality, *warnings)) if warnings else sheet

    def charts(self, sheet: Sheet) -> Iterator[Chart]:
        """The chart of each figure of the sheet that has a past; its own points do not make the limits."""
        for series, here in earlier_runs.own(extract.points(self.document, sheet), self.past):
            before, _, baseline = self.past[series]
            points = (*before, *here)
            yield charts.chart(series, points, len(points), judged_from=len(before), baseline=baseline)


def folder_of(document: Path) -> tuple[Path, bool]:
    """The folder whose runs are a document's history, and whether those below it are too.

    `RUNSHEET_HISTORY` names it, with what is below; else it is the document's own folder and nothing below, since that
    may be a home with much in it.
    """
    if named := os.environ.get("RUNSHEET_HISTORY"):
        return Path(named), True
    return document.parent, False


def load(
    document: Path,
    run: Run,
    progress: Callable[[Progress], bool] = lambda _progress: True,
    *,
    at_most: int | None = None,
    folder: Path | None = None,
) -> EarlierRuns:
    """Load the history of a run kept at `document`; see `cache.bring_up`. Raises OSError."""
    real = Path(os.path.realpath(document))
    place, deep = (folder, True) if folder else folder_of(real)
    tables = cache.bring_up(place, progress, at_most=at_most, deep=deep)
    try:
        own = documents.shown(os.path.relpath(real, tables.folder).replace(os.sep, "/"))
        past = earlier_runs.past(tables, own, _begun(run))
        same = {own, *(path for (path,) in tables.rows("SELECT path FROM run WHERE id = ?", run.run.id))}  # its copies
        others = tuple(row for row in studies.demonstrations(tables) if row.path not in same)
        wrong = (*findings.findings(tables), *charts.wrong_baselines(tables))
        return EarlierRuns(own, past, tables.unread, others, baselines.read(tables.folder).baselines, wrong)
    finally:
        tables.close()


def _begun(run: Run) -> str:
    """When a run began: its first reading; one not read yet begins now, after everything, whenever it was made."""
    return extract.moment(min(extract.times(run), default=None)) or charts.NEVER
