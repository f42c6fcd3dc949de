"""What the report says of a calibration: where its k is from, and its detection figures by DIN 32645."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from runsheet import evaluate
from runsheet.report import bench_sections
from runsheet.report.blocks import Facts
from runsheet.report.making import Report
from tests.make import NOW, at, row, run, standards

SCATTERED = standards(ys=(0.026, 0.062, 0.125, 0.251, 0.499))


def facts(**tables: Any) -> dict[str, str]:
    """The facts of the first calibration."""
    made = run([row("A", 0.25, at=at(60))], **{"standard": SCATTERED} | tables)
    blocks = bench_sections.calibrations(Report(evaluate(made, datetime.fromisoformat(NOW))))
    return dict(next(block for block in blocks if isinstance(block, Facts)).pairs)


@pytest.mark.parametrize(
    ("tables", "k"),
    [
        ({}, "3.18, two-sided t at the confidence"),
        ({"calibration": {"confidence": 0.99}}, "5.84, two-sided t at the confidence"),
        ({"method": {"uncertainty": {"coverage": 2}}}, "2, chosen in the method"),
        (
            {"calibration": {"model": "direct"}, "instrument": {"reads": "concentration", "step": 1}, "standard": []},
            "2, usual where nothing is fitted",
        ),
        ({"standard": SCATTERED[:2]}, "none: nothing is fitted, or no degree of freedom is left"),
    ],
)
def test_k_says_where_it_is_from(tables: dict[str, Any], k: str) -> None:
    assert facts(**tables)["k of U"] == k


def test_detection_figures_say_at_what_and_whether_they_are_extrapolated() -> None:
    told = facts()
    assert told["DIN 32645 at"] == "alpha = beta = 0.05, one-sided; quantification two-sided, k = 3; m = 1 reading"
    assert told["Detection limit (DIN 32645)"].endswith("mg/L in the solvent, extrapolated: below the lowest level 10")
    wide = facts(standard=standards(xs=(1, 50, 100, 150, 200), ys=(0.01, 0.11, 0.262, 0.36, 0.51)))
    assert "extrapolated" not in wide["Detection limit (DIN 32645)"]
    assert "Detection limit (DIN 32645)" not in facts(calibration={"weighting": "1/x"})


def test_a_zero_that_nobody_read_is_no_reading_of_0() -> None:
    assert facts()["Zero"] == "no zero standard is read and used: 0 A"
    assert facts(standard=[{"id": "Z", "concentration": 0}, *SCATTERED])["Zero"] == facts()["Zero"]
    read = standards((0,), (0.001,), name="Z")
    assert facts(standard=[*read, *SCATTERED])["Zero"] == "0.001 A"
    left_out = [each | {"use": False, "reason": "bubble"} for each in read]
    assert facts(standard=[*left_out, *SCATTERED])["Zero"] == facts()["Zero"]
