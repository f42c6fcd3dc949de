"""How far each result would move, had one thing been done otherwise.

Owns: the alternatives to a run, and what each does to the reported results. Invariant: an alternative differs from the
run in one thing and is computed by the same `evaluate`; the run itself is never changed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple, get_args

from runsheet.compute import calibration
from runsheet.compute.compare import at_most, below, equal
from runsheet.compute.sheet import evaluate
from runsheet.figures import figure, one_decimal, some
from runsheet.run.model import Drift, Model, Weighting, ZeroStandard
from runsheet.show import state

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from runsheet.compute.results import CalibrationResult, Finding, RowResult, Sheet, State, Verdict
    from runsheet.run.model import Calibration, Run

MOST = 40
"""Alternatives worked out at most; what failed is tried before what passed."""
WHY = "what if it were left out"
MODELS: tuple[tuple[Model, Weighting], ...] = (
    ("mean-factor", "1/x2"),
    *((model, weighting) for model in get_args(Model)[1:4] for weighting in get_args(Weighting)),
)
"""Every fit, once: the mean response factor has a weighting of its own (EPA SW-846 8000D)."""


class Change(NamedTuple):
    """One thing done otherwise."""

    what: str
    calibration: str
    """The id of the calibration whose curve tells about it."""
    run: Run


@dataclass(frozen=True, slots=True)
class Move:
    """How far one reported sample row moves."""

    id: str
    result: float | None
    other: float | None
    """The result it would have."""
    beyond: bool
    """Whether it moves by more than its U; False where there is no U."""
    flags: str
    """As they are printed, and those it would have."""
    other_flags: str
    crosses: bool
    """Whether one of the two is below its reporting limit and the other is not."""

    @property
    def difference(self) -> float | None:
        """The other result less the result; what only the last digits of a float differ by is no move."""
        if self.result is None or self.other is None:
            return None
        return 0.0 if equal(self.result, self.other) else self.other - self.result

    @property
    def percent(self) -> float | None:
        """The difference in percent of the result."""
        return self.difference / abs(self.result) * 100 if self.difference is not None and self.result else None

    @property
    def material(self) -> bool:
        """Whether a reader of the report would notice."""
        gone = (self.result is None) != (self.other is None)
        return self.beyond or gone or self.crosses or self.flags != self.other_flags


@dataclass(frozen=True, slots=True)
class Alternative:
    """A change and all it does."""

    what: str
    moves: tuple[Move, ...]
    without_u: bool
    """Whether a result has no U to judge its move by."""
    r: float | None
    rse_percent: float | None
    lowest_error_percent: float | None
    """Of the used preparations of the lowest level, the largest."""
    state: State
    """Of the whole run."""
    said: str
    """That state in words, with its numbers."""
    curve_state: Verdict


@dataclass(frozen=True, slots=True)
class Fit:
    """One model and weighting of a calibration."""

    calibration: str
    model: str
    weighting: str
    present: bool
    r: float | None
    rse_percent: float | None
    lowest_error_percent: float | None
    verdict: str


# --- the alternatives ---------------------------------------------------------------------------------------------


def alternatives(run: Run, now: datetime) -> list[Alternative]:
    """Work out what each single change would do, `MOST` at most; those that leave a curve unfitted are left out."""
    sheet = evaluate(run, now)
    found: list[Alternative] = []
    for change in _changes(sheet):
        if len(found) == MOST:
            break
        other = evaluate(change.run, now)
        curve = next(c for c in other.calibrations if c.id == change.calibration)
        if curve.curve is not None or curve.direct:
            found.append(_compared(change.what, sheet, other, curve))
    return found


def _changes(sheet: Sheet) -> Iterator[Change]:
    used = [c for c in sheet.calibrations if any(row.calibration is c for row in _reported(sheet))]
    used = used or list(sheet.calibrations[-1:])
    blanks = [row for row in sheet.rows if row.kind == "blank" and row.counted and row.calibration is not None]
    yield from (_without(row, sheet) for row in blanks if row.state == "held")
    for result in used:
        yield from _treated(result, sheet.run)
        yield from _ends(result, sheet.run)
        yield from _modelled(result, sheet.run)
    yield from (_without(row, sheet) for row in blanks if row.state != "held")


def _reported(sheet: Sheet) -> list[RowResult]:
    return [row for row in sheet.rows if row.kind == "sample" and row.counted and row.reports]


def _with(run: Run, old: Calibration, new: Calibration) -> Run:
    return replace(run, calibration=tuple(new if each is old else each for each in run.calibration))


def _modelled(result: CalibrationResult, run: Run) -> Iterator[Change]:
    for model, weighting in MODELS:
        if not result.direct and (model, weighting) != (result.calibration.model, result.weighting):
            yield Change(
                f"{result.id} as {_words(model, weighting)}", result.id, _fitted(result, run, model, weighting)
            )


def _fitted(result: CalibrationResult, run: Run, model: Model, weighting: Weighting) -> Run:
    kept = None if model == "mean-factor" else weighting
    return _with(run, result.calibration, replace(result.calibration, model=model, weighting=kept))


def _words(model: str, weighting: str) -> str:
    plain = model.replace("-", " ")
    return plain if model == "mean-factor" else f"{plain}, {'unweighted' if weighting == 'none' else weighting}"


def _treated(result: CalibrationResult, run: Run) -> Iterator[Change]:
    """The other treatments of drift, and of the zero where a zero standard was read."""
    made = result.calibration
    for drift in get_args(Drift):
        if drift != (made.drift or "last"):
            yield Change(f"{result.id} with drift {drift}", result.id, _with(run, made, replace(made, drift=drift)))
    zeros = any(s.used and s.x == 0 and s.y is not None for s in result.standards)
    for zero in get_args(ZeroStandard) if zeros and not result.direct else ():
        if zero != (made.zero_standard or "subtract"):
            other = _with(run, made, replace(made, zero_standard=zero))
            yield Change(f"{result.id} with its zero standard: {zero}", result.id, other)


def _ends(result: CalibrationResult, run: Run) -> Iterator[Change]:
    """The curve without its lowest and without its highest level; only the ends may go (EPA SW-846 8000D)."""
    if result.low is None or result.high is None or result.levels < 2:
        return
    for level in (result.low, result.high):
        ids = {s.standard.id for s in result.standards if s.used and s.x > 0 and equal(s.x, level)}
        standards = (replace(s, use=False, reason=WHY) if s.id in ids else s for s in run.standard)
        what = f"{result.id} without its level of {figure(level)} mg/L"
        yield Change(what, result.id, replace(run, standard=tuple(standards)))


def _without(row: RowResult, sheet: Sheet) -> Change:
    queue = (replace(each, void=WHY) if each is row.row else each for each in sheet.run.queue)
    curve = row.calibration.id if row.calibration else ""
    return Change(f"without blank {row.id}", curve, replace(sheet.run, queue=tuple(queue)))


def _compared(what: str, sheet: Sheet, other: Sheet, curve: CalibrationResult) -> Alternative:
    there = {row.id: row for row in other.rows}
    pairs = [(row, there[row.id]) for row in _reported(sheet)]
    return Alternative(
        what,
        tuple(_move(row, changed) for row, changed in pairs),
        any(row.result is not None and not row.expanded for row, _ in pairs),
        curve.curve.r if curve.curve else None,
        curve.rse_percent,
        _lowest_error(curve),
        other.state,
        state.short(other),
        curve.state,
    )


def _move(row: RowResult, other: RowResult) -> Move:
    both = row.result is not None and other.result is not None
    by = abs((other.result or 0.0) - (row.result or 0.0)) if both else 0.0
    beyond = not at_most(by, row.expanded) if row.expanded else False
    crosses = both and _under(row) != _under(other)
    return Move(row.id, row.result, other.result, beyond, row.letters, other.letters, crosses)


def _under(row: RowResult) -> bool:
    return row.reporting is not None and row.result is not None and below(row.result, row.reporting)


def _lowest_error(result: CalibrationResult) -> float | None:
    errors = [
        s.error_percent
        for s in result.standards
        if s.used and result.low is not None and equal(s.x, result.low) and s.error_percent is not None
    ]
    return max(errors, key=abs, default=None)


# --- findings -----------------------------------------------------------------------------------------------------


def of_findings(sheet: Sheet) -> list[str]:
    """What each failing finding affects, and by how much those results would move without what it names.

    Only a blank or a standard enters a figure: what else fails is a verdict, and no result moves with it.
    """
    return [f"{f.rule} {some(f.rows, 3)}: {effect(f, sheet)}" for f in sheet.quality if f.state == "fail"]


def effect(finding: Finding, sheet: Sheet) -> str:
    """What a failing finding affects, and how far results would move without the blanks or standards it names."""
    if not finding.affects:
        return "affects no reported result"
    many = f"affects {len(finding.affects)}: {some(finding.affects, 4)}"
    other = _without_named(finding, sheet)
    if other is None:
        rows = {row.id for row in sheet.rows}
        curves = [c.id for c in sheet.calibrations if c.id in finding.rows and c.id not in rows]
        return f"{many}; {f'computed from {some(curves)}' if curves else 'a verdict, no figure hangs on it'}"
    there = {row.id: row for row in evaluate(other, sheet.now).rows}
    hanging = [row for row in sheet.rows if row.id in finding.affects or (row.for_client and row.result is not None)]
    moves = [_move(row, there[row.id]) for row in hanging]  # also what is not held and subtracts what a blank left
    if any(move.difference is None for move in moves):
        return f"{many}; without it not every one has a result"
    if not any(move.difference for move in moves):
        return f"{many}; without it none moves"
    largest = max(moves, key=lambda move: (abs(move.percent or 0), abs(move.difference or 0)))
    by = figure(abs(largest.difference or 0), 2) if largest.percent is None else f"{figure(abs(largest.percent), 2)} %"
    return f"{many}; without it {largest.id} moves most, by {by}{_beside_u(largest, moves, hanging)}"


def _beside_u(largest: Move, moves: list[Move], rows: list[RowResult]) -> str:
    """Whether the largest move, else another, is beyond its U; nothing of a U that is not there."""
    if largest.beyond:
        return ", beyond its U"
    if others := [move.id for move in moves if move.beyond]:
        return f", and {some(others, 4)} beyond {'its' if len(others) == 1 else 'their'} U"
    return "" if any(not row.expanded for row in rows) else ", within its U"


def _without_named(finding: Finding, sheet: Sheet) -> Run | None:
    """The run without the blanks and standards a finding names; None where it names none."""
    blanks = {row.id for row in sheet.rows if row.kind == "blank" and row.id in finding.rows and not row.void}
    standards = {standard.id for standard in sheet.run.standard if standard.id in finding.rows}
    if not blanks and not standards:
        return None
    queue = tuple(replace(row, void=WHY) if row.id in blanks else row for row in sheet.run.queue)
    kept = tuple(replace(s, use=False, reason=WHY) if s.id in standards else s for s in sheet.run.standard)
    return replace(sheet.run, queue=queue, standard=kept)


# --- models side by side ------------------------------------------------------------------------------------------


def compare_models(run: Run, now: datetime) -> list[Fit]:
    """Fit every model and weighting to each calibration's standards and judge it by the method's limits.

    `now` is taken as everywhere else; a calibration does not depend on it.
    """
    del now
    fits = []
    for result in calibration.judge(run):
        for model, weighting in () if result.direct else MODELS:
            other = next(c for c in calibration.judge(_fitted(result, run, model, weighting)) if c.id == result.id)
            fits.append(_fit(other, present=(model, weighting) == (result.calibration.model, result.weighting)))
    return fits


def _fit(made: CalibrationResult, *, present: bool) -> Fit:
    verdict = "; ".join(made.todos or made.fails) or "passes"
    verdict = "; ".join([verdict, *made.warns])
    r = made.curve.r if made.curve else None
    error = _lowest_error(made)
    return Fit(made.id, made.calibration.model, made.weighting, present, r, made.rse_percent, error, verdict)


def table(run: Run, now: datetime) -> list[str]:
    """The comparison of models in lines; the present one is marked."""
    fits = compare_models(run, now)
    if not fits:
        return ["there is no curve to fit"]
    lines = [f"  {'':4} {'model':30} {'r':>8} {'RSE %':>6} {'lowest %':>8}  verdict"]
    for fit in fits:
        r = "" if fit.r is None else f"{fit.r:.5f}"
        figures = f"{r:>8} {one_decimal(fit.rse_percent):>6} {one_decimal(fit.lowest_error_percent):>8}"
        mark = "*" if fit.present else " "
        lines.append(f"{mark} {fit.calibration:4} {_words(fit.model, fit.weighting):30} {figures}  {fit.verdict}")
    return [*lines, "* is how the run has it; lowest % is the error at the lowest level"]


# --- in words -----------------------------------------------------------------------------------------------------


def material(alternative: Alternative) -> str:
    """Say in one sentence whether the change matters to what is reported."""
    moves = alternative.moves
    if not moves:
        return "no result is reported yet"
    beyond = [move for move in moves if move.beyond]
    if beyond:
        move, its = ("moves", "its") if len(beyond) == 1 else ("move", "their")
        many = f"{len(beyond)} of {len(moves)} results {move} by more than {its} U"
        return f"matters: {many}, most {_most(beyond)}"
    if other := [move for move in moves if move.material]:
        return f"matters: none moves beyond its U, but {', '.join(map(_noticed, other))}"
    if not any(move.difference for move in moves):
        return "no matter: no result moves"
    largest = max((abs(move.percent) for move in moves if move.percent is not None), default=None)
    by = "" if largest is None else f" by more than {_bound(largest)} %"
    if alternative.without_u:
        return f"not judged: no result moves{by}, but not every result has a U"
    return f"no matter: no result moves{by} and none beyond its U"


def _bound(percent: float) -> str:
    """Write a percentage with two digits, rounded up so that what is said of it holds."""
    if not percent:
        return "0"
    unit = 10.0 ** (math.floor(math.log10(percent)) - 1)
    return figure(math.ceil(percent / unit) * unit, 2) if unit else figure(percent, 2)


def _most(moves: list[Move]) -> str:
    first = max(moves, key=lambda move: abs(move.percent or 0))
    return first.id if first.percent is None else f"{first.id} by {figure(abs(first.percent), 2)} %"


def _noticed(move: Move) -> str:
    if (move.result is None) != (move.other is None):
        return f"{move.id} {'loses its' if move.other is None else 'gets a'} result"
    if move.flags != move.other_flags:
        return f"{move.id} goes from {move.flags or 'no flag'} to {move.other_flags or 'no flag'}"
    return f"{move.id} crosses its reporting limit"


def lines(alternative: Alternative) -> list[str]:
    """Say in lines what becomes of the curve, of the run and of every result."""
    r = "" if alternative.r is None else f"r {alternative.r:.5f}, "
    parts = (("RSE", alternative.rse_percent), ("error at the lowest level", alternative.lowest_error_percent))
    said = [f"{words} {one_decimal(value)} %, " for words, value in parts if value is not None]
    curve = f"the curve {r}{''.join(said)}{alternative.curve_state}; the run: {alternative.said}"
    head = f"{'id':10} {'result':>9} {'instead':>9} {'moves':>9} {'%':>7}"
    return [material(alternative), curve, head, *map(_line, alternative.moves)]


def _line(move: Move) -> str:
    figures = f"{figure(move.result):>9} {figure(move.other):>9} {figure(move.difference, 3):>9}"
    notes = ["beyond U"] if move.beyond else []
    notes += [_noticed(move)] if move.material and not (move.beyond and move.flags == move.other_flags) else []
    return f"{move.id:10} {figures} {one_decimal(move.percent):>7}  {', '.join(notes)}".rstrip()
