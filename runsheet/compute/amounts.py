"""From the extract to the sample: amounts, volumes, dilutions, dry weight.

Owns: the factor that takes mg/L of extract to the result, and the unit it lands in. Invariant: the unit follows the
matrix of the row; a missing amount gives no factor, never a guessed one (a method blank or a prepared control takes
the nominal amounts).

A computed amount or solids content that is not above 0 leaves the row without a result. Solids are (dry - dish) /
(wet - dish): `wet_g` and `dry_g` are taken with their dish (Standard Methods 2540 G, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.compute.compare import finite, optional
from runsheet.run.kinds import NOMINAL

if TYPE_CHECKING:
    from runsheet.run.model import Method, Row, Standard

MATRIX_OF_UNIT = {"mg/L": "water", "mg/kg": "solid", "mg/100cm2": "wipe", "mg/wipe": "wipe", "mg/L extract": "extract"}


class Amounts(NamedTuple):
    """What was measured out for one row."""

    matrix: str
    unit: str
    amount: float | None
    """mL, g or cm2."""
    extract_ml: float | None
    dilution: float
    solids_percent: float | None
    """Dry matter, where the result is on dry weight."""
    factor: float | None
    """Result = extract concentration x factor."""

    @property
    def mass_factor(self) -> float | None:
        """The factor from a result to the mass found in the bottle, mg, whatever the matrix and basis."""
        if self.factor is None or self.extract_ml is None:
            return None
        return finite(self.extract_ml * self.dilution / (1000 * self.factor)) if self.factor else None

    @property
    def basis(self) -> tuple[str, bool]:
        """What two results must share to be compared: unit, and dry or wet weight."""
        return self.unit, self.solids_percent is not None


def concentration(standard: Standard) -> float:
    """The x of a standard, mg/L in the solvent: typed, or stock x aliquot / final volume."""
    if standard.concentration is not None:
        return float(standard.concentration)
    return float(standard.stock or 0) * float(standard.aliquot_ml or 0) / float(standard.final_ml or 1)


def measured(row: Row, method: Method) -> Amounts:
    """The amounts of a row, weighed or typed, and its factor."""
    matrix = row.matrix or MATRIX_OF_UNIT[method.unit]
    amount, extract_ml = weighed_amount(row), optional(row.extract_ml)
    if row.kind in NOMINAL and method.limits:
        whole_wipe = matrix == "wipe" and method.unit == "mg/wipe"
        amount = optional(method.limits.nominal_amount) if amount is None and not whole_wipe else amount
        extract_ml = optional(method.limits.nominal_extract_ml) if extract_ml is None else extract_ml
    dilution = 1.0 if row.dilution is None else float(row.dilution)
    solids = weighed_solids(row) if matrix == "solid" else None
    unit, factor = _factor(matrix, amount, extract_ml, dilution)
    if factor is not None and solids is not None:
        factor = finite(factor * 100 / solids)
    elif matrix == "solid" and row.solids_percent is None and None not in (row.wet_g, row.dry_g):
        factor = None  # weighed, and to no solids content: the result is not one as received
    return Amounts(matrix, unit, amount, extract_ml, dilution, solids, factor or None)


def _factor(matrix: str, amount: float | None, extract_ml: float | None, dilution: float) -> tuple[str, float | None]:
    if matrix == "extract":
        return "mg/L extract", dilution
    if matrix == "wipe":
        unit = "mg/wipe" if amount is None else "mg/100cm2"
        if extract_ml is None:
            return unit, None
        per_wipe = extract_ml * dilution / 1000
        return unit, finite(per_wipe if amount is None else per_wipe * 100 / amount)
    unit = "mg/kg" if matrix == "solid" else "mg/L"
    if amount is None or extract_ml is None:
        return unit, None
    return unit, finite(extract_ml * dilution / amount)


def nominal_factor(method: Method) -> float | None:
    """The factor at the method's nominal amounts, undiluted, in the method's unit."""
    limits = method.limits
    if limits is None:
        return None
    matrix = MATRIX_OF_UNIT[method.unit]
    amount = None if method.unit == "mg/wipe" else optional(limits.nominal_amount)
    if method.unit == "mg/100cm2" and amount is None:
        return None
    return _factor(matrix, amount, optional(limits.nominal_extract_ml), 1.0)[1]


def weighed_amount(row: Row) -> float | None:
    """The amount typed, else (full - empty) / density - what is not sample; None where nothing is left."""
    if row.amount is not None:
        return float(row.amount)
    if row.full_g is None or row.empty_g is None:
        return None
    density = 1.0 if row.density is None else float(row.density)
    amount = finite((float(row.full_g) - float(row.empty_g)) / density - float(row.not_sample_ml or 0))
    return amount if amount is not None and amount > 0 else None


def weighed_solids(row: Row) -> float | None:
    """The dry matter typed, else (dry - dish) / (wet - dish) x 100; None where that is not from 0 to 100."""
    if row.solids_percent is not None:
        return float(row.solids_percent)
    if row.wet_g is None or row.dry_g is None:
        return None
    dish = float(row.dish_g or 0)
    wet, dry = float(row.wet_g) - dish, float(row.dry_g) - dish
    return finite(dry / wet * 100) if 0 < dry <= wet else None
