"""What a result stands on: its curve, the events around it, the quality control of its batch, each with its verdict.

Owns: the list behind one result, as data, for a page of the screen, the report, JSON and a recall. Invariant: verdicts
are those of the findings; what a result should stand on and does not is said, never left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

from runsheet.compute.readings import as_left
from runsheet.compute.rules import BY_NAME
from runsheet.compute.rules.receipt import unpreserved
from runsheet.figures import beside, some
from runsheet.run.kinds import ABBREVIATIONS, CONTROLS, EVENTS, SPIKES, WITH_PARENT, WORDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import CalibrationResult, Finding, RowResult, Sheet
    from runsheet.run.kinds import Event
    from runsheet.run.model import Batch, Run


Role = Literal[
    "calibration", "second-source", "before", "after", "method-blank", "control", "duplicate", "spike", "study"
]
"""What a thing is to the result."""


RPD = "% RPD"


class Support(NamedTuple):
    """One thing a result stands on."""

    role: Role
    what: str
    """In words, as `blank before`."""
    ids: tuple[str, ...]
    """Of the rows, or of the calibration; empty where there is none."""
    value: float | None
    unit: str
    verdict: str
    """pass, warn, fail, todo, or "not judged"; "none" where there is nothing to stand on."""
    note: str = ""
    lot: str = ""
    limits: tuple[float | None, ...] = ()
    """Of the value, which is told with as many digits as it takes to see on which side of them it is."""

    @property
    def short(self) -> str:
        """It for a table: its id first, value and verdict."""
        if self.verdict == "none":
            name = self.what.removesuffix(" before").removesuffix(" after")
            missing = f"no {name.partition('(')[2].rstrip(')') or name}"
            return f"{missing} here, {self.note}" if self.note else missing
        return " ".join(filter(None, (*self.ids, self.measured, self.verdict)))

    @property
    def measured(self) -> str:
        """Its value with its unit."""
        if self.value is None:
            return "RPD" if self.unit == RPD else ""
        return f"r {self.value:.6f}" if self.unit == "r" else f"{beside(self.value, self.limits)} {self.unit}".rstrip()

    @property
    def words(self) -> str:
        """It in a line."""
        value = f" {self.measured}".rstrip()
        lot = f", lot {self.lot}" if self.lot else ""
        note = f": {self.note}" if self.note else ""
        if self.verdict == "none":
            return f"{self.what}: none{note}"
        named = f" {' '.join(self.ids)}" if self.ids else ""
        return f"{self.what}:{named}{value}{lot}, {self.verdict}{note}"


def supports(row: RowResult, sheet: Sheet) -> tuple[Support, ...]:
    """Everything the result of a row stands on, in the order of a day."""
    if row.void or not row.counted:
        return ()
    by_row: dict[str, list[Finding]] = {}
    for finding in sheet.quality:
        for name in finding.rows:
            by_row.setdefault(name, []).append(finding)
    return (*_curve(row, sheet, by_row), *_around(row, sheet, by_row), *_of_batch(row, sheet, by_row), *_study(sheet))


class Standing(NamedTuple):
    """What one of the client's results stands on, and what follows."""

    row: RowResult
    supports: tuple[Support, ...]
    analyst: str
    """Who read it and who extracted it; empty where neither is given."""
    lots: tuple[tuple[str, str], ...]
    """Of what, and the lot."""
    qualifier: str
    """The letters printed at it."""
    findings: tuple[Finding, ...]
    """Those that fail or warn and affect it."""


def standings(sheet: Sheet) -> tuple[Standing, ...]:
    """What each of the client's results stands on, in the order of analysis."""
    return tuple(standing(row, sheet) for row in sheet.rows if row.for_client)


def standing(row: RowResult, sheet: Sheet) -> Standing:
    """What the result of a row stands on."""
    affecting = tuple(finding for finding in sheet.quality if row.id in (finding.affects or ()))
    found = supports(row, sheet)
    return Standing(row, found, _analyst(row, sheet.run), tuple(_lots(row, found, sheet.run)), row.letters, affecting)


def _batch_of(row: RowResult, run: Run) -> Batch | None:
    return next((batch for batch in run.batch if batch.id == row.batch), None)


def _analyst(row: RowResult, run: Run) -> str:
    batch = _batch_of(row, run)
    reader, extractor = row.row.analyst or run.run.analyst, batch.analyst if batch else None
    if extractor and extractor != reader:
        return "; ".join(filter(None, (reader and f"read by {reader}", f"extracted by {extractor}")))
    return reader or ""


