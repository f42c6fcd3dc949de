"""Flags in words: as the method gives and prints them."""

from __future__ import annotations

import pytest

from runsheet.show import columns
from tests.make import Table, run

DETECTION = {"limits": {"detection": 0.5, "reporting": 2.0}}
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
