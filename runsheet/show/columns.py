"""Every table's columns, once.

Owns: what a column is called, what it shows, and which field of the document it edits. The screen, the reports and the
CSV iterate these. Invariant: a column shows a figure of the sheet or a field of the document and computes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from runsheet.compute.amounts import nominal_factor
from runsheet.figures import beside, clock, figure, fillings, one_decimal, passed, readings, signal
from runsheet.run.kinds import ABBREVIATIONS, CHECK_STANDARDS, EVENTS

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.compute.results import RowResult, SetupResult, StandardResult
    from runsheet.run.model import Method

T = TypeVar("T")

FLAG_WORDS = {
    "U": "below the detection limit, reported as less than the limit",
    "J": "between detection and reporting limit, estimated",
    "E": "above the calibrated range",
    "D": "diluted",
    "B": "the method blank shows something and this is below ten times it",
    "H": "holding time exceeded",
    "Q": "quality control that affects the result failed; the findings say which",
    "Y": "not preserved as it should be",
}
"""U and J as in the EPA National Functional Guidelines; B, D, E and H are laboratory flags; Q and Y are ours."""


def flag_words(method: Method) -> dict[str, str]:
    """Each flag in words, U and E as the method gives them."""
    limits, curve = method.limits, method.calibration
    detection = limits is not None and limits.detection is not None and nominal_factor(method) is not None
    low = "detection" if detection and method.estimates is not False else "reporting"
    least = detection and method.nondetect == "detection"
    printed = "it" if low == ("detection" if least else "reporting") else "the reporting limit"
    words = f"below the {low} limit, reported as less than {printed}"
    words += ", below the detection limit as less than that" if least and low == "reporting" else ""
    over = FLAG_WORDS["E"]
    over += ", or the absorbance the method allows" if curve is not None and curve.max_absorbance is not None else ""
    return {**FLAG_WORDS, "U": words, "E": over}


@dataclass(frozen=True, slots=True)
class Column(Generic[T]):
    """One column of a table."""

    key: str
    """Its name in CSV, and for a calculated figure the name of its explanation."""
    title: str
    width: int
    """Characters it wants on a screen."""
    text: Callable[[T], str]
    """What a person reads."""
    value: Callable[[T], Any]
    """What another program reads."""
    edits: str | None = None
    """The field of the document that typing here changes."""
    left: bool = False
    """Aligned to the left; figures stand to the right."""
    explains: bool = False
    """Whether it is calculated, so that it has an explanation."""


def _field(key: str, title: str, width: int, *, left: bool = False) -> Column[RowResult]:
    """Make a column that shows a field of the row as typed."""

    def text(result: RowResult) -> str:
        value = getattr(result.row, key)
        return "" if value is None else str(value)

    return Column(key, title, width, text, text, edits=key, left=left)


def _calculated(
    key: str, title: str, width: int, attribute: str, text: Callable[[float | None], str]
) -> Column[RowResult]:
    """Make a column that shows a figure of the sheet."""
    return Column(
        key,
        title,
        width,
        lambda result: text(getattr(result, attribute)),
        lambda result: getattr(result, attribute),
        explains=True,
    )


def reported(result: RowResult) -> str:
    """What is reported; for a row that reports nothing its figure or recovery, in words where it has none."""
    if result.void:
        return "void"
    if result.reported is not None:
        return result.reported
    if result.recovery_percent is not None and result.kind in CHECK_STANDARDS:
        return f"{result.recovery_percent:.1f} %"
    if result.result is not None:
        return f"({figure(result.result, 3)})"
    return ""


def state(result: RowResult) -> str:
    """The state of a row, or what became of its result."""
    word = "superseded" if result.superseded else result.state
    return f"FAIL {word}" if result.fails else word


def bracket(result: RowResult) -> str:
    """Mark a row among the blanks and checks: = one that passes, | closed on both sides, : still open, x held."""
    if result.void or result.state == "unread":
        return ""
    if result.state == "held":
        return "x"
    if result.kind in EVENTS:
        return "="
    return "|" if result.state == "accepted" else ":"


QUEUE: tuple[Column[RowResult], ...] = (
    _field("id", "id", 10, left=True),
    Column("bracket", "", 1, bracket, bracket, left=True),
    Column("kind", "kind", 4, lambda r: ABBREVIATIONS[r.kind], lambda r: r.kind, left=True),
    Column(
        "readings",
        "reading",
        11,
        lambda r: fillings(r.row),
        lambda r: readings(r.row.readings),
        edits="readings",
    ),
    Column("reported", "result", 8, reported, lambda r: r.reported, explains=True),
    Column("unit", "unit", 6, lambda r: r.unit or "", lambda r: r.unit, left=True),
    Column("flags", "flags", 5, lambda r: r.letters, lambda r: r.letters, left=True, explains=True),
    Column("state", "state", 13, state, state, left=True, explains=True),
    Column("at", "time", 5, lambda r: clock(r.row.at), lambda r: r.row.at and r.row.at.isoformat(), left=True),
    _field("amount", "amount", 7),
    _field("extract_ml", "extract mL", 10),
    _field("dilution", "dil.", 5),
    _calculated("drift", "baseline", 8, "drift", signal),
    _calculated("net", "net", 8, "net", signal),
    _calculated("extract", "mg/L extr.", 10, "extract", figure),
    _calculated("u_extract", "u(extr.)", 8, "u_extract", lambda v: figure(v, 3)),
    _calculated("factor", "factor", 8, "factor", lambda v: figure(v, 6)),
    _calculated("result", "unrounded", 9, "result", figure),
    _calculated("U", "+/-", 8, "expanded", lambda v: figure(v, 2)),
    _calculated("k", "k", 5, "coverage", lambda v: figure(v, 3)),
    _calculated("detection", "detection", 9, "detection", lambda v: figure(v, 3)),
    _calculated("reporting", "reporting", 9, "reporting", lambda v: figure(v, 3)),
    _calculated("recovery_percent", "rec. %", 7, "recovery_percent", one_decimal),
    _calculated("rpd_percent", "RPD %", 6, "rpd_percent", one_decimal),
    Column("advice", "advice", 10, lambda r: r.advice, lambda r: r.advice, left=True, explains=True),
    Column("sample", "sample", 10, lambda r: r.sample, lambda r: r.sample, edits="sample", left=True),
    Column("fraction", "fraction", 8, lambda r: "TPH" if r.row.silica_gel else "O&G", lambda r: r.fraction, left=True),
    Column("batch", "batch", 6, lambda r: r.batch or "", lambda r: r.batch, edits="batch", left=True),
    Column(
        "calibration",
        "calibration",
        11,
        lambda r: r.calibration.id if r.calibration else "",
        lambda r: r.calibration.id if r.calibration else None,
        edits="calibration",
        left=True,
    ),
    _field("expected", "expected", 8),
    _field("added_mg", "added mg", 8),
    _field("of", "parent", 8, left=True),
    _field("note", "note", 20, left=True),
)
"""The queue. The first columns are what an analyst watches; the rest scroll in behind the id."""

STANDARDS: tuple[Column[StandardResult], ...] = (
    Column("id", "id", 6, lambda s: s.standard.id, lambda s: s.standard.id, edits="id", left=True),
    Column("x", "mg/L", 6, lambda s: figure(s.x, 5), lambda s: s.x, edits="concentration", explains=True),
    Column(
        "readings",
        "reading",
        11,
        lambda s: fillings(s.standard),
        lambda s: readings(s.standard.readings),
        edits="readings",
    ),
    Column(
        "error_percent", "error %", 7, lambda s: one_decimal(s.error_percent), lambda s: s.error_percent, explains=True
    ),
    Column("used", "left out", 8, lambda s: "" if s.used else "left out", lambda s: s.used, left=True),
    Column("back", "read back", 9, lambda s: figure(s.on_curve), lambda s: s.on_curve, explains=True),
    Column("y", "net", 8, lambda s: signal(s.y), lambda s: s.y, explains=True),
    Column(
        "at",
        "time",
        5,
        lambda s: clock(s.standard.at),
        lambda s: s.standard.at and s.standard.at.isoformat(),
        left=True,
    ),
    Column("lot", "lot", 8, lambda s: s.standard.lot or "", lambda s: s.standard.lot, edits="lot", left=True),
    Column(
        "reason",
        "reason",
        20,
        lambda s: s.standard.reason or "",
        lambda s: s.standard.reason,
        edits="reason",
        left=True,
    ),
)


def setup_value(result: SetupResult) -> str:
    """The value of a setup check, without its unit; empty where there is none yet."""
    if result.value is not None and result.unit == "min":
        return passed(result.value)
    return beside(result.value, (result.limit,), 3)


SETUP: tuple[Column[SetupResult], ...] = (
    Column("check", "check", 12, lambda s: s.setup.check, lambda s: s.setup.check, left=True),
    Column(
        "readings",
        "reading",
        11,
        lambda s: clock(s.setup.started) if s.setup.check == "warm-up" else readings(s.setup.readings),
        lambda s: readings(s.setup.readings),
        edits="readings",
    ),
    Column("value", "value", 7, setup_value, lambda s: s.value, explains=True),
    Column("state", "verdict", 7, lambda s: s.state, lambda s: s.state, left=True),
    Column("limit", "limit", 7, lambda s: figure(s.limit, 3), lambda s: s.limit),
    Column("unit", "unit", 4, lambda s: s.unit, lambda s: s.unit, left=True),
    Column("at", "time", 5, lambda s: clock(s.setup.at or s.setup.started), lambda s: s.setup.at, left=True),
    Column("why", "why", 26, lambda s: s.why, lambda s: s.why, left=True),
)
