"""What `evaluate` gives: the sheet and its parts.

Owns: the shapes every pane and report shows. Invariant: floats, texts and tuples only, None where there is no figure;
an array never gets here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.compute.compare import at_most
from runsheet.figures import counted, unit_of
from runsheet.run.kinds import CLIENTS, SOLVENT_STANDARDS

if TYPE_CHECKING:
    from runsheet.compute.amounts import Amounts
    from runsheet.compute.curve import Curve
    from runsheet.run.kinds import Event, Kind
    from runsheet.run.model import Action, Calibration, Fraction, Row, Run, Setup, Standard

Verdict = Literal["pass", "fail", "warn", "todo"]
State = Literal["pass", "qualified", "todo", "fail"]
"""Of a run; `qualified` is shown as "with reservations"."""
RowState = Literal["unread", "open", "accepted", "held", "void"]
Urgency = Literal["ok", "soon", "due", "overdue"]


@dataclass(frozen=True, slots=True)
class SetupResult:
    """One setup check judged."""

    setup: Setup
    state: Verdict
    value: float | None
    limit: float | None
    unit: str
    why: str


@dataclass(frozen=True, slots=True)
class StandardResult:
    """One standard on the curve."""

    standard: Standard
    x: float
    """mg/L in the solvent."""
    y: float | None
    """Net signal; None while unread."""
    used: bool
    on_curve: float | None = None
    """Concentration the curve gives it."""
    error_percent: float | None = None
    residual: float | None = None
    """Net signal less the curve's."""


@dataclass(frozen=True, slots=True)
class DetectionResult:
    """Detection figures of the curve (DIN 32645), mg/L in the solvent."""

    critical: float
    detection: float
    quantification: float | None


@dataclass(frozen=True, slots=True)
class CalibrationResult:
    """One calibration fitted and judged."""

    calibration: Calibration
    weighting: str
    zero: float
    """Mean reading of the used zero standards, 0 without any."""
    curve: Curve | None
    """None for a direct calibration and where nothing can be fitted."""
    standards: tuple[StandardResult, ...]
    n: int
    levels: int
    low: float | None
    high: float | None
    rse_percent: float | None
    rsd_percent: float | None
    state: Verdict
    """pass, fail or todo."""
    fails: tuple[str, ...]
    warns: tuple[str, ...]
    todos: tuple[str, ...]
    detection: DetectionResult | None
    ready: bool
    """Whether its used standards are all read, so that rows may use it."""
    finished: datetime | None
    """When its last standard was read."""
    id: str = field(init=False)
    direct: bool = field(init=False)
    """Whether the instrument displays concentration and nothing is fitted."""

    def __post_init__(self) -> None:
        """Take what every row asks for from the calibration once."""
        object.__setattr__(self, "id", self.calibration.id)
        object.__setattr__(self, "direct", self.calibration.model == "direct")

    @property
    def zero_read(self) -> bool:
        """Whether a used zero standard was read, so that the zero is a reading."""
        return any(s.used and s.x == 0 and s.y is not None for s in self.standards)

    @property
    def middle(self) -> float | None:
        """The middle of the range."""
        return None if self.low is None or self.high is None else (self.low + self.high) / 2


OVER = {"curve": "off the curve", "range": "above the range", "absorbance": "above the absorbance allowed"}
"""What is said of a row with E, by what it is beyond."""


