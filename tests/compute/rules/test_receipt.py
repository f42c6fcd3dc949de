"""How samples arrived, each edge (40 CFR 136 Table II: at most 6 C, pH below 2)."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import Table, at, findings, results, row, rows

LIMITS = {"temperature_c": [0, 6], "ph_max": 2.0}
COLLECTED, RECEIVED = at(-300), at(-60)


def received(name: str = "A", **sample: Any) -> Table:
    """A water sample read at 09:00, as it was received."""
    table = {"id": name, "collected": COLLECTED, "received": RECEIVED, "received_c": 4, "pH": 1.8} | sample
    given = {key: value for key, value in table.items() if value is not None}
    return results([row(name, 0.2, at=at(60))], method={"receipt": LIMITS}, sample=[given])


def said_of(result: Table) -> list[tuple[str, float | None]]:
    return [(found["state"], found["value"]) for found in findings(result, "receipt")]


@pytest.mark.parametrize(
    ("sample", "expected", "flag"),
    [
        ({}, [], ""),
        ({"received_c": 6, "pH": 2.0}, [], ""),
        ({"received_c": 6.1}, [("fail", 6.1)], "Y"),
        ({"received_c": -0.1}, [("fail", -0.1)], "Y"),
        ({"received_c": 12, "on_ice": True}, [("warn", 12)], ""),
        ({"received_c": 12, "on_ice": False}, [("fail", 12)], "Y"),
        ({"received_c": -1, "on_ice": True}, [("fail", -1)], "Y"),
        ({"received_c": 12, "on_ice": True, "collected": at(-24 * 60)}, [("fail", 12)], "Y"),
        ({"pH": 2.1}, [("fail", 2.1)], "Y"),
        ({"pH": 6.9, "pH_adjusted": True}, [("warn", 6.9)], "Y"),
        ({"pH": 6.9, "pH_adjusted": "2 mL HCl"}, [("warn", 6.9)], "Y"),
        ({"pH": 6.9, "pH_adjusted": RECEIVED}, [("warn", 6.9)], "Y"),
        ({"pH": 6.9, "pH_adjusted": False}, [("fail", 6.9)], "Y"),
        ({"received_c": None}, [("warn", None)], ""),
        ({"pH": None}, [("warn", None)], ""),
    ],
)
def test_receipt(sample: Table, expected: list[tuple[str, float | None]], flag: str) -> None:
    result = received(**sample)
    assert said_of(result) == expected
    assert rows(result)["A"]["flags"] == list(flag)
    assert all(found["affects"] == ["A"] for found in findings(result, "receipt"))


def test_a_sample_that_nothing_is_recorded_of() -> None:
    result = results([row("A", 0.2), row("B", 0.2)], method={"receipt": LIMITS})
    assert [found["rows"] for found in findings(result, "receipt")] == [["A", "B"]] * 2


def test_a_soil_is_not_asked_for_its_ph_and_a_blank_of_the_journey_for_nothing() -> None:
    queue = [row("S", 0.2, matrix="solid", amount=10), row("T", 0.01, kind="trip-blank")]
    result = results(queue, method={"receipt": LIMITS})
    assert [(found["rows"], found["why"]) for found in findings(result, "receipt")] == [
        (["S"], "temperature on receipt is not recorded")
    ]


def test_without_limits_nothing_is_asked() -> None:
    assert findings(results([row("A", 0.2)]), "receipt") == []
