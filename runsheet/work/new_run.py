"""A new run from a method.

Owns: what a run holds on its first morning. Invariant: nothing in it was measured; levels of standards are a proposal
from the method's reporting limit and are there to be changed.

A new run proposes levels of 0, 1, 2, 4, 8 and 16 times the reporting limit taken to the extract.
"""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from typing import TYPE_CHECKING

from runsheet.compute.amounts import nominal_factor
from runsheet.compute.setup import SETUP_CHECKS
from runsheet.figures import visible
from runsheet.methods.laboratory import House
from runsheet.run.model import About, Calibration, Instrument, Run, Setup, Solvent, Standard
from runsheet.run.text import FORMAT

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from runsheet.run.model import Method
    from runsheet.tables import Number

LEVELS = (0, 1, 2, 4, 8, 16)
"""Standards proposed, in multiples of the reporting limit taken to the extract: with 20 mg/L they reach 320."""
NOBODY = House()
PLAIN_LOWEST = 10
"""mg/L, where the method has no reporting limit; within the working range of a 10 mm cell (EPA SW-846 8440)."""


def new(name: str, method: Method, now: datetime, house: House = NOBODY, *, analyst: str | None = None) -> Run:
    """Make a run called `name` at a time with its offset, in a laboratory; what no document or terminal takes in its
    name is escaped.
    """
    direct = method.blank is not None and method.blank.concentration is not None
    return Run(
        format=FORMAT,
        run=About(
            id=visible(name),
            title=method.title,
            laboratory=house.name,
            laboratory_address=house.address,
            laboratory_contact=house.contact,
            accreditation=house.accreditation,
            place=house.place,
            analyst=analyst,
            opened=now,
            offset=_offset(now),
            note=_note(method),
        ),
        method=method,
        instrument=Instrument(
            name="photometer",
            reads="concentration" if direct else "absorbance",
            step=Decimal("0.1" if direct else "0.001"),
        ),
        solvent=Solvent(name="tetrachloroethylene"),
        setup=setup(method),
        calibration=(first_calibration(direct=direct),),
        standard=_standards(method, direct=direct),
    )


def first_calibration(*, direct: bool) -> Calibration:
    """The calibration a run begins with; `direct` where the photometer shows concentration."""
    return Calibration(
        id="C1",
        model="direct" if direct else "line",
        weighting=None if direct else "none",
        zero_standard="subtract",
        drift="last",
        confidence=Decimal("0.95"),
    )


def id_of(path: Path) -> str:
    """Name the run of a file: all of the file's name but `.toml`, since "KB-03.11" has no ending."""
    return path.stem if path.suffix.lower() == ".toml" else path.name


def _note(method: Method) -> str | None:
    return "rows read after silica gel carry silica_gel = true" if method.fraction == "petroleum" else None


def _offset(now: datetime) -> str:
    return now.strftime("%z")[:3] + ":" + now.strftime("%z")[3:5]


def setup(method: Method) -> tuple[Setup, ...]:
    """One row for each check the method has a limit for."""
    limits = method.setup
    given = {field.name for field in fields(limits) if getattr(limits, field.name) is not None} if limits else set()
    return tuple(Setup(check=check) for check, kind in SETUP_CHECKS.items() if kind.limit in given)  # type: ignore[arg-type]


def _standards(method: Method, *, direct: bool) -> tuple[Standard, ...]:
    reporting, factor = method.limits and method.limits.reporting, nominal_factor(method)
    lowest = _plain(float(reporting) / factor) if reporting and factor else PLAIN_LOWEST
    multiples = (0, 8, 4) if direct else LEVELS
    return tuple(Standard(id=f"S{at}", concentration=lowest * multiple) for at, multiple in enumerate(multiples))


def _plain(value: float) -> Number:
    """Write a computed level with few digits: an integer where it is one."""
    return int(value) if value == int(value) else Decimal(f"{value:.3g}")
