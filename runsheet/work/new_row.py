"""A new row of the queue, before anything of it is measured.

Owns: what such a row holds, however it is made (inserted, planned, read again, diluted), and the ids still to be given
out. Invariant: no measured and no certified value is invented. Nominal amounts are for rows the bench prepares itself;
certified and added amounts are the method's own, else what was last typed for such a row in this run, else blank.

New rows ask for what only the bench knows; nothing measured is invented. Only rows the bench makes itself get the
nominal amounts. Certified and added values are the method's own, else the last ones typed in this run, since it is
the same flask on the same day.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from runsheet.compute.amounts import MATRIX_OF_UNIT
from runsheet.run.kinds import (
    ABBREVIATIONS,
    ADDED,
    CHECK_STANDARDS,
    CONTROLS,
    FIELD,
    PREPARED,
    SOLVENT_STANDARDS,
    SPIKES,
    WITH_PARENT,
)
from runsheet.run.model import ReportingLimits, Row
from runsheet.work.sample_list import ids

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runsheet.compute.results import RowResult
    from runsheet.run.kinds import Kind
    from runsheet.run.model import Run
    from runsheet.tables import Number

SHARED = ("batch", "matrix", "cell_mm", "silica_gel")
"""What a row has in common with the one it is made beside."""
OF_PARENT = ("dilution", "solids_percent", "dish_g", "wet_g", "dry_g")
"""What a second bottle has in common with the first."""


class Names:
    """Ids of a run and of what is planned; none is given out twice."""

    def __init__(self, run: Run, more: Iterable[str] = ()) -> None:
        """Take the ids there are."""
        self._taken = {*ids(run), *(sample.id for sample in run.sample), *more}
        self._numbers: Counter[str] = Counter()

    def first(self, stem: str) -> str:
        """The first unused id of a stem; it is used from now on."""
        while True:  # from the number used last on: the rows of a long plan are not looked through for each
            self._numbers[stem] += 1
            if (name := f"{stem}{self._numbers[stem]}") not in self._taken:
                self._taken.add(name)
                return name

    def of(self, kind: Kind) -> str:
        """The first unused id of a kind of row."""
        return self.first(ABBREVIATIONS[kind] or "X")


def new_row(run: Run, kind: Kind, name: str, like: Row | None = None) -> Row:
    """A row of a kind, called `name`; `like` is the row it is made beside, or the sample a QC row is made from."""
    row = Row(id=name, kind=kind)
    if kind in SOLVENT_STANDARDS:
        shared = _of(like, ("calibration", "cell_mm")) if like is not None else {}
        return replace(row, expected=_expected(run, kind), **shared)
    if like is not None and like.kind not in SOLVENT_STANDARDS:
        row = replace(row, **_of(like, SHARED))
        if kind in WITH_PARENT:
            row = replace(row, of=_parent(like), **_of(like, OF_PARENT))
        row = with_nominal(row, run, fraction=False)
        row = row if row.extract_ml is not None else replace(row, extract_ml=like.extract_ml)
    else:
        row = with_nominal(row, run)
    return replace(row, added_mg=_added(run, row)) if kind in ADDED else row


def with_nominal(row: Row, run: Run, *, fraction: bool = True) -> Row:
    """A row with the nominal extract volume, and the amount too where the bench makes it itself; a bottle is measured.

    With `fraction`, a row that does not say whether silica gel was used reads what the method reads.
    """
    limits = run.method.limits or ReportingLimits()
    nominal = row.matrix in (None, MATRIX_OF_UNIT[run.method.unit])
    prepared = nominal and row.kind in PREPARED and run.method.unit != "mg/wipe"
    petroleum = fraction and row.silica_gel is None and run.method.fraction == "petroleum"
    return replace(
        row,
        amount=limits.nominal_amount if prepared and row.amount is None else row.amount,
        extract_ml=limits.nominal_extract_ml if nominal and row.extract_ml is None else row.extract_ml,
        dilution=1 if row.dilution is None else row.dilution,
        silica_gel=True if petroleum else row.silica_gel,
    )


def read_again(row: Row, name: str, sample: str, dilution: Number | float | None = None) -> Row:
    """The row that reads the extract of another again: same amounts, no reading; diluted anew where that is given."""
    return replace(
        row, id=name, sample=None if row.kind in SOLVENT_STANDARDS else sample,
        dilution=row.dilution if dilution is None else plain(dilution),
        readings=(), at=None, struck=(), struck_reason=None,
        void=None, report=None, reason=None, rezeroed=None, as_left=None, note=None,
    )  # fmt: skip


def advised(row: RowResult) -> Number | None:
    """The dilution a result above the range is to be read again at; None where it needs none."""
    return None if row.dilute_to is None else plain(row.dilute_to)


def dilution_offered(row: RowResult, steps: Sequence[Number]) -> Number | None:
    """The dilution to offer: the smallest of the house's at or above the advice, else the advice itself.

    Without advice the row's own.
    """
    if row.dilute_to is None:
        return row.row.dilution
    return next((step for step in steps if float(step) >= row.dilute_to), advised(row))


def offer_words(row: RowResult, offered: Number | None) -> str:
    """The dilution offered for a row above the range, with the advice where that is less: 5x; 3x is the least."""
    least = "" if row.dilute_to is None else f"{row.dilute_to:.12g}x"
    return f"{offered}x; {least} is the least" if least not in ("", f"{offered}x") else f"{offered}x"


def missing(row: Row) -> list[str]:
    """What the bench still has to say of a new row, in words."""
    found = []
    if row.kind in CHECK_STANDARDS and row.expected is None:
        found.append("no certified value yet")
    weighed = row.amount is not None or row.full_g is not None
    if row.kind not in SOLVENT_STANDARDS and row.matrix != "extract" and not weighed:
        found.append("no amount yet")
    if row.kind in ADDED and row.added_mg is None:
        found.append("no added mg yet")
    return found


def batch_limit(run: Run, fraction: str, name: str) -> Any:
    """A field of the batch QC for a fraction, the method's where the fraction says nothing."""
    found = getattr(getattr(run.method.batch, fraction, None), name, None)
    return getattr(run.method.batch, name, None) if found is None else found


def plain(value: Number | float) -> Number:
    """A computed figure with few digits: an integer where it is one."""
    number = Decimal(str(value))
    return int(number) if number == number.to_integral_value() else number


def _of(like: Row, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: getattr(like, name) for name in names}


def _parent(like: Row) -> str | None:
    return like.of or (like.sample or like.id if like.kind in FIELD else None)


def _expected(run: Run, kind: Kind) -> Number | None:
    """The certified value of a check standard: the laboratory's own, else the last one's; a blank has none."""
    if kind == "blank":
        return None
    own = run.method.check.expected if kind == "check" and run.method.check is not None else None
    return _last(run, (kind,), "expected") if own is None else own


def _added(run: Run, row: Row) -> Number | None:
    """The mass added to a control or spike: the laboratory's own, else the last one's."""
    for family, name in ((CONTROLS, "control_added_mg"), (SPIKES, "spike_added_mg")):
        if row.kind in family:
            own: Number | None = batch_limit(run, "petroleum" if row.silica_gel else "oil_grease", name)
            return _last(run, family, "added_mg") if own is None else own
    return _last(run, (row.kind,), "added_mg")


def _last(run: Run, kinds: tuple[str, ...], name: str) -> Number | None:
    had: list[Number] = [value for row in run.queue if row.kind in kinds and (value := getattr(row, name)) is not None]
    return had[-1] if had else None
