"""What one run gives to the history.

Owns: which figures are charted, and which results count in a study. Invariant: pure; nothing is judged
here, the figures and limits are the sheet's. A figure that does not count is kept with a mark, never dropped.

A history evaluates a run as of its latest reading, so that the same document gives the same figures. A run in two
documents is charted once: the one with the latest reading, else the first by path.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from runsheet.compute.compare import finite, optional, quiet
from runsheet.compute.rules import recovery
from runsheet.compute.rules.batch import rpd_says_nothing
from runsheet.compute.sheet import evaluate
from runsheet.history.rows import (
    PROCEDURE,
    SERIES,
    TABLES,
    IssuedRow,
    LotRow,
    NamesRow,
    PointRow,
    ResultRow,
    RunRow,
    StandsRow,
    StudyRow,
)
from runsheet.run.kinds import CHECK_STANDARDS, STUDIED
from runsheet.show import client_results, stands_on, state

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from runsheet.compute.results import CalibrationResult, RowResult, Sheet
    from runsheet.run.model import Row, Run, Standard
    from runsheet.show.stands_on import Standing


@dataclass(frozen=True, slots=True)
class Facts:
    """The rows one document gives to each table."""

    run: RunRow
    points: tuple[PointRow, ...] = ()
    studies: tuple[StudyRow, ...] = ()
    results: tuple[ResultRow, ...] = ()
    lots: tuple[LotRow, ...] = ()
    stands: tuple[StandsRow, ...] = ()
    issued: tuple[IssuedRow, ...] = ()
    names: tuple[NamesRow, ...] = ()

    @property
    def tables(self) -> dict[str, Sequence[Any]]:
        """The rows by the names of the tables, in their order."""
        rows = (self.run,), self.points, self.studies, self.results, self.lots, self.stands, self.issued, self.names
        return dict(zip(TABLES, rows, strict=True))


def facts(path: str, stamp: str, run: Run) -> Facts:
    """Take a run's rows. It is computed as of its latest reading, so that the same document gives the same rows."""
    last = latest(run)
    sheet = evaluate(run, last)
    results, lots = tuple(_results(path, sheet)), tuple(_lots(path, sheet))
    stands = tuple(_stands(path, sheet)) if run.issued else ()
    known = dated(run)
    return Facts(
        _run(path, stamp, sheet, moment(last) if known else ""),
        tuple(points(path, sheet)) if known else (),
        tuple(studies(path, sheet)) if known else (),
        results,
        lots,
        stands,
        tuple(_issued(path, sheet)),
        (_names(path, results, lots, stands),),
    )


UNDATED = datetime(2000, 1, 1, tzinfo=UTC)
"""As of when a run without any time is computed. It is told nowhere: no chart and no study has its figures."""


def latest(run: Run) -> datetime:
    """The time of a run's latest reading, else of its opening."""
    return max([*times(run), *([run.run.opened] if run.run.opened else [])], default=UNDATED)


def dated(run: Run) -> bool:
    """Whether any time of the run is known."""
    return run.run.opened is not None or bool(times(run))


def times(run: Run) -> list[datetime]:
    """The times of all readings that have one."""
    dated: tuple[Standard | Row, ...] = (*run.standard, *run.queue)
    return [row.at for row in dated if row.at is not None]


def moment(at: datetime | None) -> str:
    """Write a time in UTC, so that texts sort as times do."""
    if at is None:
        return ""
    try:
        return at.astimezone(UTC).isoformat()
    except OverflowError:  # on the last or first day of the calendar: the day as written will do
        return at.replace(tzinfo=UTC).isoformat()


def _iso(at: datetime | None) -> str:
    return "" if at is None else at.isoformat()


def _run(path: str, stamp: str, sheet: Sheet, last: str) -> RunRow:
    run, about = sheet.run, sheet.run.run
    return RunRow(
        path,
        stamp,
        "",
        about.id,
        about.title or "",
        run.method.name or "",
        about.analyst or "",
        instrument(run),
        run.solvent.name or "",
        _iso(about.opened),
        last,
        _iso(max(times(run), default=None)),
        len(run.queue),
        sheet.state,
        state.words(sheet),
    )


def instrument(run: Run) -> str:
    """Name the photometer, by its serial number where it has one."""
    return " ".join(filter(None, (run.instrument.name, run.instrument.serial)))


# --- charts -----------------------------------------------------------------------------------------------------


