"""Typed characters to values."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from runsheet.run import entry, model

NOW = datetime(2026, 3, 11, 10, 52, tzinfo=UTC)
GOOD: list[tuple[type, str, str, Any]] = [
    (model.Row, "readings", "0.112", [Decimal("0.112")]),
    (model.Row, "readings", "0,112 .5", [Decimal("0.112"), Decimal("0.5")]),
    (model.Row, "amount", "007", 7),
    (model.Row, "dilution", "+2.50", Decimal("2.50")),
    (model.Row, "as_left", "-0.001", Decimal("-0.001")),
    (model.Row, "silica_gel", "yes", True),
    (model.Row, "at", "9:05", datetime(2026, 3, 11, 9, 5, tzinfo=UTC)),
    (model.Row, "at", "2026-03-10T09:05+01:00", datetime.fromisoformat("2026-03-10T09:05+01:00")),
    (model.Row, "note", "fine", "fine"),
    (model.Sample, "collected", "2026-03-09", date(2026, 3, 9)),
    (model.Sample, "collected", "2026-03-09T10:00", datetime(2026, 3, 9, 10, tzinfo=UTC)),
    (model.Sample, "pH_adjusted", "no", False),
    (model.Sample, "pH_adjusted", "1.8", Decimal("1.8")),
    (model.Method, "figures", "3", 3),
    (model.Method, "figures", "1664", "1664"),
    (model.CheckLimits, "recovery_percent", "80 120", [80, 120]),
    (model.Calibration, "model", "quadratic", "quadratic"),
    (model.Row, "amount", "", None),
]
BAD: list[tuple[type, str, str, str]] = [
    (model.Row, "readings", "0.1.2", "two decimal points"),
    (model.Row, "readings", "0.1 ", "a space after the number"),
    (model.Row, "readings", "0.1  0.2", "half-typed"),
    (model.Row, "readings", "0.", "half-typed"),
    (model.Row, "readings", "-", "half-typed"),
    (model.Row, "readings", "1e5", "no number"),
    (model.Row, "amount", "0", "above 0"),
    (model.Row, "dilution", "0.5", "at least 1"),
    (model.Row, "amount", "9" * 500, "too many digits"),
    (model.Row, "silica_gel", "perhaps", "yes or no"),
    (model.Row, "at", "25:00", "no time of day"),
    (model.Row, "at", "soon", "a time as 9:05"),
    (model.Row, "note", "a\x07b", "cannot be shown"),
    (model.Solvent, "expires", "tomorrow", "a date as"),
    (model.Calibration, "model", "linear", "did you mean"),
    (model.CheckLimits, "recovery_percent", "80", "an array of 2"),
]


@pytest.mark.parametrize(("cls", "name", "text", "value"), GOOD)
def test_good(cls: type, name: str, text: str, value: Any) -> None:
    found = entry.parse(cls, name, text, NOW)
    assert (found.value, found.complaint) == (value, "")


@pytest.mark.parametrize(("cls", "name", "text", "said"), BAD)
def test_bad(cls: type, name: str, text: str, said: str) -> None:
    assert said in entry.parse(cls, name, text, NOW).complaint


@pytest.mark.parametrize(("cls", "name", "text", "value"), GOOD)
def test_shown_is_typed_again(cls: type, name: str, text: str, value: Any) -> None:
    del text
    assert entry.parse(cls, name, entry.shown(value), NOW).value == value
