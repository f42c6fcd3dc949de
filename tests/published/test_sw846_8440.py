"""EPA SW-846 8440 (read): a solid's result in mg/kg, and working standards from a weighed stock."""

from __future__ import annotations

import pytest

from tests.make import LEVELS, SLOPE, results, row, rows

METHOD = {"unit": "mg/kg"}


def test_worked_figure() -> None:
    """0.010 mg/mL x 3 mL / 0.003 kg = 10 mg/kg."""
    found = rows(results([row("A", SLOPE * 10, amount=3, extract_ml=3)], method=METHOD))["A"]
    assert found["result"] == pytest.approx(10, rel=1e-12)
    assert found["unit"] == "mg/kg"


@pytest.mark.parametrize(("solids", "result"), [(None, 475.2475247524753), (82.5, 576.0576057605762)])
def test_diluted_extract_of_a_moist_soil(solids: float | None, result: float) -> None:
    """120 mg/L, 20 mL, diluted twice, 10.1 g -> 475.2475 mg/kg; at 82.5 % solids 576.0576 (computed)."""
    made = row("A", SLOPE * 120, amount=10.1, extract_ml=20, dilution=2, solids_percent=solids)
    assert rows(results([made], method=METHOD))["A"]["result"] == pytest.approx(result, rel=1e-12)


def test_working_standards_are_aliquots_of_the_stock() -> None:
    """0.5 mL of reference oil (hexadecane, isooctane, chlorobenzene 15/15/10) in 100 mL is about 4.13 g/L.

    By ideal mixing at 20 C; densities 0.7733, 0.6919 and 1.1058 g/mL from memory.
    """
    stock = 0.5 * (15 * 0.7733 + 15 * 0.6919 + 10 * 1.1058) / 40 / 100 * 1e6
    assert stock == pytest.approx(4130, abs=5)
    parts = [{"stock": 4130, "aliquot_ml": x / 41.3, "final_ml": 100} for x in LEVELS]
    made = [
        {"id": f"S{n}", "readings": [SLOPE * x], **part} for n, (x, part) in enumerate(zip(LEVELS, parts, strict=True))
    ]
    (found,) = results(standard=made)["calibrations"]
    assert [standard["x"] for standard in found["standards"]] == pytest.approx(LEVELS, rel=1e-13)
    assert found["coefficients"] == pytest.approx([0, SLOPE], rel=1e-10, abs=1e-14)