@dataclass(slots=True)
class RowResult:
    """One row of the queue computed. Built up step by step inside `evaluate`, and not changed once it is out."""

    row: Row
    state: RowState = "void"
    place: int = 0
    """Its place in the queue, from 0."""
    batch: str | None = None
    calibration: CalibrationResult | None = None
    signals: tuple[float, ...] = ()
    """Its readings as absorbance (mg/L for a direct run)."""
    mean: float | None = None
    drift: float | None = None
    drift_from: str = ""
    """The blank the drift was taken from, or empty for the calibration's zero."""
    before: dict[Event, RowResult] = field(default_factory=dict)
    """The nearest read event of each kind before it on its calibration; empty for blanks and checks."""
    after: dict[Event, RowResult] = field(default_factory=dict)
    found_good: bool = False
    """Of a read blank or check: whether what it was found at lets the rows before it be accepted."""
    left_good: bool = False
    """Whether what it was left at lets the rows after it be."""
    compared_with: RowResult | None = None
    """The parent of a spike or duplicate."""
    pair_with: RowResult | None = None
    """Of the second of a pair: the first."""
    as_if: RowResult | None = None
    """Of a void row with readings: the row computed as if it were not void, with everything else as it is."""
    net: float | None = None
    extract: float | None = None
    """mg/L in the extract solvent."""
    u_extract: float | None = None
    amounts: Amounts | None = None
    result: float | None = None
    expanded: float | None = None
    """Expanded uncertainty U of the result; 0, of one displayed figure without its step, is told to nobody as a U."""
    coverage: float | None = None
    detection: float | None = None
    reporting: float | None = None
    flags: tuple[str, ...] = ()
    letters: str = ""
    """The flags as they are printed: the method's letters where it has its own."""
    reported: str | None = None
    recovery_percent: float | None = None
    rpd_percent: float | None = None
    dilute_to: float | None = None
    """The dilution to read an extract above the range again at."""
    fails: bool = False
    """Whether a rule about the row itself fails, whatever its bracket says."""
    unclosed: bool = False
    """Whether a kind of event the method asks for is missing after it, with `closing` set."""
    id: str = field(init=False)
    kind: Kind = field(init=False)
    sample: str = field(init=False)
    """The sample it reads."""
    void: bool = field(init=False)
    """Whether it counts nowhere."""
    reports: bool = field(init=False)
    """Whether its result is the one to report, once it is read."""
    counted: bool = field(init=False)
    """Whether it has readings that count."""
    is_reported: bool = field(init=False)
    """Whether it is a reported row: read, not void, not superseded, and no solvent standard."""
    for_client: bool = field(init=False)
    """Whether it is a reported row of a sample or of a blank that made the samples' journey."""
    fraction: Fraction = field(init=False)
    """Petroleum hydrocarbons after silica gel, oil and grease without."""

    def __post_init__(self) -> None:
        """Take what every rule asks for from the row once."""
        row = self.row
        self.id, self.kind, self.sample = row.id, row.kind, row.sample or row.id
        self.void = row.void is not None
        self.reports = row.report is not False and not self.void
        self.counted = bool(row.readings) and not self.void
        self.is_reported = self.counted and self.reports and row.kind not in SOLVENT_STANDARDS
        self.for_client = self.is_reported and row.kind in CLIENTS
        self.fraction = "petroleum" if row.silica_gel else "oil_grease"

    @property
    def superseded(self) -> bool:
        """Whether another reading is reported in its place; a void row is not superseded but void."""
        return not self.reports and not self.void

    @property
    def factor(self) -> float | None:
        """From extract concentration to result."""
        return self.amounts.factor if self.amounts else None

    @property
    def unit(self) -> str | None:
        """The unit of the result."""
        return self.amounts.unit if self.amounts else None

    @property
    def beyond(self) -> Literal["curve", "range", "absorbance"] | None:
        """What a row with E is beyond: a curve that rises but has no such value, its range, or what may be read."""
        if "E" not in self.flags or self.calibration is None:
            return None
        curve, high = self.calibration.curve, self.calibration.high
        if self.extract is None:
            return "curve" if curve is not None and curve.rises else "absorbance"
        return "absorbance" if high is None or at_most(self.extract, high) else "range"

    @property
    def over(self) -> str:
        """The same in words; empty without E."""
        return OVER[self.beyond] if self.beyond else ""

    @property
    def advice(self) -> str:
        """What to do with an extract above the range, in words."""
        return "" if self.dilute_to is None else f"dilute {self.dilute_to:.12g}x"

    @property
    def holders(self) -> tuple[RowResult, ...]:
        """The blanks and checks that hold it: those beside it that fail on the side they turn to it."""
        left = (event for event in self.before.values() if not event.left_good)
        found = (event for event in self.after.values() if not event.found_good)
        return (*left, *found)


class Finding(NamedTuple):
    """One verdict of a quality rule."""

    rule: str
    rows: tuple[str, ...]
    """What it names: ids of rows, or of what the rule is about (a calibration, a sample, a batch, a setup check)."""
    value: float | None = None
    low: float | None = None
    high: float | None = None
    state: Verdict = "fail"
    why: str = ""
    unit: str = ""
    """Of the value and its limits."""
    affects: tuple[str, ...] | None = None
    """The client's results it bears on, by the ids of their rows; None where it neither fails nor warns."""
    acted_on: bool = False
    """Whether it fails and what was done about it is noted as it must be."""
    read_at: datetime | None = None
    """When the last of what it names was read: no action is older."""


DAY = 24 * 60
"""Minutes."""


@dataclass(frozen=True, slots=True)
class DueResult:
    """When the next blank or check falls due."""

    what: Event
    state: Urgency
    readings_left: float | None
    minutes_left: float | None
    every_readings: float | None
    every_minutes: float | None

    @property
    def words(self) -> str:
        """Say how much of the interval is used up."""
        parts = []
        if self.readings_left is not None and self.every_readings is not None:
            read, every = self.every_readings - self.readings_left, self.every_readings
            parts.append(f"{read:g} of {every:g} {unit_of(every, 'readings')}")
        if self.minutes_left is not None and self.every_minutes is not None:
            used = self.every_minutes - self.minutes_left
            # A run that is opened again long afterwards tells days: minutes would be cut at the line's end.
            # Not rounded onto the interval: 59.7 is 59 of 60 while it runs, 60.3 is 61 once it has run out.
            whole = math.floor(used + 1e-9) if self.minutes_left >= 0 else math.ceil(used - 1e-9)
            told = str(whole) if used < DAY else counted(round(used / DAY), "day")
            parts.append(f"{told} of {self.every_minutes:g} min")
        return f"{self.what} {'not due' if self.state == 'ok' else self.state}" + (
            f", {', '.join(parts)}" if parts else ""
        )


@dataclass(frozen=True, slots=True)
class FractionsResult:
    """The polar part of a sample read before and after silica gel."""

    sample: str
    oil_grease: float
    petroleum: float
    polar: float
    expanded: float | None
    unit: str
    reported: dict[str, str | None]
    """What is printed, by `oil_grease`, `petroleum` and `polar`."""
    flags: tuple[str, ...]
    """Of the polar part."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything computed from a run at a time."""

    run: Run
    now: datetime
    state: State
    setup: tuple[SetupResult, ...]
    calibrations: tuple[CalibrationResult, ...]
    rows: tuple[RowResult, ...]
    fractions: tuple[FractionsResult, ...]
    quality: tuple[Finding, ...]
    due: tuple[DueResult, ...]
    uncertainty_complete: bool = field(default=False)
    """Whether precision or bias of the whole procedure is in U; else it is "instrument and volumes only"."""

    def action(self, finding: Finding) -> Action | None:
        """What was noted about a finding: the last action of its rule that names all its rows."""
        made = (action for action in reversed(self.run.action) if action.rule == finding.rule)
        return next((action for action in made if set(finding.rows) <= set(action.rows)), None)