def points(path: str, sheet: Sheet) -> Iterator[PointRow]:
    """The figures of a sheet that are charted, in the order of analysis."""
    for result in sheet.calibrations:
        yield from _curve(path, sheet, result)
    judged = (f for f in sheet.quality if f.rows and (f.rule != "duplicate" or f.unit == "%"))  # its RPD is charted
    limits = {(f.rule, f.rows[-1]): (f.low, f.high) for f in judged}
    for row in sheet.rows:
        what = row.kind if row.kind == "duplicate" else row.kind.removesuffix("-duplicate")
        if what in SERIES and row.counted:
            yield from _point(path, sheet, row, what, _charted(row, what), limits.get((what, row.id), (None, None)))
    rows = {row.id: row for row in sheet.rows}
    for finding in sheet.quality:
        if finding.rule == "replicates" and finding.rows[0] in rows:
            row, limits_of_row = rows[finding.rows[0]], (finding.low, finding.high)
            yield from _point(path, sheet, row, "replicates", finding.value, limits_of_row, finding.unit)


def _charted(row: RowResult, what: str) -> float | None:
    return {"blank": row.net, "duplicate": row.rpd_percent, "method-blank": row.result}.get(what, row.recovery_percent)


def _point(
    path: str,
    sheet: Sheet,
    row: RowResult,
    what: str,
    value: float | None,
    limits: tuple[float | None, float | None],
    unit: str = "%",
) -> Iterator[PointRow]:
    if finite(value) is None or value is None:
        return
    procedure = what in PROCEDURE  # of the whole procedure, so of a fraction; the others of the curve
    direct = row.calibration is not None and row.calibration.direct
    units = {"blank": "mg/L of extract" if direct else "A", "method-blank": row.unit or ""}
    yield PointRow(
        row=row.id,
        what=what,
        fraction=row.fraction if procedure else "",
        model="",
        unit=units.get(what, unit),
        value=quiet(value),
        low=limits[0],
        high=limits[1],
        lot=row.row.lot or "",
        counts=int(not procedure or not (_left_out(row) or _says_nothing(row, what))),  # a check is charted as found
        analyst=row.row.analyst or sheet.run.run.analyst or "",
        **_where(path, sheet, row.calibration, pooled=procedure),
        **_times(row.row.at, sheet.run),
    )


def _says_nothing(row: RowResult, what: str) -> bool:
    """Whether the rule about a row takes its figure for no verdict: in a mean or a spread it would be one."""
    if what == "duplicate":
        return rpd_says_nothing(row)
    return what in ("control", "spike") and bool(recovery.says_nothing(row))


def _curve(path: str, sheet: Sheet, result: CalibrationResult) -> Iterator[PointRow]:
    """Slope and error at the lowest level of a calibration that is finished."""
    if result.state == "todo" or result.finished is None:
        return
    for what, unit, value, limit in (("slope", "A per mg/L", _slope(result), None), _lowest(result, sheet)):
        if finite(value) is not None and value is not None:
            yield PointRow(
                row=result.id,
                what=what,
                fraction="",
                model=f"{result.calibration.model} {result.weighting}",
                unit=unit,
                value=quiet(value),
                low=None if limit is None else -limit,
                high=limit,
                lot="",
                counts=1,
                analyst=sheet.run.run.analyst or "",
                **_where(path, sheet, result),
                **_times(result.finished, sheet.run),
            )


def _slope(result: CalibrationResult) -> float | None:
    """The slope at the middle of the range."""
    return None if result.curve is None or result.middle is None else result.curve.slope(result.middle)


def _lowest(result: CalibrationResult, sheet: Sheet) -> tuple[str, str, float | None, float | None]:
    """The error at the lowest level used, and its limit."""
    used = [standard for standard in result.standards if standard.used and standard.x > 0]
    lowest = min(used, key=lambda standard: standard.x, default=None)
    limits = sheet.run.method.calibration
    limit = optional(limits.lowest_error_percent or limits.level_error_percent) if limits else None
    return "lowest-level", "%", lowest.error_percent if lowest else None, limit


def _where(path: str, sheet: Sheet, curve: CalibrationResult | None, *, pooled: bool = False) -> dict[str, str]:
    """What two figures must share to be compared, the document, and what they were read with."""
    run = sheet.run
    cell = None if curve is None else curve.calibration.cell_mm
    shared = {
        "instrument": instrument(run),
        "cell": "" if cell is None else f"{float(cell):g}",
        "solvent": run.solvent.name or "",
    }
    width = f"{shared['cell']} mm" if shared["cell"] else ""
    setting = ", ".join(filter(None, (shared["instrument"], width, shared["solvent"])))
    chart = dict.fromkeys(shared, "") if pooled else shared
    return {"path": path, "method": run.method.name or "", "setting": setting, **chart}


