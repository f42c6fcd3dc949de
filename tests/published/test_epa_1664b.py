"""EPA 1664B (read): significant figures, silica gel, RPD on concentrations."""

from __future__ import annotations

import pytest

from tests.make import Table, extract, findings, results, row, rows

DIRECT: Table = {
    "instrument": {"reads": "concentration", "step": 0.0001},
    "calibration": {"model": "direct"},
    "standard": [],
}


@pytest.mark.parametrize(
    ("result", "reported"),
    [
        (9.96, "10"),
        (9.94, "9.9"),
        (10.04, "10.0"),
        (12.35, "12.4"),
        (123.4, "123"),
        (9.45, "9.4"),
        (0.0865, "0.086"),
        (20, "20.0"),
    ],
)
def test_three_figures_from_ten_and_two_below_decided_on_the_unrounded_value(result: float, reported: str) -> None:
    found = results([extract("A", result)], method={"unit": "mg/L extract"}, **DIRECT)
    assert rows(found)["A"]["reported"] == reported


def gel(mg: float, grams: float) -> list[Table]:
    """Say what the gel rule says of so much oil and grease in 100 mL of extract treated with so much gel."""
    whole = row("OG", mg * 10, sample="W")
    part = row("HC", mg * 5, sample="W", silica_gel=True, silica_gel_g=grams)
    return findings(results([whole, part], **DIRECT), "silica-gel")


@pytest.mark.parametrize(("mg", "needed"), [(735, 24), (700, 21), (701, 24), (100, 3), (1, 3)])
def test_silica_gel_three_grams_for_each_started_100_mg(mg: float, needed: float) -> None:
    """The method's own example: 735 mg of oil and grease take 24 g."""
    assert gel(mg, needed) == []
    (found,) = gel(mg, needed - 0.1)
    assert (found["state"], found["rows"], found["value"], found["low"]) == ("warn", ["HC"], needed - 0.1, needed)


def test_rpd_of_a_control_pair() -> None:
    """RPD(38.5, 35.0) = 9.523810 % (computed)."""
    queue = [row("L1", 385.0, kind="control", added_mg=40), row("L2", 350.0, kind="control-duplicate", added_mg=40)]
    found = rows(results(queue, **DIRECT))["L2"]
    assert found["rpd_percent"] == pytest.approx(9.523809523809524, rel=1e-13)


def test_recovery_of_a_spike() -> None:
    """(38.5 - 12.0) / 30.0 -> 88.3333 % (computed)."""
    found = rows(results([row("A", 120.0), row("MS", 385.0, kind="spike", of="A", added_mg=30)], **DIRECT))["MS"]
    assert found["recovery_percent"] == pytest.approx(100 * 26.5 / 30, rel=1e-13)


def test_equal_spikes_in_unequal_bottles_differ_by_their_geometry_alone() -> None:
    """Equal spikes in 900 and 1000 mL have an RPD of 10.5 % (computed), and so no verdict; both recover 100 %."""
    queue = [
        row("A", 0.0),
        row("MS", 200.0, kind="spike", of="A", added_mg=20, amount=900),
        row("MSD", 200.0, kind="spike-duplicate", of="A", added_mg=20, amount=1000),
    ]
    result = results(queue, method={"batch": {"pair_rpd_percent": 1}}, **DIRECT)
    assert [rows(result)[name]["recovery_percent"] for name in ("MS", "MSD")] == pytest.approx([100, 100])
    assert rows(result)["MSD"]["rpd_percent"] == pytest.approx(100 * (1 / 900 - 1 / 1000) / ((1 / 900 + 1 / 1000) / 2))
    assert round(rows(result)["MSD"]["rpd_percent"], 1) == 10.5
    assert findings(result, "spike-pair")[0]["state"] == "warn"
