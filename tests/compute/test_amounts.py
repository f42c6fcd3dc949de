"""From extract to result: units, factors, weighing, limits, flags, advice and the figure reported."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import SLOPE, Table, findings, near, results, row, rows

case = pytest.param
NOTHING: Table = {}
LIMITS: Table = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}


def given(fields: Table) -> Table:
    return {name: value for name, value in fields.items() if value is not None}


def one(*readings: float, method: Table | None = None, **fields: Any) -> Table:
    return rows(results([row("A", *readings, **fields)], method={"limits": LIMITS} | (method or {})))["A"]


# --- units and factors ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "unit", "factor"),
    [
        case({"amount": 950, "dilution": 5}, "mg/L", 100 * 5 / 950, id="water"),
        case({"matrix": "water", "amount": 500}, "mg/L", 0.2, id="water, said"),
        case(
            {"matrix": "solid", "amount": 10.1, "extract_ml": 20, "dilution": 2},
            "mg/kg",
            40 / 10.1,
            id="solid as it is",
        ),
        case({"matrix": "solid", "amount": 10, "extract_ml": 20, "solids_percent": 80}, "mg/kg", 2.5, id="dry solid"),
        case({"matrix": "solid", "amount": 10, "solids_percent": 100}, "mg/kg", 10, id="all solids"),
        case({"matrix": "wipe", "amount": None, "extract_ml": 20, "dilution": 3}, "mg/wipe", 0.06, id="wipe"),
        case(
            {"matrix": "wipe", "amount": 400, "extract_ml": 20, "dilution": 3}, "mg/100cm2", 0.015, id="wipe of an area"
        ),
        case({"matrix": "extract", "amount": None, "extract_ml": None, "dilution": 4}, "mg/L extract", 4, id="extract"),
        case({"matrix": "water", "solids_percent": 50}, "mg/L", 0.1, id="solids count for solids only"),
        case({"amount": None, "full_g": 1450.0, "empty_g": 450, "not_sample_ml": 5}, "mg/L", 100 / 995, id="weighed"),
        case({"amount": None, "full_g": 1450.0, "empty_g": 450, "density": 1.25}, "mg/L", 100 / 800, id="by density"),
        case({"amount": 500, "full_g": 1450.0, "empty_g": 450}, "mg/L", 0.2, id="amount before weighing"),
        case(
            {"matrix": "solid", "amount": 10, "dish_g": 20, "wet_g": 30, "dry_g": 28},
            "mg/kg",
            12.5,
            id="solids by the dish",
        ),
    ],
)
def test_unit_and_factor(fields: Table, unit: str, factor: float) -> None:
    made = one(SLOPE * 120, **fields)
    assert (made["unit"], made["factor"], made["result"]) == (unit, near(factor), near(120 * factor))


@pytest.mark.parametrize(
    ("unit", "matrix"), [("mg/L", "water"), ("mg/kg", "solid"), ("mg/100cm2", "wipe"), ("mg/L extract", "extract")]
)
def test_matrix_comes_from_the_method_s_unit(unit: str, matrix: str) -> None:
    made, said = (one(0.25, method={"unit": unit}, **fields) for fields in (NOTHING, {"matrix": matrix}))
    assert made["unit"] == unit
    assert made == said


@pytest.mark.parametrize(
    ("kind", "factor"),
    [
        ("method-blank", 0.1),
        ("control", 0.1),
        ("control-duplicate", 0.1),
        ("sample", None),
        ("duplicate", None),
        ("spike", None),
    ],
)
def test_only_what_the_bench_prepares_takes_the_nominal_amounts(kind: str, factor: float | None) -> None:
    of: Table = {"of": "A"} if kind in ("duplicate", "spike") else {}
    queue = [row("A", 0.1), row("X", 0.25, kind=kind, amount=None, extract_ml=None, **of)]
    assert rows(results(queue, method={"limits": LIMITS}))["X"]["factor"] == near(factor)


def test_method_blank_of_a_wipe_method_takes_the_nominal_area() -> None:
    made = one(0.25, method={"unit": "mg/100cm2"}, kind="method-blank", amount=None, extract_ml=None)
    assert made["unit"] == "mg/100cm2"


def test_unread_row_has_factor_and_limits() -> None:
    made = one(amount=500)
    assert [made[name] for name in ("factor", "detection", "reporting")] == pytest.approx([0.2, 1, 4])
    assert [made[name] for name in ("net", "extract", "result", "U", "reported")] == [None] * 5
    assert made["state"] == "unread"


def test_void_row_has_id_kind_and_state_only() -> None:
    made = one(0.25, void="spilt")
    assert {name: value for name, value in made.items() if value not in (None, [], "")} == {
        "id": "A",
        "kind": "sample",
        "state": "void",
    }


# --- limits ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "detection", "reporting"),
    [
        case({}, 0.5, 2, id="nominal"),
        case({"amount": 500}, 1, 4, id="half the bottle"),
        case({"dilution": 5}, 2.5, 10, id="diluted"),
        case({"extract_ml": 50}, 0.25, 1, id="half the extract"),
        case({"matrix": "solid"}, None, None, id="another unit"),
    ],
)
def test_limits_scale_with_what_was_used(fields: Table, detection: float | None, reporting: float | None) -> None:
    made = one(0.25, **fields)
    assert (made["detection"], made["reporting"]) == (near(detection), near(reporting))


@pytest.mark.parametrize(
    ("unit", "amount", "factor"),
    [("mg/kg", 20, 5), ("mg/100cm2", 100, 0.1), ("mg/wipe", None, 0.1), ("mg/L extract", None, 1)],
)
def test_nominal_factor_of_each_unit(unit: str, amount: float | None, factor: float) -> None:
    """A row at the nominal amounts has the method's own limits; the lowest level is far below them."""
    limits = {"detection": 500, "reporting": 2000, "nominal_extract_ml": 100} | (
        {"nominal_amount": amount} if amount else {}
    )
    made = one(0.25, method={"unit": unit, "limits": limits}, amount=amount)
    assert (made["factor"], made["detection"], made["reporting"]) == (near(factor), near(500), near(2000))