def _times(at: datetime | None, run: Run) -> dict[str, str]:
    """A time as written and in UTC; what has none counts as read with the run's latest reading."""
    known = at or latest(run)
    return {"at": _iso(known), "moment": moment(known)}


def _studied_with(path: str, sheet: Sheet, curve: CalibrationResult | None) -> dict[str, str]:
    """As `_where`, for a study, which is always of one photometer."""
    return {name: value for name, value in _where(path, sheet, curve).items() if name != "setting"}


# --- studies ----------------------------------------------------------------------------------------------------


def studies(path: str, sheet: Sheet) -> Iterator[StudyRow]:
    """The results of a sheet that are of a study or a demonstration."""
    run, limits = sheet.run, sheet.run.method.limits
    for row in sheet.rows:
        if row.kind not in STUDIED or not row.counted:
            continue
        mass = row.amounts.mass_factor if row.amounts else None
        added = optional(row.row.added_mg)
        yield StudyRow(
            row=row.id,
            kind=row.kind,
            fraction=row.fraction,
            unit=row.unit or "",
            batch=row.batch or "",
            analyst=row.row.analyst or run.run.analyst or "",
            value=finite(row.result),
            spiked=None if added is None or not mass else finite(added / mass),
            recovery=finite(row.recovery_percent),
            detection=optional(limits.detection) if limits else None,
            studied=limits.studied.isoformat() if limits and limits.studied else "",
            left_out=_left_out(row),
            **_studied_with(path, sheet, row.calibration),
            **_times(row.row.at, run),
        )


def _left_out(row: RowResult) -> str:
    """Say why a result is not for a study: only what stands on a good calibration and good brackets is.

    Of a demonstration its recovery besides says something.
    """
    if row.row.report is False:
        return f"superseded: {row.row.reason or 'no reason given'}"
    if row.kind == "capability" and (why := recovery.says_nothing(row)):
        return why
    return "held: a calibration, blank or check standard about it failed" if row.state == "held" else ""


# --- searching --------------------------------------------------------------------------------------------------


def _results(path: str, sheet: Sheet) -> Iterator[ResultRow]:
    samples = {sample.id: sample for sample in sheet.run.sample}
    for row in sheet.rows:
        sample = samples.get(row.sample)
        yield ResultRow(
            path=path,
            row=row.id,
            kind=row.kind,
            sample=row.sample,
            client_id=(sample.client_id if sample else None) or "",
            site=(sample.site if sample else None) or "",
            fraction=row.fraction,
            batch=row.batch or "",
            calibration=row.calibration.id if row.calibration else "",
            at=_iso(row.row.at),
            result=finite(row.result),
            unit=row.unit or "",
            basis=client_results.basis(row),
            reported=row.reported or "",
            flags=row.letters,
            state="superseded" if row.counted and row.superseded else row.state,
        )


def _lots(path: str, sheet: Sheet) -> Iterator[LotRow]:
    """Every lot number a run holds, and what of the run hangs on it."""
    run = sheet.run
    if run.solvent.lot:
        yield LotRow(path, run.solvent.lot, "solvent", "", "", "")
    for result in sheet.calibrations:
        yield from _lots_of_curve(path, result)
    for batch in run.batch:
        for what in ("solvent", "acid", "silica_gel", "drying_agent"):
            if lot := getattr(batch, f"{what}_lot"):
                yield LotRow(path, lot, what.replace("_", " "), batch.id, "", batch.id)
    for row in sheet.rows:
        if row.row.lot:  # a check that was read verifies the results of its calibration; a control's lot is its own
            verifies = row.kind in CHECK_STANDARDS and row.counted and not row.void
            curve = row.calibration.id if row.calibration and verifies else ""
            yield LotRow(path, row.row.lot, row.kind, row.id, curve, "")


def _lots_of_curve(path: str, result: CalibrationResult) -> Iterator[LotRow]:
    if result.calibration.solvent_lot:
        yield LotRow(path, result.calibration.solvent_lot, "standards' solvent", result.id, result.id, "")
    for standard in result.standards:
        if standard.standard.lot:  # nothing hangs on a standard that was left out
            hangs = result.id if standard.used else ""
            yield LotRow(path, standard.standard.lot, "standard", standard.standard.id, hangs, "")


