"""Setup checks: value, limit and verdict of each kind."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import Table, at, near, results, standards

LIMITS = {
    "warm_up_minutes": 15,
    "zero_absorbance": 0.001,
    "full_scale_percent": 0.1,
    "dark_percent": 0.2,
    "stability_absorbance": 0.002,
    "cell_absorbance": 0.005,
}
CASES: list[tuple[str, list[float], float | None, str]] = [
    ("zero", [0.001, -0.0005], 0.001, "pass"),
    ("zero", [0.0, -0.0011], 0.0011, "fail"),
    ("recheck-zero", [-0.001], 0.001, "pass"),
    ("recheck-zero", [0.002], 0.002, "fail"),
    ("full-scale", [100.1, 99.9], 0.1, "pass"),
    ("full-scale", [100.0, 99.8], 0.2, "fail"),
    ("dark", [0.0], 0.0, "pass"),
    ("dark", [0.1, -0.3], 0.3, "fail"),
    ("stability", [0.101, 0.100, 0.102], 0.002, "pass"),
    ("stability", [0.101, 0.099, 0.102], 0.003, "fail"),
    ("cell", [0.005], 0.005, "pass"),
    ("cell", [-0.006], 0.006, "fail"),
    ("zero", [], None, "todo"),
    ("stability", [], None, "todo"),
]


def judged(check: Table, limits: Table | None = None, **tables: Any) -> Table:
    (found,) = results(setup=[check], method={"setup": LIMITS if limits is None else limits}, **tables)["setup"]
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize(("check", "readings", "value", "state"), CASES)
def test_largest_deviation_or_spread(check: str, readings: list[float], value: float | None, state: str) -> None:
    found = judged({"check": check, "readings": readings})
    assert (found["check"], found["value"], found["state"]) == (check, near(value), state)
    assert bool(found["why"]) == (state != "pass")


@pytest.mark.parametrize("reads", ["transmittance", "absorbance"])
def test_units_do_not_follow_what_the_instrument_reads(reads: str) -> None:
    tables: Table = {"instrument": {"reads": reads}, "standard": standards(ys=[90, 80, 60, 40, 10])}
    assert judged({"check": "zero", "readings": [0.0]}, **tables)["value"] == 0
    assert judged({"check": "full-scale", "readings": [100]}, **tables)["value"] == 0
    assert judged({"check": "dark", "readings": [0]}, **tables)["value"] == 0


@pytest.mark.parametrize(
    ("lamp", "read", "value", "state"),
    [
        (5, True, 16, "pass"),
        (6, True, 15, "pass"),
        (7, True, 14, "fail"),
        (220, False, 20, "pass"),
        (230, False, 10, "todo"),
    ],
)
def test_warm_up_to_the_first_standard_else_to_now(lamp: int, read: bool, value: float, state: str) -> None:  # noqa: FBT001
    """The first standard is read at 08:21, now is 12:00."""
    tables: Table = {"standard": standards() if read else []}
    found = judged({"check": "warm-up", "started": at(lamp)}, **tables)
    assert (found["value"], found["state"], found["limit"]) == (value, state, 15)


def test_absent_limit_does_not_apply() -> None:
    found = judged({"check": "zero", "readings": [1.0]}, limits={"dark_percent": 0.1})
    assert (found["value"], found["limit"], found["state"]) == (1.0, None, "pass")


def test_a_warm_up_that_starts_after_now_is_said_to_be_ahead_of_the_clock() -> None:
    """After the clock was set back by two hours there were '135 min of 15 left'."""
    found = judged({"check": "warm-up", "started": at(240 + 120)}, standard=[])
    assert (found["state"], found["value"], found["why"]) == ("todo", -120, "its start is 120 min ahead of the clock")


def test_a_lamp_that_is_not_warm_has_a_minute_left() -> None:
    found = judged({"check": "warm-up", "started": at(240 - 14.7)}, standard=[])
    assert (found["state"], found["why"]) == ("todo", "1 min of 15 left")
