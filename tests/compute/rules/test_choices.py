"""What was voided, repeated, superseded or chosen, each edge."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import SLOPE, Table, at, findings, near, results, row, rows, said, standards, verdict

METHOD: Table = {
    "blank": {"absorbance": 0.005},
    "check": {"recovery_percent": [90, 110], "second_source_percent": [90, 110]},
    "batch": {"control_percent": [70, 130], "spike_percent": [70, 130], "duplicate_rpd_percent": 20},
    "limits": {"detection": 0.5, "reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100},
}


def check(name: str, percent: float, **fields: Any) -> Table:
    return row(name, SLOPE * percent, kind="check", expected=100, **fields)


def blank(name: str, reading: float, **fields: Any) -> Table:
    return row(name, reading, kind="blank", **fields)


def control(name: str, percent: float, **fields: Any) -> Table:
    return row(name, SLOPE * percent, kind="control", added_mg=10, **fields)


def sample(name: str, mg_per_l: float = 10, **fields: Any) -> Table:
    return row(name, SLOPE * 10 * mg_per_l, **fields)


def of(rule: str, *queue: Table) -> list[tuple[str, str]]:
    found = findings(results(list(queue), method=METHOD), rule)
    return [(each["state"], " ".join(each["rows"])) for each in found]


# --- voided ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        pytest.param([check("K", 89, void="x"), sample("A")], [("fail", "K")], id="a failing check, a sample next"),
        pytest.param([check("K", 89, void="x"), check("L", 100)], [("warn", "K")], id="a passing one next"),
        pytest.param([check("K", 89, void="x"), check("L", 89)], [("fail", "K")], id="a failing one next"),
        pytest.param(
            [check("K", 89, void="x"), check("M", 89, void="y"), check("L", 100)],
            [("warn", "K"), ("warn", "M")], id="void rows apart",
        ),
        pytest.param([check("K", 89, void="x"), blank("B", 0)], [("fail", "K")], id="another kind next"),
        pytest.param([check("K", 90, void="x"), sample("A")], [], id="within its limits"),
        pytest.param([check("K", 89, void="x", readings=[])], [], id="never read"),
        pytest.param([blank("B", 0.006, void="x")], [("fail", "B")], id="blank as found"),
        pytest.param([blank("B", 0.001, void="x", rezeroed=True, as_left=0.006)], [("fail", "B")], id="as left"),
        pytest.param([control("L", 69, void="x"), sample("A")], [("fail", "L")], id="control"),
        pytest.param(
            [row("I", 0.3, kind="second-source", expected=100, void="x")], [("fail", "I")], id="second source"
        ),
        pytest.param([row("M", 0.05, kind="method-blank", void="x")], [("fail", "M")], id="method blank at its limit"),
        pytest.param([row("M", 0.04, kind="method-blank", void="x")], [], id="method blank below it"),
        pytest.param(
            [sample("A"), sample("D", 13, kind="duplicate", of="A", void="x")], [("fail", "D")], id="duplicate"
        ),
        pytest.param(
            [sample("A", 1), row("S", 0.03, kind="spike", of="A", added_mg=10, void="x")], [("fail", "S")], id="spike"
        ),
        pytest.param([sample("A", 30, void="bubble")], [], id="a void sample is no quality control"),
    ],
)  # fmt: skip
def test_voided_qc(queue: list[Table], expected: list[tuple[str, str]]) -> None:
    assert of("voided-qc", *queue) == expected


def test_a_void_check_bears_on_what_it_would_have_bracketed() -> None:
    queue = [
        sample("A"), check("K1", 100), sample("B"), check("V", 89, void="x"), sample("C"), check("K2", 100),
        sample("D"),
    ]  # fmt: skip
    (found,) = findings(results(queue, method=METHOD), "voided-qc")
    assert found["affects"] == ["B", "C"]
    assert (found["value"], found["low"], found["high"]) == (near(89), 90, 110)


def test_a_void_row_changes_no_other_figure() -> None:
    queue = [blank("B", 0.002), sample("A")]
    void = [queue[0], blank("V", 0.02, void="x"), queue[1]]
    one, other = (rows(results(made, method=METHOD))["A"] for made in (queue, void))
    assert one["result"] == other["result"]


# --- repeated -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percents", "expected"),
    [
        ([89, 89, 100], [("fail", "K0 K1 K2")]),
        ([89, 100], []),
        ([89, 100, 89, 100], []),
        ([100, 89, 89, 89, 100, 100], [("fail", "K1 K2 K3 K4")]),
        ([89, 89], []),
        ([89, 89, 100, 111, 111, 100], [("fail", "K0 K1 K2"), ("fail", "K3 K4 K5")]),
    ],
)
def test_repeated_until_pass(percents: list[float], expected: list[tuple[str, str]]) -> None:
    assert of("repeated-until-pass", *(check(f"K{n}", p) for n, p in enumerate(percents))) == expected


def test_void_ones_are_counted_and_other_batches_are_not() -> None:
    voided = [check("K1", 89, void="x"), check("K2", 89, void="y"), check("K3", 100)]
    assert of("repeated-until-pass", *voided) == [("fail", "K1 K2 K3")]
    controls = [control("L1", 60, batch="B1"), control("L2", 60, batch="B2"), control("L3", 100, batch="B1")]
    result = results(controls, method=METHOD, batch=[{"id": "B1"}, {"id": "B2"}])
    assert findings(result, "repeated-until-pass") == []


def test_repeated_controls_bear_on_their_batch_and_fraction() -> None:
    queue = [control("L1", 60), control("L2", 60), control("L3", 100), sample("A"), sample("B", silica_gel=True)]
    (found,) = findings(results(queue, method=METHOD), "repeated-until-pass")
    assert found["affects"] == ["A"]


# --- chosen ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        pytest.param({"mg_per_l": 15}, {}, [("warn", "A A2")], id="far off"),
        pytest.param({"mg_per_l": 11}, {}, [], id="within the duplicate limit"),
        pytest.param({"mg_per_l": 25}, {}, [], id="above the range it says nothing"),
        pytest.param({"mg_per_l": 3}, {"mg_per_l": 4.9}, [], id="near the limit by difference"),
        pytest.param({"mg_per_l": 3}, {"mg_per_l": 5.1}, [("warn", "A A2")], id="by more than the limit"),
        pytest.param({"mg_per_l": 15, "silica_gel": True}, {}, [], id="another fraction"),
    ],
)
@pytest.mark.parametrize("aside", [{"report": False, "reason": "read again"}, {"void": "bubble"}])
def test_result_chosen(first: Table, second: Table, expected: list[tuple[str, str]], aside: Table) -> None:
    queue = [sample("A", **first, **aside), sample("A2", **({"mg_per_l": 10} | second), sample="A")]
    assert of("result-chosen", *queue) == expected


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        ({"mg_per_l": 13}, [("warn", "A A2")]),
        ({"mg_per_l": 11}, []),
        ({"mg_per_l": 13, "dilution": 1}, []),
        ({"mg_per_l": 1.5}, []),
        ({"mg_per_l": 13, "silica_gel": True}, []),
    ],
)
def test_dilution_agreement(other: Table, expected: list[tuple[str, str]]) -> None:
    made = {"dilution": 2} | other
    reading = made.pop("mg_per_l") / made["dilution"]
    queue = [sample("A", report=False, reason="read again"), sample("A2", reading, sample="A", **made)]
    assert of("dilution-agreement", *queue) == expected


def test_two_dilutions_that_differ_by_their_basis_say_so() -> None:
    solid: Table = {"matrix": "solid", "amount": 10}
    queue = [
        row("A", 0.2, **solid, report=False, reason="read again"),
        row("A2", 0.1, sample="A", **solid, dilution=2, solids_percent=70),
    ]
    method = {"batch": {"duplicate_rpd_percent": 20}, "unit": "mg/kg"}
    (found,) = findings(results(queue, method=method), "dilution-agreement")
    assert found["why"] == (
        "two dilutions of A differ: RPD 35.3 %, at most 20, one on dry weight and the other as received"
    )


@pytest.mark.parametrize(
    ("named", "minutes", "expected"),
    [("C1", 100, [("warn", "A")]), ("C1", 70, []), ("C2", 100, []), (None, 100, [])],
)
def test_calibration_choice(named: str | None, minutes: float, expected: list[tuple[str, str]]) -> None:
    """C2 is complete at 09:25."""
    later = standards(calibration="C2", name="T", first=80)
    tables: Table = {"calibration": [{"id": "C1", "cell_mm": 10}, {"id": "C2", "cell_mm": 10}]}
    standard = [*standards(calibration="C1"), *later]
    result = results([sample("A", at=at(minutes), calibration=named)], standard=standard, **tables)
    assert [(f["state"], " ".join(f["rows"])) for f in findings(result, "calibration-choice")] == expected


def test_a_later_calibration_of_another_cell_is_no_choice() -> None:
    tables: Table = {"calibration": [{"id": "C1", "cell_mm": 10}, {"id": "C2", "cell_mm": 50}]}
    standard = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=80)]
    result = results([sample("A", at=at(100), calibration="C1")], standard=standard, **tables)
    assert findings(result, "calibration-choice") == []


# --- single results -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        ([sample("A", 20)], []),
        ([sample("A", 20.1)], [("fail", "A", 201, None, 200)]),
        ([sample("A", 20.1, report=False, reason="diluted")], []),
        ([check("K", 201)], []),
        ([control("L", 201)], [("fail", "L", 201, None, 200)]),
    ],
)
def test_over_range(queue: list[Table], expected: list[tuple[Any, ...]]) -> None:
    assert verdict(results(queue, method=METHOD), "over-range") == said(*expected)


MOST = {"calibration": {"max_absorbance": 0.4}}


@pytest.mark.parametrize(
    ("reading", "method", "why", "high"),
    [
        (0.6, {}, "above the range it was calibrated in, and reported", 200),
        (0.45, MOST, "reads 0.45 A, above the 0.4 A the method allows, and reported", None),
        (0.6, MOST, "above the range it was calibrated in, and reported", 200),
    ],
)  # fmt: skip
def test_what_a_row_is_above_is_what_it_is_above(reading: float, method: Table, why: str, high: float | None) -> None:
    (found,) = findings(results([row("A", reading)], method=method), "over-range")
    assert (found["why"], found["high"]) == (why, high)


def test_a_sample_above_the_range_has_e_and_no_q_and_a_control_above_it_gives_q() -> None:
    method = METHOD | {"check": {}}
    assert rows(results([sample("A", 20.1)], method=method))["A"]["flags"] == ["E"]
    result = results([control("L", 201), sample("A")], method=method)
    assert rows(result)["A"]["flags"] == ["Q"]


@pytest.mark.parametrize(("mg_per_l", "state"), [(-0.5, None), (-0.51, "warn"), (-2.0, "warn"), (-2.01, "fail")])
def test_negative(mg_per_l: float, state: str | None) -> None:
    for kind in ("sample", "method-blank"):
        found = findings(results([sample("A", mg_per_l, kind=kind)], method=METHOD), "negative")
        assert [each["state"] for each in found] == ([state] if state else [])


@pytest.mark.parametrize("kind", ["field-blank", "equipment-blank", "trip-blank"])
@pytest.mark.parametrize(("mg_per_l", "expected"), [(1.99, []), (2.0, [("warn", "F")])])
def test_a_blank_of_the_journey(kind: str, mg_per_l: float, expected: list[tuple[str, str]]) -> None:
    made = sample("F", mg_per_l, kind=kind)
    bare = {key: value for key, value in made.items() if key not in ("amount", "extract_ml")}
    assert of("field-blank", bare) == expected
    found = rows(results([bare], method=METHOD))["F"]
    assert (found["result"], found["reported"] is not None) == (near(mg_per_l), True)