def _names(path: str, results: Iterable[ResultRow], lots: Iterable[LotRow], stands: Iterable[StandsRow]) -> NamesRow:
    names = {name for row in results for name in (row.sample, row.client_id, row.site, row.row)}
    names |= {lot.lot for lot in lots} | {each.name for each in stands}
    foreign = sorted(name for name in names if not name.isascii())
    return NamesRow(path, "\n".join(sorted(names)).casefold(), "\n".join(foreign).casefold())


# --- recall -----------------------------------------------------------------------------------------------------


def _stands(path: str, sheet: Sheet) -> Iterator[StandsRow]:
    """Everything the client's results stand on, with the rows that do, by the document as it is now.

    Of a result that was issued too, whose row is superseded or void now: the client has it until a report replaces it.
    """
    found: dict[tuple[str, str], dict[str, None]] = {}
    for row, what, name in _each(sheet):
        found.setdefault((what, name), {})[row] = None
    for (what, name), rows in found.items():
        yield StandsRow(path, what, name, json.dumps(list(rows), ensure_ascii=False))


OF_EXTRACTION = ("solvent", "acid", "silica gel", "drying agent")
"""What has a lot and is no row: the lots of standards and of rows are told with the row's name, and once."""


def _each(sheet: Sheet) -> Iterator[tuple[str, str, str]]:
    """Each result's row with one thing it stands on: as what, and its name."""
    run = sheet.run
    of_run = [("analyst", run.run.analyst), ("photometer", instrument(run)), ("photometer", run.instrument.name)]
    of_run += [("solvent", run.solvent.name)]
    batches = {batch.id: batch for batch in run.batch}
    lots = {row.id: row.row.lot for row in sheet.rows if row.row.lot}
    for made in _standings(sheet):
        row, batch = made.row, batches.get(made.row.batch or "")
        told: list[tuple[str, str | None]] = [*of_run, ("analyst", row.row.analyst)]
        told += [("analyst of the extraction", batch.analyst), ("batch", batch.id)] if batch else []
        told += _stands_on_curve(row)
        told += [(f"lot of {what}", lot) for what, lot in made.lots if what in OF_EXTRACTION]
        for each in made.supports:
            told += [(each.what, name) for name in each.ids]
            told += [(f"lot of {each.what} {name}", lots.get(name)) for name in each.ids]
        told += [(f"row of finding {finding.rule}", name) for finding in made.findings for name in finding.rows]
        yield from ((row.id, what, name) for what, name in told if name)


def _standings(sheet: Sheet) -> Iterator[Standing]:
    yield from stands_on.standings(sheet)
    issued = {each.id for made in sheet.run.issued for each in made.results}
    gone = {row.id for row in sheet.rows if row.id in issued and not row.for_client}
    if any(row.void for row in sheet.rows if row.id in gone):  # a void row stands on nothing: as it was issued
        queue = tuple(replace(row, void=None) if row.id in gone else row for row in sheet.run.queue)
        sheet = evaluate(replace(sheet.run, queue=queue), sheet.now)
    yield from (stands_on.standing(row, sheet) for row in sheet.rows if row.id in gone)


def _stands_on_curve(row: RowResult) -> Iterator[tuple[str, str | None]]:
    curve = row.calibration
    if curve is None:
        return
    cell = curve.calibration.cell_mm
    yield "calibration", curve.id
    yield "cell", None if cell is None else f"{float(cell):g} mm"
    yield "lot of the standards' solvent", curve.calibration.solvent_lot
    for standard in curve.standards:
        if standard.used:
            yield "standard", standard.standard.id
            yield "lot of standard", standard.standard.lot
            yield "certificate of standard", standard.standard.certificate


def _issued(path: str, sheet: Sheet) -> Iterator[IssuedRow]:
    run = sheet.run
    rows = {row.id: row for row in sheet.rows}
    samples = {sample.id: sample for sample in run.sample}
    numbers = [*(made.number for made in run.issued[1:]), ""]
    for made, replaced in zip(run.issued, numbers, strict=False):
        for each in made.results:
            row = rows.get(each.id)
            sample = samples.get(row.sample) if row else None
            yield IssuedRow(
                path=path,
                number=made.number,
                at=_iso(made.at),
                replaced=replaced,
                row=each.id,
                sample=row.sample if row else "",
                client_id=(sample.client_id if sample else None) or "",
                client=run.run.client or "",
                fraction=each.fraction or "",
                reported=each.reported or "",
                unit=each.unit or "",
                basis=client_results.basis(row) if row else "",
                flags=each.flags or "",
            )
