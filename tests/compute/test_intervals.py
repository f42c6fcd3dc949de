"""What is said of an interval: figures that fit a line, whatever the clock says."""

from __future__ import annotations

import pytest

from runsheet.compute.results import DueResult


@pytest.mark.parametrize(
    ("left", "told"),
    [
        (19.0, "41 of 60 min"),
        (0.3, "59 of 60 min"),
        (0.0, "60 of 60 min"),
        (-0.3, "61 of 60 min"),
        (-60.0, "120 of 60 min"),
        (60.0 - 1439, "1439 of 60 min"),
        (60.0 - 1440, "1 day of 60 min"),
        (60.0 - 373_520, "259 days of 60 min"),
    ],
)
def test_a_run_opened_long_afterwards_tells_days(left: float, told: str) -> None:
    assert DueResult("blank", "overdue", 2, left, 20, 60).words == f"blank overdue, 18 of 20 readings, {told}"
