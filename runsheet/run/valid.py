"""What must hold between the parts of a run document.

Owns: the checks no single field can make. Each check is a function from a run to problems, named in `CHECKS`.
Invariant: a document without errors can be evaluated; what is merely unwise is a finding of the computation instead.
"""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

from runsheet.problem import Problem
from runsheet.run.kinds import WITH_PARENT
from runsheet.run.model import FlagLetters
from runsheet.tables import shown

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runsheet.run.model import Batch, Calibration, Review, Row, Run, Sample, Standard

T = TypeVar("T")


class Places:
    """A run's rows with their places in the text, where rows that could not be read are numbered too."""

    def __init__(self, run: Run, kept: dict[str, list[int]]) -> None:
        """Take the run, and by array the numbers of the rows it holds where some are missing."""
        self.run = run
        self._kept = kept
        self._paths: dict[str, list[str]] = {}

    def _placed(self, name: str, rows: Sequence[T]) -> list[tuple[str, T]]:
        if name not in self._paths:  # each of a dozen checks asks for them, at every key
            numbers = self._kept.get(name, range(1, len(rows) + 1))
            self._paths[name] = [f"{name}[{number}]" for number in numbers]
        return list(zip(self._paths[name], rows, strict=True))

    @property
    def queue(self) -> list[tuple[str, Row]]:
        """The queue's rows, each with its path."""
        return self._placed("queue", self.run.queue)

    @property
    def standards(self) -> list[tuple[str, Standard]]:
        """The standards, each with its path."""
        return self._placed("standard", self.run.standard)

    @property
    def calibrations(self) -> list[tuple[str, Calibration]]:
        """The calibrations, each with its path."""
        return self._placed("calibration", self.run.calibration)

    @property
    def batches(self) -> list[tuple[str, Batch]]:
        """The extraction batches, each with its path."""
        return self._placed("batch", self.run.batch)

    @property
    def samples(self) -> list[tuple[str, Sample]]:
        """The samples, each with its path."""
        return self._placed("sample", self.run.sample)

    @property
    def reviews(self) -> list[tuple[str, Review]]:
        """The reviewers' entries, each with its path."""
        return self._placed("review", self.run.review)


def problems(run: Run, kept: dict[str, list[int]] | None = None) -> list[Problem]:
    """Find everything that does not hold between the parts of the run.

    `kept` gives, for an array with rows that could not be read, the numbers of those that could.
    """
    places = Places(run, kept or {})
    return [problem for check in CHECKS for problem in check(places)]


def _ids(at: Places) -> Iterator[Problem]:
    spaces: tuple[tuple[str, Sequence[tuple[str, Any]]], ...] = (
        ("an id of a standard or queue row", [*at.standards, *at.queue]),
        ("an id of a calibration", at.calibrations),
        ("an id of a batch", at.batches),
        ("an id of a sample", at.samples),
    )
    for words, rows in spaces:
        seen: dict[str, str] = {}
        for path, row in rows:
            if not row.id.strip():
                yield Problem(f"{path}.id", f"expected a name, found {'spaces only' if row.id else 'an empty text'}")
            elif row.id in seen:
                yield Problem(
                    f"{path}.id", f"expected {words} used once, found {shown(row.id)} again (first at {seen[row.id]})"
                )
            seen.setdefault(row.id, path)
    if not at.run.run.id.strip():
        yield Problem("run.id", f"expected a name, found {'spaces only' if at.run.run.id else 'an empty text'}")


def _references(at: Places) -> Iterator[Problem]:
    calibrations = {calibration.id for calibration in at.run.calibration}
    batches = {batch.id for batch in at.run.batch}
    for path, standard in at.standards:
        if standard.calibration is None and len(at.run.calibration) != 1:
            yield Problem(f"{path}.calibration", f"is required: there are {len(at.run.calibration)} calibrations")
        elif standard.calibration is not None and standard.calibration not in calibrations:
            yield _names_nothing(f"{path}.calibration", "a calibration", standard.calibration)
    for path, row in at.queue:
        if row.calibration is not None and row.calibration not in calibrations:
            yield _names_nothing(f"{path}.calibration", "a calibration", row.calibration)
        if row.batch is not None and row.batch not in batches:
            yield _names_nothing(f"{path}.batch", "a batch", row.batch)


