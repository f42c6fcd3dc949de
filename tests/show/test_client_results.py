"""The client's lines: which there are, and what stands in each."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from runsheet import demo, evaluate, read
from runsheet.show import client_results
from tests.make import NOW, Table, at, row, run, standards

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet

LIMITS = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}


def made(*queue: Table, method: Table | None = None, **tables: Any) -> Sheet:
    return evaluate(run(queue, method={"limits": LIMITS} | (method or {}), **tables), datetime.fromisoformat(NOW))


def told(sheet: Sheet) -> list[tuple[str, str, str]]:
    return [(line.sample, line.analyte, line.result) for line in client_results.results(sheet)]


def test_both_fractions_of_a_sample_stand_together_with_its_polar_part() -> None:
    sheet = made(
        row("A", 0.25, at=at(60)),
        row("B", 0.2, at=at(61)),
        row("AT", 0.15, sample="A", silica_gel=True, at=at(62)),
    )
    assert told(sheet) == [
        ("A", "oil and grease", "10.0"),
        ("A", "petroleum hydrocarbons", "6.0"),
        ("A", "polar part", "4.0"),
        ("B", "oil and grease", "8.0"),
    ]


def test_rows_of_quality_control_are_not_a_clients_and_journey_blanks_are() -> None:
    sheet = made(
        row("MB", 0.001, kind="method-blank", at=at(58)),
        row("K", 0.25, kind="check", expected=100, at=at(59)),
        row("A", 0.25, at=at(60)),
        row("D", 0.25, kind="duplicate", of="A", at=at(61)),
        row("FB", 0.001, kind="field-blank", at=at(62)),
    )
    assert told(sheet) == [("A", "oil and grease", "10.0"), ("FB", "oil and grease, field blank", "< 2.0")]


def test_no_uncertainty_stands_beside_less_than() -> None:
    low, high = client_results.results(made(row("A", 0.005, at=at(60)), row("B", 0.25, at=at(61))))
    assert (low.result, low.expanded, low.coverage) == ("< 2.0", None, None)
    assert high.expanded is not None
    assert high.confidence == 0.95
    assert client_results.coverage((low, high)) == "k = 3.18, 95 %"


def test_a_chosen_k_has_no_confidence() -> None:
    (line,) = client_results.results(made(row("A", 0.25, at=at(60)), method={"uncertainty": {"coverage": 2}}))
    assert (line.coverage, line.confidence) == (2.0, None)
    assert client_results.coverage((line,)) == "k = 2"


def test_of_several_ks_it_is_said_which_line_has_which() -> None:
    """Under "k = a or k = b" a U could be of either confidence."""
    curves = [{"id": name, "model": "line", "confidence": sure} for name, sure in (("C1", 0.95), ("C2", 0.99))]
    both = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=30)]
    rows = [row(name, 0.25, at=at(60), calibration=curve) for name, curve in (("A", "C2"), ("B", "C1"), ("C", "C1"))]
    again = row("CT", 0.2, sample="C", silica_gel=True, at=at(61), calibration="C2")
    lines = client_results.results(made(*rows, again, calibration=curves, standard=both))
    told = "k = 5.84, 99 %, save k = 3.18, 95 % of B, C oil and grease"
    assert client_results.coverage(lines[:3]) == "k = 3.18, 95 %, save k = 5.84, 99 % of A"
    assert client_results.coverage(lines) == told
    assert [client_results.one_coverage(each) for each in (lines, lines[1:3])] == ["k", "k = 3.18, 95 %"]


def test_a_sample_without_a_result_has_its_line() -> None:
    sample = [{"id": "A", "site": "north", "client_id": "=1+1"}, {"id": "C"}]
    void = row("V", 0.25, at=at(60), void="spilt")
    assert told(made(row("A"), void, row("N", 0.25, at=at(61), amount=None), sample=sample)) == [
        ("A", "oil and grease", "not read yet"),
        ("V", "oil and grease", "no result"),
        ("N", "oil and grease", "no result"),
        ("C", "", "no row reads it"),
    ]


def test_a_fraction_without_a_result_has_its_line() -> None:
    """Its row was void or superseded, and the client's table spoke of the other fraction only."""
    whole = row("A", 0.25, at=at(60))
    gone = row("AT", 0.15, sample="A", silica_gel=True, at=at(62), void="gel spilt")
    away = row("AT", 0.15, sample="A", silica_gel=True, at=at(62), report=False, reason="to be read again")
    blank = row("FB", 0.001, kind="field-blank", silica_gel=True, void="spilt", at=at(63))
    expected = [("A", "oil and grease", "10.0"), ("A", "petroleum hydrocarbons", "no result")]
    assert told(made(whole, gone)) == expected
    assert told(made(whole, away)) == expected
    assert told(made(whole, gone, blank))[2:] == [("FB", "petroleum hydrocarbons, field blank", "no result")]
    again = row("AT-1", sample="A", silica_gel=True)
    assert told(made(whole, gone, away | {"id": "AT-2"}, again))[1:] == [
        ("A", "petroleum hydrocarbons", "not read yet")
    ]
    right = {key: value for key, value in gone.items() if key != "silica_gel"}  # its fraction typed wrongly, put right
    assert told(made(whole, right)) == expected[:1]


def test_a_solid_says_what_it_is_a_kilogram_of() -> None:
    queue = [
        row("A", 0.25, amount=10, extract_ml=20, solids_percent=80, at=at(60)),
        row("B", 0.2, amount=10, at=at(61)),
    ]
    dry, wet = client_results.results(made(*queue, method={"unit": "mg/kg"}))
    assert (dry.unit, dry.basis, wet.basis) == ("mg/kg", "dry", "as received")


def test_every_reported_sample_row_of_the_demo_days_has_its_line() -> None:
    for name in demo.NAMES:
        day, _ = read(demo.text(name))
        assert day is not None
        sheet = evaluate(day, demo.NOW[name])
        lines = client_results.results(sheet)
        shown = {line.rows[0]: line for line in lines if line.analyte != "polar part" and line.rows}
        for each in sheet.rows:
            if each.for_client:
                assert (shown[each.id].result, shown[each.id].flags) == (each.reported, each.letters)
        assert sum(line.analyte == "polar part" for line in lines) == len(sheet.fractions)
