"""What the laboratory file offers where something is typed.

Owns: which of the house's people, instruments, cells and lots fit a field, and what a chosen one fills beside it.
Invariant: a value chosen is copied into the run; what is already there and is another fact is never overwritten, save
by what belongs to the very thing chosen.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from runsheet.run import edit
from runsheet.run.kinds import CONTROLS, SPIKES
from runsheet.run.model import Standard
from runsheet.work.new_row import OF_PARENT, SHARED

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from datetime import date

    from runsheet.methods.laboratory import Laboratory, Material
    from runsheet.run.edit import Edit
    from runsheet.run.model import Row, Run

_ROW = re.compile(r"(\w+)\[(\d+)\]")


@dataclass(frozen=True, slots=True)
class Offer:
    """One value that may be chosen."""

    text: str
    note: str
    """What it is, and that it is expired where it is."""
    fills: Mapping[str, Any]
    """The fields beside it, by their path, with what they become."""
    expired: bool = False
    initials: str = ""

    @property
    def doubt(self) -> str:
        """That it is expired, in words; empty where it is not."""
        return f"{self.text} is expired ({self.note})" if self.expired else ""

    def begins(self, typed: str) -> bool:
        """Whether it begins with what is typed, or has these initials."""
        low = typed.casefold()
        return bool(low) and (self.text.casefold().startswith(low) or self.initials.casefold() == low)

    def edits(self, run: Run, path: str, value: Any) -> list[Edit]:
        """The edits that choose it for a field: the field and what belongs to it, where that differs."""
        wanted = {path: value, **self.fills}
        return [
            edit.set_value(run, place, new)
            for place, new in wanted.items()
            if edit.typed(edit.value_at(run, place)) != edit.typed(new)
        ]


def offers(house: Laboratory, run: Run, path: str, today: date) -> list[Offer]:
    """What may be chosen for the field at a path, as the file has it; empty where it says nothing of it."""
    table, _, name = path.rpartition(".")
    array = table.split("[")[0]
    if name in ("analyst", "reviewer"):
        people = (person for person in house.person if getattr(person, name) is not False)
        return [Offer(person.name, person.initials or "", {}, initials=person.initials or "") for person in people]
    if path == "instrument.name":
        return list(_instruments(house, run))
    if name == "cell_mm" and array in ("calibration", "queue"):
        mine = [each for each in house.instrument if each.name == run.instrument.name] or house.instrument
        cells = dict.fromkeys(cell for each in mine for cell in each.cells)
        return [Offer(str(cell), "mm", {}) for cell in cells]
    if path == "solvent.lot" or name == "solvent_lot":
        return list(_solvents(house, path, today))
    if array in ("queue", "standard") and name in ("of", "batch", "calibration"):
        return list(_parents(run, table)) if name == "of" else [Offer(each.id, "", {}) for each in getattr(run, name)]
    if name == "lot" and array in ("standard", "queue"):
        found = _ROW.match(table)
        row = getattr(run, array)[int(found[2]) - 1] if found else None
        return [_material(each, table, row, today) for each in house.material if row and each.use == _use(array, row)]
    return []


def _parents(run: Run, table: str) -> Iterator[Offer]:
    """The field samples a row may belong to, with what it has in common with each as long as nothing is read."""
    found = _ROW.match(table)
    own = run.queue[int(found[2]) - 1] if found else None
    seen = set()
    for row in run.queue:
        name = row.sample or row.id
        if row.kind == "sample" and name not in seen:
            seen.add(name)
            shared = {f"{table}.{each}": getattr(row, each) for each in (*SHARED, *OF_PARENT)}
            yield Offer(name, "", shared if own is not None and not own.readings else {})


def _instruments(house: Laboratory, run: Run) -> Iterator[Offer]:
    for each in house.instrument:
        fills = {f"instrument.{name}": getattr(each, name) for name in ("serial", "step", "reads")}
        cells = f", cells {' '.join(map(str, each.cells))} mm" if each.cells else ""
        note = ", ".join(filter(None, (each.serial, each.reads))) + cells
        its = ("instrument.serial",) if each.name != run.instrument.name else ()  # the number of another is not its own
        yield Offer(each.name, note, {place: new for place, new in fills.items() if new is not None or place in its})


def _solvents(house: Laboratory, path: str, today: date) -> Iterator[Offer]:
    """The lots on the shelf, for the run's solvent with what belongs to each."""
    for each in house.solvent:
        if each.lot:
            fills = {f"solvent.{name}": getattr(each, name) for name in ("name", "grade", "expires")}
            own = fills if path == "solvent.lot" else {}
            yield Offer(each.lot, *_dated(each.name, each.expires, today, own))


def _use(array: str, row: Any) -> str:
    if array == "standard":
        return "stock"
    kind: str = row.kind
    return "control" if kind in CONTROLS else "spike" if kind in SPIKES else kind


def _material(each: Material, table: str, row: Row | Standard, today: date) -> Offer:
    """A lot of a material, with what of it belongs into the row."""
    fills: dict[str, Any] = {"expires": each.expires}
    if isinstance(row, Standard):
        fills["certificate"] = each.certificate
        fills |= {"stock": each.concentration} if row.stock is not None else {}
    else:
        fills["material"] = each.material
        fills |= {"expected": each.concentration} if each.use in ("check", "second-source") else {"added_mg": each.mass}
    its = ("expires", "certificate") if row.lot not in (None, each.lot) else ("expires",)  # none of another lot's
    own = {f"{table}.{name}": new for name, new in fills.items() if new is not None or name in its}
    amount = f"{each.concentration} mg/L" if each.concentration else f"{each.mass} mg" if each.mass else ""
    what = ", ".join(filter(None, (each.material, amount, each.certificate)))
    return Offer(each.lot, *_dated(what, each.expires, today, own))


def _dated(what: str, expires: date | None, today: date, own: dict[str, Any]) -> tuple[str, dict[str, Any], bool]:
    expired = expires is not None and expires < today
    until = f"{'EXPIRED' if expired else 'until'} {expires}" if expires else ""
    return ", ".join(filter(None, (what, until))), own, expired
