"""What the quality rules look at.

Owns: `Computed`, a run with everything computed but its verdicts, with the few indexes several rules need. Invariant:
rules read it and change nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING

from runsheet.compute.rules import recovery
from runsheet.compute.rules.reach import Reach
from runsheet.run.kinds import CONTROLS
from runsheet.run.model import FractionLimits

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    from runsheet.compute.comparison import Reported
    from runsheet.compute.days import Days
    from runsheet.compute.results import CalibrationResult, DueResult, Finding, RowResult, SetupResult
    from runsheet.compute.rules.reach import Ids
    from runsheet.run.model import Fraction, Run, Sample

RAISED = ("fail", "warn")
"""What a reader of the findings must see to."""
FRACTION_WORDS: dict[Fraction, str] = {"oil_grease": "oil and grease", "petroleum": "petroleum hydrocarbons"}


@dataclass
class Computed:
    """A run with everything computed but its verdicts."""

    run: Run
    now: datetime
    setup: tuple[SetupResult, ...]
    calibrations: tuple[CalibrationResult, ...]
    rows: tuple[RowResult, ...]
    """Every row; void ones too."""
    reported: Reported
    times: list[datetime]
    """The times of everything read, in order."""
    days: Days
    due: tuple[DueResult, ...]

    @cached_property
    def reach(self) -> Reach:
        """Which of the client's results something bears on."""
        return Reach(self.rows, self.days, recovery.made_good(self.of_kind(*CONTROLS), self.limits))

    def bearing(self, finding: Finding, reach: Callable[[], Ids]) -> Finding:
        """The finding with what it bears on, which is worked out only where it fails or warns."""
        return finding._replace(affects=reach()) if finding.state in RAISED else finding

    @cached_property
    def lots(self) -> dict[str, str]:
        """The standard that is of a lot; of several the last."""
        return {lot: standard.id for standard in self.run.standard if (lot := plain_lot(standard.lot))}

    @cached_property
    def live(self) -> list[RowResult]:
        """Rows that are not void."""
        return [row for row in self.rows if not row.void]

    @cached_property
    def read(self) -> list[RowResult]:
        """Rows with readings that count."""
        return [row for row in self.rows if row.counted]

    @cached_property
    def unread(self) -> bool:
        """Whether a row is still to be read."""
        return any(row.state == "unread" for row in self.rows)

    @cached_property
    def by_kind(self) -> dict[str, list[RowResult]]:
        """Rows that are not void, by kind."""
        found: dict[str, list[RowResult]] = {}
        for row in self.live:
            found.setdefault(row.kind, []).append(row)
        return found

    def of_kind(self, *kinds: str) -> list[RowResult]:
        """Rows of some kinds that are not void, kind by kind."""
        return [row for kind in kinds for row in self.by_kind.get(kind, ())]

    @cached_property
    def groups(self) -> dict[tuple[str | None, Fraction], list[RowResult]]:
        """Rows that are not void, by batch and fraction."""
        found: dict[tuple[str | None, Fraction], list[RowResult]] = {}
        for row in self.live:
            found.setdefault((row.batch, row.fraction), []).append(row)
        return found

    def group(self, row: RowResult) -> list[RowResult]:
        """The rows of a row's batch and fraction that are not void."""
        return self.groups.get((row.batch, row.fraction), [])

    @cached_property
    def _limits(self) -> dict[Fraction, FractionLimits]:
        batch = self.run.method.batch
        if batch is None:
            return {"oil_grease": FractionLimits(), "petroleum": FractionLimits()}
        return {"oil_grease": _merged(batch, batch.oil_grease), "petroleum": _merged(batch, batch.petroleum)}

    def limits(self, fraction: Fraction) -> FractionLimits:
        """The limits of the batch QC for a fraction."""
        return self._limits[fraction]

    @cached_property
    def samples(self) -> dict[str, Sample]:
        """The samples as received, by id."""
        return {sample.id: sample for sample in self.run.sample}

    @cached_property
    def finished(self) -> dict[str | None, datetime | None]:
        """When the extraction of each batch was finished, by its id."""
        return {batch.id: batch.finished for batch in self.run.batch}

    def received(self, row: RowResult) -> Sample | None:
        """The sample a row reads, as received; a duplicate or spike without one of its own has its parent's."""
        return self.samples.get(row.sample) or self.samples.get(row.row.of or "")

    @cached_property
    def used(self) -> list[CalibrationResult]:
        """The calibrations that reported rows use."""
        ids = {row.calibration.id for row in self.read if row.is_reported and row.calibration}
        return [result for result in self.calibrations if result.id in ids]


def _merged(base: FractionLimits, over: FractionLimits | None) -> FractionLimits:
    """A fraction's limits, the method's where the fraction says nothing."""
    names = [field.name for field in fields(FractionLimits)]
    values = {name: getattr(over, name, None) for name in names}
    return FractionLimits(**{name: getattr(base, name) if value is None else value for name, value in values.items()})


def past(expires: date | None, at: datetime | None) -> bool:
    """Whether a time is after the last day something may be used."""
    return expires is not None and at is not None and at.date() > expires


def plain_lot(lot: str | None) -> str:
    """A lot without what two people write differently: letters' case, blanks and hyphens."""
    return "".join(sign for sign in (lot or "").casefold() if not sign.isspace() and sign not in "-\u2010\u2011\u2013")
