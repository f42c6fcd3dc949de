"""The four panes.

Owns: what each pane shows, its one-line summary, and which place of the document a cell edits. Invariant: a pane is
data; the same grid shows them all.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from runsheet.compute.days import setup_time
from runsheet.figures import some
from runsheet.run.model import Row, Setup, Standard
from runsheet.screen import notes
from runsheet.show import columns, findings
from runsheet.show.columns import Column

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from runsheet.compute.results import CalibrationResult, Finding, Sheet
    from runsheet.work.step import PaneName

T = TypeVar("T")


@dataclass(frozen=True)
class Pane(Generic[T]):
    """One pane."""

    name: PaneName
    title: str
    columns: Sequence[Column[T]]
    items: Callable[[Sheet], Sequence[T]]
    summary: Callable[[Sheet], str]
    """Its state in one line."""
    marked: tuple[str, ...]
    """The columns drawn in the colour of the word they show."""
    empty: str
    """What stands in an empty table."""
    notes: Callable[[Sheet], Sequence[str]] = lambda _sheet: ()
    """What stands below its rows where there is room."""
    array: str = ""
    """The document's array its rows stand in, one for one; empty where rows are only findings."""
    model: type = object
    """The dataclass of those rows."""
    fixed: int = 1
    """Columns at the left that never scroll away."""
    home: str = "readings"
    """The column of the first thing to type."""

    @property
    def home_column(self) -> int:
        """Where the cursor starts."""
        return next((at for at, column in enumerate(self.columns) if column.key == self.home), 0)

    def mark(self, item: T, column: Column[T]) -> str:
        """The word whose colour a cell takes, or nothing."""
        return column.text(item) if column.key in self.marked else ""


def _setup_summary(sheet: Sheet) -> str:
    states = [result.state for result in sheet.setup]
    if not states:
        return "no setup checks"
    waiting = next((f"{r.setup.check}: {r.why}" for r in sheet.setup if r.state == "todo"), "")
    warned = {(f.rows, f.read_at) for f in sheet.quality if f.rule == "setup" and f.state == "warn"}
    failed = [r.setup for r in sheet.setup if r.state == "fail"]
    repeated = [each for each in failed if ((each.check,), setup_time(each)) in warned]
    again = ", ".join(each.check for each in repeated)
    failing = ", ".join(each.check for each in failed if each not in repeated)
    done = f"{states.count('pass')} of {len(states)} pass"
    return "; ".join(filter(None, (done, failing and f"FAIL {failing}", again and f"{again} repeated", waiting)))


def _standards_summary(sheet: Sheet) -> str:
    told, several = [], len(sheet.calibrations) > 1
    for result in sheet.calibrations:
        curve = result.curve
        read = sum(s.y is not None for s in result.standards)
        parts = [
            f"{result.id} {result.state.upper() if result.state == 'fail' else result.state}",
            *([] if several else [result.calibration.model]),
        ]
        if result.state == "todo":
            parts.append(f"{read} of {len(result.standards)} read")
        if curve is not None and curve.r is not None and not several:
            parts.append(f"r {curve.r:.5f}")
        if result.rse_percent is not None and not several:
            parts.append(f"RSE {result.rse_percent:.1f} %")
        worst = max(_errors(result), key=lambda each: abs(each[1]), default=None)
        if worst and f"{abs(worst[1]):.1f}" != "0.0":  # nothing is off
            parts.append(f"worst {worst[0]} {worst[1]:+.1f} %")
        parts += result.fails[:1]
        told.append(", ".join(parts))
    return " | ".join(told) or "no calibration"


def _errors(result: CalibrationResult) -> list[tuple[str, float]]:
    """The error of each used standard, by id."""
    return [(s.standard.id, s.error_percent) for s in result.standards if s.used and s.error_percent is not None]


def _queue_summary(sheet: Sheet) -> str:
    live = [row for row in sheet.rows if not row.void]
    if not live:
        return "empty"
    read = sum(row.state != "unread" for row in live)
    counts = [(sum(row.state == state for row in live), state) for state in ("held", "open")]
    flagged = sum(bool(row.flags) for row in live)
    parts = [f"{read} of {len(live)} read", *(f"{n} {state}" for n, state in counts if n)]
    return ", ".join([*parts, *([f"{flagged} flagged"] if flagged else [])])