def test_limits_of_dry_solids_rise_with_their_water() -> None:
    made = one(
        0.25,
        method={"unit": "mg/kg", "limits": LIMITS | {"nominal_amount": 20, "reporting": 100}},
        amount=20,
        solids_percent=50,
    )
    assert [made["detection"], made["reporting"]] == pytest.approx([1, 200])


def test_lowest_used_level_is_the_floor_of_the_reporting_limit() -> None:
    made = one(0.25, method={"limits": LIMITS | {"reporting": 0.9}}, amount=500)
    assert made["reporting"] == near(10 * 0.2)


# --- flags and what is reported -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mg_per_l", "method", "flags", "reported"),
    [
        case(0.49, {}, "U", "< 2.0", id="below detection"),
        case(-1.9, {}, "U", "< 2.0", id="below zero"),
        case(-3, {}, "QU", "< 2.0", id="below zero by more than the reporting limit"),
        case(0.49, {"nondetect": "detection"}, "U", "< 0.50", id="prints detection"),
        case(0.5, {}, "J", "0.50", id="at detection"),
        case(1.99, {}, "J", "2.0", id="below reporting"),
        case(2, {}, "", "2.0", id="at reporting"),
        case(1.99, {"estimates": False}, "U", "< 2.0", id="no estimates"),
        case(1.99, {"estimates": False, "nondetect": "detection"}, "U", "< 2.0", id="no estimates: reporting always"),
        case(0.49, {"estimates": False, "nondetect": "detection"}, "U", "< 0.50", id="no estimates, truly below"),
        case(1.99, {"limits": LIMITS | {"detection": None}}, "U", "< 2.0", id="no detection limit"),
        case(
            1.99,
            {"limits": LIMITS | {"detection": None}, "nondetect": "detection"},
            "U",
            "< 2.0",
            id="nor one to print",
        ),
        case(2, {"limits": LIMITS | {"detection": None}}, "", "2.0", id="no detection limit, at reporting"),
        case(0.4, {"limits": LIMITS | {"reporting": 20}}, "U", "< 20.0", id="the limit is rounded alike"),
        case(12.345, {"figures": 2}, "", "12", id="two figures"),
        case(12.344, {"figures": 4}, "", "12.34", id="four figures"),
        case(12.35, {}, "", "12.4", id="three figures from 10"),
        case(20, {}, "", "20.0", id="top of the range"),
        case(20.1, {}, "E", "20.1", id="above the range"),
        case(8, {"calibration": {"max_absorbance": 0.2}}, "", "8.0", id="at the largest absorbance"),
        case(8.1, {"calibration": {"max_absorbance": 0.2}}, "E", "8.1", id="above it"),
    ],
)
def test_flags_and_reported(mg_per_l: float, method: Table, flags: str, reported: str) -> None:
    if "limits" in method:
        method = method | {"limits": {name: value for name, value in method["limits"].items() if value is not None}}
    made = one(mg_per_l / 40, method=method)
    assert (made["flags"], made["reported"]) == (list(flags), reported)


