"""One more of what a day has once: a calibration, a set of setup checks, an extraction batch, an analyst.

Owns: what another one takes from the last. Invariant: nothing in it was measured, and what was read before keeps the
calibration and the batch it had.

The second source and the check planned for a calibration name it, since they are read to judge that one and no other.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from runsheet.run import edit
from runsheet.run.kinds import SOLVENT_STANDARDS
from runsheet.run.model import Batch, Setup
from runsheet.work import new_run
from runsheet.work.new_row import Names, new_row

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime
    from typing import Any

    from runsheet.run.edit import Edit
    from runsheet.run.kinds import Kind
    from runsheet.run.model import Calibration, Run, Standard
    from runsheet.tables import Number


class Other(NamedTuple):
    """What is other in a calibration than in the last one; None where it is as there."""

    cell_mm: Number | None = None
    solvent_lot: str | None = None
    lot: str | None = None
    """Of its standards."""
    of_lot: Mapping[str, Any] = MappingProxyType({})
    """What the laboratory has of that lot, by the field of a standard."""


def unused(stem: str, taken: Sequence[str]) -> str:
    """The first name of a stem that is not taken, with a number."""
    return next(name for n in range(1, len(taken) + 2) if (name := f"{stem}{n}") not in taken)


# --- a calibration --------------------------------------------------------------------------------------------------


def calibration_name(run: Run) -> str:
    """What the next calibration is called."""
    return unused("C", [calibration.id for calibration in run.calibration])


def calibration(run: Run, other: Other) -> list[Edit]:
    """The edits that begin another calibration from the last one's levels, with its second source and check planned."""
    last, name, names = run.calibration[-1], calibration_name(run), Names(run)
    made = replace(
        last,
        id=name,
        cell_mm=last.cell_mm if other.cell_mm is None else other.cell_mm,
        solvent_lot=last.solvent_lot if other.solvent_lot is None else other.solvent_lot,
        verified=None,
        note=None,
    )
    mine = [each for each in run.standard if each.calibration in (None, last.id)]
    edits = [edit.insert_row(run, "calibration", len(run.calibration) + 1, made)]
    edits += [
        edit.set_value(run, f"standard[{at}].calibration", last.id)
        for at, each in enumerate(run.standard, 1)
        if each.calibration is None
    ]
    edits += _inserted(run, "standard", len(run.standard), [_emptied(each, name, names, other) for each in mine])
    unread = (at for at, row in enumerate(run.queue) if not row.readings and row.void is None)
    at = next(unread, len(run.queue))
    return [*edits, *_inserted(run, "queue", at, _verifying(run, made, names))]


def _emptied(standard: Standard, name: str, names: Names, other: Other) -> Standard:
    """A standard of the same level, not read; of another lot with what is known of that, and of the old one nothing."""
    lot = other.lot if other.lot is not None and other.lot != standard.lot else None
    of_lot: dict[str, Any] = {} if lot is None else {"lot": lot, "expires": None, "certificate": None, **other.of_lot}
    if standard.stock is None:
        of_lot.pop("stock", None)
    return replace(
        standard, id=names.first("S"), calibration=name, readings=(), at=None, struck=(), struck_reason=None,
        use=None, reason=None, note=None, **of_lot,
    )  # fmt: skip


def _verifying(run: Run, made: Calibration, names: Names) -> list[Any]:
    """The rows that verify a calibration: a solvent blank its baseline stands on, a second source, a check standard."""
    kinds: list[Kind] = ["blank"] if run.method.blank is not None else []
    kinds += ["second-source", "check"] if run.method.check is not None else []
    rows = (new_row(run, kind, names.of(kind)) for kind in kinds)
    lots = {row.kind: row for row in run.queue if row.lot is not None}
    return [
        replace(
            row,
            calibration=made.id,
            **({name: getattr(lots[row.kind], name) for name in ("lot", "expires")} if row.kind in lots else {}),
        )
        for row in rows
    ]


def _inserted(run: Run, array: str, after: int, rows: Sequence[Any]) -> list[Edit]:
    """The edits that insert rows after a number of those there are."""
    made = [edit.insert_row(run, array, 1, row) for row in rows]
    return [replace(each, path=f"{array}[{at}]") for at, each in enumerate(made, after + 1)]


# --- setup checks ---------------------------------------------------------------------------------------------------


def setup_checks(run: Run) -> list[Edit]:
    """The edits that add another warm-up and the checks after it, as the run had them; the method's where it had none.

    They are judged from their own start on, and those before them stay what they were.
    """
    last = {setup.check: setup for setup in run.setup}
    rows = [Setup(check=check, reads=setup.reads) for check, setup in last.items()] or list(new_run.setup(run.method))
    return _inserted(run, "setup", len(run.setup), rows)


# --- an analyst -----------------------------------------------------------------------------------------------------


def read_by_the_first(run: Run) -> list[int]:
    """The numbers of the rows, from 1, that were read and say by nobody else than the run: its analyst read them."""
    return [at for at, row in enumerate(run.queue, 1) if row.readings and not row.analyst and run.run.analyst]


def analyst(run: Run, name: str) -> list[Edit]:
    """The edits by which another person goes on: what was read so far stays the one's who read it."""
    kept = [edit.set_value(run, f"queue[{at}].analyst", run.run.analyst) for at in read_by_the_first(run)]
    return [*kept, edit.set_value(run, "run.analyst", name)]


# --- an extraction batch --------------------------------------------------------------------------------------------


def orphans(run: Run) -> list[int]:
    """The numbers of the rows, from 1, that belong to the one batch so far without naming it."""
    if len(run.batch) > 1:
        return []
    return [at for at, row in enumerate(run.queue, 1) if row.batch is None and row.kind not in SOLVENT_STANDARDS]


def batch(run: Run, name: str, now: datetime, *, second: bool) -> list[Edit]:
    """The edits that begin a batch at a time; with `second`, the rows so far take the name of the one before it."""
    edits: list[Edit] = []
    if second:
        first = run.batch[0].id if run.batch else unused("B", [name])
        edits += _inserted(run, "batch", 0, [] if run.batch else [Batch(id=first)])
        edits += [edit.set_value(run, f"queue[{at}].batch", first) for at in orphans(run)]
    after = max(len(run.batch), int(second))
    return [*edits, *_inserted(run, "batch", after, [Batch(id=name, started=now)])]