def _lots(row: RowResult, found: tuple[Support, ...], run: Run) -> Iterator[tuple[str, str]]:
    """Every lot that enters a result: solvent and what the extraction took, standards, what verified and checked.

    Oil and grease is the whole extract: the silica gel of its batch has met the other fraction only.
    """
    batch = _batch_of(row, run)
    if (lot := (batch and batch.solvent_lot) or run.solvent.lot) is not None:
        yield "solvent", lot
    for name in ("acid", *(["silica_gel"] if row.fraction == "petroleum" else []), "drying_agent"):
        if batch is not None and (lot := getattr(batch, f"{name}_lot")):
            yield name.replace("_", " "), lot
    words = {"calibration": "standards", "second-source": "second source"}
    seen = {(words.get(each.role, " ".join(each.ids)), each.lot): None for each in found if each.lot}
    yield from seen


def lines(row: RowResult, sheet: Sheet) -> list[str]:
    """What a row stands on in lines, and what affects it, or of what is no reported result, what names it."""
    found = [support.words for support in supports(row, sheet)]
    raised = [finding for finding in sheet.quality if finding.state in ("fail", "warn")]
    about = [f for f in raised if row.id in ((f.affects or ()) if row.for_client else f.rows)]
    told = [f"{f.state}: {f.rule} {some(f.rows, 4)}: {f.why}".replace("  ", " ") for f in about]
    if row.for_client:
        return [*found, "", "Findings that affect it:" if told else "No finding affects it.", *told]
    return [*found, "", "Findings that name it:" if told else "No finding names it.", *told]


def _verdict(findings: list[Finding], *rules: str) -> Finding | None:
    """The verdict of some rules on a row, which of a pair is the second; the worst one counts."""
    worst = {"fail": 0, "warn": 1, "todo": 2, "pass": 3}
    return min((f for f in findings if f.rule in rules), key=lambda f: worst[f.state], default=None)


def _curve(row: RowResult, sheet: Sheet, by_row: dict[str, list[Finding]]) -> Iterator[Support]:
    calibration = row.calibration
    if calibration is None:
        yield Support("calibration", "calibration", (), None, "", "none")
        return
    why = "; ".join([*calibration.todos, *calibration.fails, *calibration.warns])
    lots = sorted({s.standard.lot for s in calibration.standards if s.used and s.standard.lot})
    r = None if calibration.curve is None else calibration.curve.r
    verdict = "warn" if calibration.state == "pass" and calibration.warns else calibration.state
    yield Support("calibration", "calibration", (calibration.id,), r, "r", verdict, why, ", ".join(lots))
    yield from _second_source(calibration, sheet, by_row)


def _second_source(calibration: CalibrationResult, sheet: Sheet, by_row: dict[str, list[Finding]]) -> Iterator[Support]:
    read = [r for r in sheet.rows if r.kind == "second-source" and r.counted and r.calibration is calibration]
    for each in read:
        made = _judged(Support("second-source", "second source", (each.id,), each.recovery_percent, "%", "not judged"),
                       _verdict(by_row.get(each.id, []), "second-source"))  # fmt: skip
        yield made._replace(lot=each.row.lot or "")
    if not read:
        elsewhere = calibration.calibration.verified
        yield Support(
            "second-source", "second source", (), None, "", "none", f"verified: {elsewhere}" if elsewhere else ""
        )


def _around(row: RowResult, sheet: Sheet, by_row: dict[str, list[Finding]]) -> Iterator[Support]:
    """The nearest blank and check before and after it, each by the side it turns to the row.

    A blank before it that was re-zeroed has what it was left at: what it was found at is of the rows before it.
    """
    sides: tuple[tuple[Literal["before", "after"], dict[Event, RowResult]], ...]
    sides = (("before", row.before), ("after", row.after))
    for side, events in sides:
        for kind in EVENTS:
            event = events.get(kind)
            if event is None:
                yield Support(side, f"{WORDS[kind]} {side}", (), None, "", "none")
                continue
            good = event.left_good if side == "before" else event.found_good
            value, unit = (event.net, "A") if kind == "blank" else (event.recovery_percent, "%")
            rezeroed = side == "before" and bool(event.row.rezeroed)
            if rezeroed:
                value = as_left(event, sheet.run.instrument.reads)
            if kind == "blank" and event.calibration is not None and event.calibration.direct:
                unit = "mg/L of extract"
            found = _verdict(by_row.get(event.id, []), kind)
            unjudged = found is not None and found.state == "warn"
            why = found.why if found is not None and (unjudged or not good) else "re-zeroed" if rezeroed else ""
            verdict = "fail" if not good else "not judged" if unjudged else "pass"
            limits = (found.low, found.high) if found is not None else ()
            lot = event.row.lot or ""
            yield Support(side, f"{WORDS[kind]} {side}", (event.id,), value, unit, verdict, why, lot, limits)