def test_largest_absorbance_is_of_the_mean_reading_before_the_blank_is_taken_off() -> None:
    queue = [row("B", 0.01, kind="blank"), row("A", 0.205)]
    result = results(queue, method={"calibration": {"max_absorbance": 0.2}})
    assert rows(result)["A"]["flags"] == ["E"]


def test_flags_are_in_alphabetical_order() -> None:
    assert one(0.01, dilution=2, method={"calibration": {"max_absorbance": 0.005}})["flags"] == ["D", "E", "U"]


@pytest.mark.parametrize(
    ("mg_per_l", "fields", "limit", "advice"),
    [
        case(200, {}, None, "", id="within the range"),
        case(201, {}, None, "dilute 2x", id="just above"),
        case(525, {}, None, "dilute 5x", id="to the middle, 105 mg/L"),
        case(526, {}, None, "dilute 6x", id="beyond it"),
        case(526, {"dilution": 3}, None, "dilute 18x", id="times what it is diluted"),
        case(201, {"dilution": 2.5}, None, "dilute 5x", id="times a broken dilution"),
        case(50, {}, 0.1, "dilute 2x", id="dark, but below the middle"),
    ],
)
def test_advice(mg_per_l: float, fields: Table, limit: float | None, advice: str) -> None:
    method = {"calibration": {"max_absorbance": limit}} if limit else {}
    assert one(SLOPE * mg_per_l, method=method, **fields)["advice"] == advice


@pytest.mark.parametrize(
    "fields",
    [
        {"void": "x"},
        {"report": False, "reason": "x"},
        {"kind": "check", "expected": 100},
        {"kind": "blank"},
        {"kind": "second-source", "expected": 1},
    ],
)
def test_nothing_is_reported_of(fields: Table) -> None:
    assert one(0.25, **fields)["reported"] is None


@pytest.mark.parametrize(("dish", "wet", "dry"), [(10, 15, 9), (10, 15, 10), (15, 15, 15), (None, 15, 0)])
def test_a_dish_that_gives_no_solids_content_leaves_the_row_without_a_result(
    dish: float | None, wet: float, dry: float
) -> None:
    """It was weighed for a result on dry weight: that is none as received."""
    weighed = {"dish_g": dish, "wet_g": wet, "dry_g": dry}
    result = results([row("A", 0.25, matrix="solid", amount=10) | given(weighed)], method={"unit": "mg/kg"})
    assert (result["rows"][0]["result"], result["rows"][0]["factor"]) == (None, None)
    (found,) = findings(result, "amounts")
    assert (found["state"], found["why"]) == ("fail", "its dish as weighed gives no solids content: no result")


@pytest.mark.parametrize(
    ("fields", "missing"),
    [
        ({"wet_g": 15}, ["queue[1].dry_g"]),
        ({"dry_g": 15}, ["queue[1].wet_g"]),
        ({"dish_g": 10}, ["queue[1].wet_g", "queue[1].dry_g"]),
        ({"dish_g": 10, "solids_percent": 80}, []),
        ({"dish_g": 10, "wet_g": 15, "dry_g": 14}, []),
        ({"matrix": "water", "dish_g": 10}, []),
    ],
)
def test_a_dish_that_is_not_weighed_in_full_is_told(fields: Table, missing: list[str]) -> None:
    result = results([row("A", 0.25, amount=10) | fields], method={"unit": "mg/kg"})
    assert [problem["path"] for problem in result["problems"]] == missing
