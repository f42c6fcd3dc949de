"""ASTM E29: half to even, decided on the decimal characters (figures computed with decimal)."""

from __future__ import annotations

import pytest

from runsheet.compute.rounding import significant
from tests.make import Table, extract, findings, results, rows

ROUNDED = [
    (9.45, 2, "9.4"),
    (12.35, 3, "12.4"),
    (12.25, 3, "12.2"),
    (0.0865, 2, "0.086"),
    (1145, 3, "1140"),
    (20, 3, "20.0"),
]


@pytest.mark.parametrize(("value", "figures", "text"), ROUNDED)
def test_half_to_even(value: float, figures: int, text: str) -> None:
    assert significant(value, figures) == text
    method = {"unit": "mg/L extract", "figures": figures}
    direct: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
    assert rows(results([extract("A", value)], method=method, **direct))["A"]["reported"] == text


@pytest.mark.parametrize(("expected", "state"), [(90.9, "fail"), (90.909091, "pass")])
def test_verdicts_are_taken_on_unrounded_values(expected: float, state: str) -> None:
    """The absolute method: 110.01 % is over 110 although it prints as 110."""
    check = {"id": "CK", "kind": "check", "readings": [0.25], "expected": expected}
    (found,) = findings(results([check], method={"check": {"recovery_percent": [90, 110]}}), "check")
    assert round(found["value"]) == 110
    assert found["state"] == state