def _quality_summary(sheet: Sheet) -> str:
    states = [findings.verdict(finding) for finding in sheet.quality]
    words = (("fail", "FAIL"), ("acted on", "acted on"), ("warn", "warn"), ("pass", "pass"))
    told = [f"{states.count(state)} {word}" for state, word in words if state in states]
    due = [result.words for result in sheet.due]
    return "; ".join([", ".join(told) or "nothing to judge yet", *due])


def shown_findings(sheet: Sheet) -> list[Finding]:
    """The findings as the pane lists them: what fails first, passes last."""
    return findings.in_order(sheet)


def _in_file_order(sheet: Sheet) -> list[Any]:
    """The standards as they stand in the document, whatever calibration they belong to."""
    place = {standard.id: at for at, standard in enumerate(sheet.run.standard)}
    found = [result for calibration in sheet.calibrations for result in calibration.standards]
    return sorted(found, key=lambda result: place[result.standard.id])


def _bar(finding: Finding) -> str:
    """Draw a value between its limits: `[  o  ]`, `>` and `<` beyond them."""
    if finding.value is None or (finding.low is None and finding.high is None):
        return ""
    low = finding.low if finding.low is not None else min(0.0, finding.value)
    high = finding.high if finding.high is not None else max(low * 2, finding.value)
    if high <= low:
        return ""
    part = (finding.value - low) / (high - low)
    width = 8
    if part < 0:
        return "<[" + " " * width + "]"
    if part > 1 or (part == 1 and findings.must_be_below(finding)):
        return " [" + " " * width + "]>"
    at = min(width - 1, int(part * width))
    return " [" + " " * at + "o" + " " * (width - 1 - at) + "]"


QUALITY: tuple[Column[Finding], ...] = (
    Column("state", "verdict", 8, findings.verdict, lambda f: f.state, left=True),
    Column("rule", "rule", 14, lambda f: f.rule, lambda f: f.rule, left=True),
    Column("rows", "rows", 12, lambda f: some(f.rows, 3), lambda f: f.rows, left=True),
    Column("bar", "in limits", 12, _bar, _bar, left=True),
    Column("value", "value", 8, findings.figure_of, lambda f: f.value),
    Column("limits", "limits", 17, findings.limits, findings.limits, left=True),
    Column("affects", "affects", 12, lambda f: some(f.affects or (), 2), lambda f: f.affects, left=True),
    Column("why", "why", 30, lambda f: f.why, lambda f: f.why, left=True),
)

WATCHED = ("id", "bracket", "kind", "readings", "reported", "unit", "flags", "state", "amount", "dilution")
"""The columns of the queue that are in sight at 80 columns; the others follow in their order."""


def _watched_first(every: Sequence[Column[Any]]) -> tuple[Column[Any], ...]:
    return tuple(sorted(every, key=lambda c: WATCHED.index(c.key) if c.key in WATCHED else len(WATCHED)))


SETUP: Pane[Any] = Pane(
    "setup",
    "Setup checks",
    columns.SETUP,
    lambda sheet: sheet.setup,
    _setup_summary,
    ("state",),
    "No setup checks in this run.",
    notes.setup,
    "setup",
    Setup,
)
STANDARDS: Pane[Any] = Pane(
    "standards",
    "Standard table",
    columns.STANDARDS,
    _in_file_order,
    _standards_summary,
    (),
    "No standards in this run: press i to insert one.",
    notes.standards,
    "standard",
    Standard,
)
QUEUE: Pane[Any] = Pane(
    "queue",
    "Sample queue",
    _watched_first(columns.QUEUE),
    lambda sheet: sheet.rows,
    _queue_summary,
    ("state",),
    "The queue is empty: i inserts a row, P plans one from a list of samples.",
    array="queue",
    model=Row,
    fixed=3,
)
QC: Pane[Any] = Pane(
    "quality",
    "QC status",
    QUALITY,
    shown_findings,
    _quality_summary,
    ("state",),
    "Nothing to judge yet.",
    home="state",
)
PANES = (SETUP, STANDARDS, QUEUE, QC)