def _of_batch(row: RowResult, sheet: Sheet, by_row: dict[str, list[Finding]]) -> Iterator[Support]:
    group = [r for r in sheet.rows if not r.void and r.counted and (r.batch, r.fraction) == (row.batch, row.fraction)]
    for role, kinds, rules, of_pair in _OF_BATCH:
        rows = [each for each in group if each.kind in kinds]
        if not rows:
            yield Support(role, WORDS[kinds[0]], (), None, "", "none")
        for each in rows:
            judged = [finding for finding in by_row.get(each.id, []) if finding.rows[-1] == each.id]
            own = " of it" if each.kind in WITH_PARENT and each.row.of == row.sample else ""
            what = f"{WORDS[each.kind]}{own}" if ABBREVIATIONS[each.kind] else each.kind
            plain = Support(role, what, (each.id,), *_figure(each), "not judged", lot=each.row.lot or "")
            yield _judged(plain, _verdict(judged, *rules))
            if (pair := _verdict(judged, of_pair)) is not None:
                yield _judged(plain._replace(value=None, unit=RPD), pair)


def _judged(plain: Support, finding: Finding | None) -> Support:
    """A support by the verdict on it: with the figure that was judged, where that is another than its own."""
    if finding is None:
        return plain
    made = plain._replace(verdict=finding.state, note=finding.why, limits=(finding.low, finding.high))
    if finding.value is None:
        return made
    if plain.unit != RPD:
        return made._replace(value=finding.value)
    return made._replace(value=finding.value, unit=RPD if finding.unit == "%" else f"{finding.unit} difference")


_OF_BATCH: tuple[tuple[Role, tuple[str, ...], tuple[str, ...], str], ...] = (
    ("method-blank", ("method-blank",), ("method-blank", "negative"), ""),
    ("control", CONTROLS, ("control",), "control-pair"),
    ("duplicate", ("duplicate",), ("duplicate",), ""),
    ("spike", SPIKES, ("spike",), "spike-pair"),
)
"""The quality control of a batch: what it is to a result, its kinds, the rules that judge its figure, that of pairs."""


def _figure(row: RowResult) -> tuple[float | None, str]:
    if row.kind == "method-blank":
        return row.result, row.unit or ""
    return (row.rpd_percent, RPD) if row.kind == "duplicate" else (row.recovery_percent, "%")


def _study(sheet: Sheet) -> Iterator[Support]:
    """The detection study of the method, and whether it is this run's."""
    limits = sheet.run.method.limits
    if limits is None or limits.detection is None:
        return
    places = (
        limits.studied_instrument,
        limits.studied_cell_mm and f"{limits.studied_cell_mm} mm",
        limits.studied_solvent,
    )
    told = [str(place) for place in places if place] or ["instrument, cell and solvent not given"]
    said = ", ".join([str(limits.studied or "no date"), *told])
    warned = [f.why for f in sheet.quality if f.rule == "reporting-limit" and not f.rows]
    verdict = "warn" if warned else "not judged" if limits.studied is None else "pass"
    unit = sheet.run.method.unit
    yield Support("study", "detection study", (), float(limits.detection), unit, verdict, "; ".join([said, *warned]))


def reasons(row: RowResult, sheet: Sheet, flag: str) -> list[str]:
    """Why a row carries a flag that rules give: the findings behind it."""
    if flag == "Q":
        failing = [f for f in sheet.quality if f.state == "fail" and _gives(f, row, "Q")]
        held = (
            [f"held by {' and '.join(e.id for e in row.holders) or 'its calibration'}"] if row.state == "held" else []
        )
        last = row.state == "open" and all(other.state != "unread" for other in sheet.rows)
        open_ = ["nothing closes it, and nothing is left to read"] if last else []
        return [*(f"{f.rule} {some(f.rows, 3)}: {f.why}" for f in failing), *held, *open_]
    rules = {"H": ("holding", row.id), "Y": ("receipt", row.sample)}
    if flag not in rules:
        return []
    rule, name = rules[flag]
    given = [f for f in sheet.quality if f.rule == rule and name in f.rows and _marks(f, flag)]
    return [f"{f.rule} {name}: {f.why}" for f in given]


def _marks(finding: Finding, flag: str) -> bool:
    """Whether a finding of holding or receipt gives its flag to what it names."""
    return finding.state == "fail" if flag == "H" else bool(unpreserved((finding,)))


def _gives(finding: Finding, row: RowResult, flag: str) -> bool:
    rule = BY_NAME.get(finding.rule)
    own = finding.rule == "over-range" and row.id in finding.rows
    return row.id in (finding.affects or ()) and (rule is None or rule.flag == flag) and not own