def _names_nothing(path: str, what: str, found: str) -> Problem:
    return Problem(path, f"expected the id of {what}, found {shown(found)}, which names nothing")


def _parents(at: Places) -> Iterator[Problem]:
    field = {row.sample or row.id for row in at.run.queue if row.kind == "sample"} | {
        sample.id for sample in at.run.sample
    }
    others = {row.id: row.kind for row in at.run.queue if row.kind in WITH_PARENT}
    for path, row in at.queue:
        if row.of is None or row.of in field:
            continue
        if row.of in others:
            yield Problem(f"{path}.of", f"expected a field sample, found {shown(row.of)}, a {others[row.of]}")
        else:
            yield _names_nothing(f"{path}.of", "a field sample", row.of)


def _cells(at: Places) -> Iterator[Problem]:
    cells = {calibration.id: calibration.cell_mm for calibration in at.run.calibration}
    for path, row in at.queue:
        cell = cells.get(row.calibration or "")
        if row.cell_mm is not None and cell is not None and float(row.cell_mm) != float(cell):
            message = f"expected the cell of calibration {shown(row.calibration)}, {cell} mm, found {row.cell_mm}"
            yield Problem(f"{path}.cell_mm", message)


def _models(at: Places) -> Iterator[Problem]:
    direct = at.run.instrument.reads == "concentration"
    for path, calibration in at.calibrations:
        if (calibration.model == "direct") != direct:
            words = 'expected "direct"' if direct else 'expected another model than "direct"'
            reads = at.run.instrument.reads or "absorbance"
            message = f'{words}, since instrument.reads is "{reads}", found "{calibration.model}"'
            yield Problem(f"{path}.model", message)


def _concentrations(at: Places) -> Iterator[Problem]:
    for path, standard in at.standards:
        stock = [standard.stock, standard.aliquot_ml, standard.final_ml]
        given = sum(part is not None for part in stock)
        if standard.concentration is not None and given:
            yield Problem(path, "expected concentration or stock, aliquot_ml and final_ml, found both")
        elif standard.concentration is None and given < len(stock):
            yield Problem(
                path, "expected concentration, or stock, aliquot_ml and final_ml together, found neither in full"
            )
        elif standard.concentration is None and _more(standard):
            yield Problem(
                f"{path}.aliquot_ml", "is larger than final_ml: a dilution cannot be stronger than its stock", "warning"
            )


def _more(standard: Standard) -> bool:
    return float(standard.aliquot_ml or 0) > float(standard.final_ml or 0)


def _transmittances(at: Places) -> Iterator[Problem]:
    if at.run.instrument.reads != "transmittance":
        return
    rows: list[tuple[str, Row | Standard]] = [*at.standards, *at.queue]
    read = [(f"{path}.readings[{n}]", value) for path, row in rows for n, value in enumerate(row.readings, 1)]
    left = [(f"{path}.as_left", row.as_left) for path, row in at.queue if row.as_left is not None]
    for path, value in read + left:
        if float(value) <= 0:
            yield Problem(path, f"expected %T above 0, found {value}")


