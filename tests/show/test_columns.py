"""Flags in words: as the method gives and prints them."""

from __future__ import annotations

from datetime import datetime

import pytest

from runsheet import evaluate
from runsheet.show import columns
from tests.make import NOW, Table, at, run, standards

NOMINAL = {"nominal_amount": 1000, "nominal_extract_ml": 100}
DETECTION = {"limits": {"detection": 0.5, "reporting": 2.0} | NOMINAL}
BELOW = "below the reporting limit, reported as less than"
REPORTING = {"limits": {"reporting": 2.0}}


@pytest.mark.parametrize(
    ("method", "expected"),
    [
        (DETECTION, "below the detection limit, reported as less than the reporting limit"),
        (DETECTION | {"nondetect": "detection"}, "below the detection limit, reported as less than it"),
        (DETECTION | {"estimates": False}, "below the reporting limit, reported as less than it"),
        (REPORTING, "below the reporting limit, reported as less than it"),
        (
            {"limits": {"detection": 0.5}},
            "below the reporting limit, reported as less than it",
        ),
        (
            DETECTION | {"nondetect": "detection", "estimates": False},
            f"{BELOW} the reporting limit, below the detection limit as less than that",
        ),
    ],
)
def test_what_u_is_hangs_on_the_method(method: Table, expected: str) -> None:
    assert columns.flag_words(run(method=method).method)["U"] == expected


def test_e_is_also_the_absorbance_where_the_method_has_one() -> None:
    assert columns.flag_words(run().method)["E"] == "above the calibrated range"
    allowed = run(method={"calibration": {"max_absorbance": 0.8}}).method
    assert columns.flag_words(allowed)["E"] == "above the calibrated range, or the absorbance the method allows"


def test_a_zero_standard_on_a_line_through_zero_reads_back_0() -> None:
    """It read back -0."""
    zero = {"id": "S0", "concentration": 0, "readings": [0.002], "at": at(20)}
    levels = standards(ys=[0.027, 0.0645, 0.127, 0.252, 0.502])
    made = run(standard=[zero, *levels], calibration={"model": "line-through-zero"})
    (result,) = evaluate(made, datetime.fromisoformat(NOW)).calibrations
    back = next(column for column in columns.STANDARDS if column.key == "back")
    assert back.text(result.standards[0]) == "0"