def _weighings(at: Places) -> Iterator[Problem]:
    for path, row in at.queue:
        if (row.full_g is None) != (row.empty_g is None):
            yield Problem(
                f"{path}.{'full_g' if row.full_g is None else 'empty_g'}",
                "is missing: the bottle is weighed full and empty",
                "warning",
            )
        elif row.full_g is not None and row.empty_g is not None and float(row.full_g) <= float(row.empty_g):
            yield Problem(f"{path}.full_g", f"expected more than empty_g, {row.empty_g}, found {row.full_g}")
        if row.dry_g is not None and row.wet_g is not None and float(row.dry_g) > float(row.wet_g):
            yield Problem(f"{path}.dry_g", f"expected from 0 to wet_g, {row.wet_g}, found {row.dry_g}")
        solid = row.matrix == "solid" or (row.matrix is None and at.run.method.unit == "mg/kg")
        dish = (row.dish_g, row.wet_g, row.dry_g)
        if solid and row.solids_percent is None and any(each is not None for each in dish):
            for name in (name for name in ("wet_g", "dry_g") if getattr(row, name) is None):
                message = "is missing: without the dish weighed wet and dry the result is as received"
                yield Problem(f"{path}.{name}", message, "warning")
        yield from _twice(path, row)


def _twice(path: str, row: Row) -> Iterator[Problem]:
    if row.amount is not None and row.full_g is not None:
        yield Problem(f"{path}.amount", "is given and the bottle is weighed too: amount is used", "warning")
    if row.solids_percent is not None and row.dry_g is not None:
        yield Problem(
            f"{path}.solids_percent", "is given and the dish is weighed too: solids_percent is used", "warning"
        )


def _low_high(at: Places) -> Iterator[Problem]:
    method = at.run.method
    groups: list[tuple[str, object]] = [("check", method.check), ("batch", method.batch)]
    if method.batch:
        groups += [("batch.oil_grease", method.batch.oil_grease), ("batch.petroleum", method.batch.petroleum)]
    for where, group in groups:
        for name in ("recovery_percent", "second_source_percent", "control_percent", "spike_percent"):
            limits = getattr(group, name, None)
            if limits is not None and float(limits[0]) > float(limits[1]):
                yield Problem(f"method.{where}.{name}", f"expected the low limit first, found {shown(list(limits))}")


def _flags(at: Places) -> Iterator[Problem]:
    """Letters no reader could tell from none, or from another flag's."""
    names = [each.name for each in fields(FlagLetters)]
    printed = {name: (getattr(at.run.method.flags, name, None) or name).strip() or name for name in names}
    for name in names:
        given = getattr(at.run.method.flags, name, None)
        if given is not None and not given.strip():
            yield Problem(f"method.flags.{name}", f"is blank: our own letter, {name}, is printed", "warning")
        same = [other for other in names if other != name and printed[other] == printed[name]]
        if given is not None and same:
            message = f"{shown(given)} is printed for {' and '.join(same)} too: no reader can tell them apart"
            yield Problem(f"method.flags.{name}", message, "warning")


def _reasons(at: Places) -> Iterator[Problem]:
    for path, standard in at.standards:
        if standard.use is False and not standard.reason:
            yield Problem(f"{path}.reason", "is missing: a standard that is not used needs a reason", "warning")
    fillings: list[tuple[str, Row | Standard]] = [*at.standards, *at.queue]
    for path, each in fillings:
        if each.struck and not each.struck_reason:
            yield Problem(f"{path}.struck_reason", "is missing: a filling struck out needs a reason", "warning")
    for path, row in at.queue:
        if row.void == "":
            yield Problem(f"{path}.void", "is empty: a void row needs its reason", "warning")
        if row.report is False and not row.reason:
            yield Problem(f"{path}.reason", "is missing: a superseded row needs a reason", "warning")


def _reviews(at: Places) -> Iterator[Problem]:
    for path, review in at.reviews:
        if (review.row is None) == (review.exception is None):
            found = "neither" if review.row is None else "both"
            yield Problem(path, f"expected a row typed again or an exception looked at, found {found}")
        elif review.row is not None and not review.readings:
            yield Problem(f"{path}.readings", f"is missing: what the notebook has for {shown(review.row)}")
        elif review.row is None and review.readings:
            yield Problem(f"{path}.readings", "expected none beside an exception, found some")


CHECKS = (
    _ids,
    _references,
    _parents,
    _cells,
    _models,
    _concentrations,
    _transmittances,
    _weighings,
    _low_high,
    _flags,
    _reasons,
    _reviews,
)
