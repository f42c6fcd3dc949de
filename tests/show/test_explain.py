"""Why this number: each sentence says what the sheet has, and no more."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from runsheet import evaluate
from runsheet.show import explain
from runsheet.show.columns import setup_value
from tests.make import NOW, Table, at, row, run, standards

BOTH = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "closing": True}}
BLANK = row("SB", 0.0, kind="blank")
CHECK = row("CCV", 0.25, kind="check", expected=100)
A = row("A", 0.25)
OPENS = "the calibration opens its bracket"
CHECKED = "the check standard after it passes"
NO_LIMIT = "the check standard after it has no limit"
UNASKED = "no blank after it, and the method asks for none to close it"


def explained(queue: list[Table], key: str, name: str = "A", **tables: Any) -> list[str]:
    sheet = evaluate(run(queue, **tables), datetime.fromisoformat(NOW))
    found = next(each for each in sheet.rows if each.id == name)
    return explain.lines(found, sheet, key)


@pytest.mark.parametrize(
    ("queue", "method", "expected"),
    [
        ([A], BOTH, "read; waiting for the blank and check standard that close its bracket"),
        ([A, BLANK], BOTH, "read; waiting for the check standard that closes its bracket"),
        ([A], {"check": BOTH["check"]}, "read; waiting for the check standard that closes its bracket"),
        ([BLANK, CHECK, A, BLANK | {"id": "SB2"}, CHECK | {"id": "CCV2"}], BOTH,
         "the blanks and check standards on both sides pass"),
        ([CHECK, A, CHECK | {"id": "CCV2"}], {"check": BOTH["check"]}, "the check standards on both sides pass"),
        ([A, BLANK, CHECK], BOTH,
         f"the blank and check standard after it pass; no blank and no check standard before it: {OPENS}"),
        ([BLANK, A, CHECK], {"blank": BOTH["blank"], "check": {"closing": False}},
         f"the blank before it passes; {NO_LIMIT}; no check standard before it: {OPENS}; {UNASKED}"),
        ([A], {}, "the method asks for no blank and no check standard"),
    ],
)  # fmt: skip
def test_what_a_row_is_accepted_by_or_waits_for_is_what_stands_beside_it(
    queue: list[Table], method: Table, expected: str
) -> None:
    assert explained(queue, "state", method=method) == [expected]


UNLIMITED = (
    f"the check standard before it passes; the blank before it has no limit; {CHECKED}; the blank after it has no limit"
)
AS_LEFT = (
    "the check standard before it passes; the blank before it was left within its limit; "
    "the blank and check standard after it pass"
)
AS_FOUND = f"the blank and check standard before it pass; {CHECKED}; the blank after it was found within its limit"


@pytest.mark.parametrize(
    ("blanks", "blank", "expected"),
    [
        ([{}, {}], {"concentration": 2.0}, UNLIMITED),
        ([{}, {}], {"every_readings": 20}, UNLIMITED),
        ([{"readings": [0.02], "rezeroed": True}, {}], {"absorbance": 0.005}, AS_LEFT),
        ([{}, {"rezeroed": True, "as_left": 0.02}], {"absorbance": 0.005}, AS_FOUND),
    ],
)
def test_no_blank_passes_that_has_no_limit_or_passes_on_one_side_alone(
    blanks: list[Table], blank: Table, expected: str
) -> None:
    """A limit in the other unit is none for it; one found off and re-zeroed within its limit fails as found."""
    before, after = blanks
    queue = [BLANK | before, CHECK, A, BLANK | after | {"id": "SB2"}, CHECK | {"id": "CCV2"}]
    assert explained(queue, "state", method={"check": BOTH["check"], "blank": blank}) == [expected]


def test_a_check_standard_without_a_limit_is_not_said_to_pass() -> None:
    found = explained([CHECK, A, CHECK | {"id": "CCV2"}], "state", method={"check": {"closing": True}})
    assert found == [f"the check standard before it has no limit; {NO_LIMIT}"]


def test_what_holds_a_row_is_a_sentence_whatever_its_reason_is() -> None:
    """It said: held: check standard CCV2 its expected value is missing."""
    bare, low = row("CCV2", 0.25, kind="check"), row("CCV2", 0.2, kind="check", expected=100)
    held = "held: check standard CCV2: "
    assert explained([CHECK, A, bare], "state", method=BOTH) == [f"{held}its expected value is missing"]
    assert explained([A, low], "state", method=BOTH) == [f"{held}recovers 80.0 %, limits 90-110"]


def test_what_is_superseded_is_told_so_before_what_it_waits_for() -> None:
    old = A | {"report": False, "reason": "read again as A-1"}
    assert explained([BLANK, old, row("A-1", 0.2)], "state", method=BOTH) == [
        "superseded: read again as A-1; read; waiting for the blank and check standard that close its bracket"
    ]


def test_what_fails_is_told_so_before_what_it_waits_for() -> None:
    """The column said FAIL, and the line below it that all it lacks is a blank."""
    icv = row("ICV", 0.3, kind="second-source", expected=100)
    check = {"recovery_percent": [90, 110], "second_source_percent": [90, 110], "closing": True}
    waits = "read; waiting for the blank and check standard that close its bracket"
    assert explained([icv], "state", "ICV", method={"blank": BOTH["blank"], "check": check}) == [
        f"fails: recovers 120.0 %, limits 90-110; {waits}"
    ]
    twice = [A, row("DUP", 0.4, kind="duplicate", of="A")]
    rpd = "fails: duplicate A DUP: RPD 46.2 %, at most 20"
    assert explained(twice, "state", method={**BOTH, "batch": {"duplicate_rpd_percent": 20}}) == [f"{rpd}; {waits}"]


@pytest.mark.parametrize(("event", "name"), [(BLANK, "SB"), (CHECK, "CCV")])
@pytest.mark.parametrize(
    ("method", "said"),
    [(BOTH, "within its limits"), ({"check": {"closing": True}}, "read; the method has no limit for it")],
)
def test_an_event_without_a_limit_is_within_none(event: Table, name: str, method: Table, said: str) -> None:
    assert explained([event, A], "state", name, method=method) == [said]


def test_a_standard_read_as_transmittance_is_no_mean_of_percents() -> None:
    percents = standards(ys=[94.4, 86.6, 75, 56.2, 31.6])
    made = run([A], instrument={"reads": "transmittance", "step": 0.1}, standard=percents)
    sheet = evaluate(made, datetime.fromisoformat(NOW))
    (curve,) = sheet.calibrations
    told = {step.figure: step.numbers for step in explain.standard(curve.standards[4], curve, sheet)}
    assert told["y"] == "mean of 31.6 %T, each as A = -log10(T / 100), - zero 0.0000 = 0.500312917 A"


@pytest.mark.parametrize(
    ("given", "said"),
    [({}, "the calibration says nothing else"), ({"drift": "last"}, "the calibration's own setting")],
)
def test_a_setting_is_the_calibrations_own_where_it_has_it(given: Table, said: str) -> None:
    assert explained([BLANK, A], "drift", calibration=given)[2].strip() == said


LIMITS = {"nominal_amount": 1000, "nominal_extract_ml": 100}


def test_the_reporting_limit_is_told_as_it_was_found() -> None:
    on_curve = explained([A], "reporting", method={"limits": {**LIMITS, "reporting": 2.0}})
    assert on_curve[0].endswith(", or the lowest standard 10 mg/L x factor where larger")
    none = explained([A], "reporting", method={"limits": {**LIMITS, "detection": 0.5}})
    assert none[1].strip() == "the method has none, lowest standard 10 mg/L x 0.1 = 1 mg/L"
    assert on_curve[1].strip() == "method's 2.0 x 0.1 / 0.1 = 2 mg/L"
    low = explained([A], "reporting", method={"limits": {**LIMITS, "reporting": 0.6}})
    assert low[1].strip() == "method's 0.6 comes to less, lowest standard 10 mg/L x 0.1 = 1 mg/L"
    direct = explained(
        [row("A", 100)],
        "reporting",
        method={"limits": {**LIMITS, "reporting": 0.2}},
        instrument={"reads": "concentration", "step": 0.1},
        calibration={"model": "direct"},
    )
    assert direct[:2] == [
        "reporting limit = method's x factor / nominal factor",
        "  method's 0.2 x 0.1 / 0.1 = 0.2 mg/L",
    ]


def test_the_reporting_limit_names_what_it_was_taken_from() -> None:
    """The source that the method gives for its own limit is none of a limit that the lowest standard set."""
    sourced = {"sources": {"limits.reporting": "the permit"}}
    by_method = explained([A], "reporting", method={"limits": {**LIMITS, "reporting": 2.0}} | sourced)
    assert by_method[2].strip() == "the permit"
    unsaid = explained([A], "reporting", method={"limits": {**LIMITS, "reporting": 2.0}})
    assert unsaid[2].strip() == "the method gives no source"
    by_standard = explained([A], "reporting", method={"limits": {**LIMITS, "reporting": 0.6}} | sourced)
    assert by_standard[2].strip() == "the standards of C1"
    without_limits = explained([A], "reporting")
    assert without_limits[1].strip() == "the method has none, lowest standard 10 mg/L x 0.1 = 1 mg/L"
    assert without_limits[2].strip() == "the standards of C1"


@pytest.mark.parametrize(
    ("method", "source"),
    [({"setup": {"zero_absorbance": 0.001}}, "the method gives no source"), ({}, "the method has no limit for it")],
)
def test_a_setup_check_without_a_source_is_given_none(method: Table, source: str) -> None:
    setup = [{"check": "zero", "readings": [0.0], "at": at(1)}]
    sheet = evaluate(run([A], setup=setup, method=method), datetime.fromisoformat(NOW))
    (step,) = explain.setup_check(sheet.setup[0], sheet)
    assert step.source == source


@pytest.mark.parametrize(
    ("minutes", "value", "state"),
    [(0.002, "0", "todo"), (14.996, "14.9", "todo"), (15, "15", "pass"), (1234567.89, "1234567.8", "pass")],
)
def test_a_warm_up_is_told_in_minutes_that_have_passed(minutes: float, value: str, state: str) -> None:
    made = run(
        [row("A")],
        setup=[{"check": "warm-up", "started": at(0)}],
        method={"setup": {"warm_up_minutes": 15}},
        standard=[],
    )
    sheet = evaluate(made, at(minutes))
    (result,) = sheet.setup
    assert (setup_value(result), result.state) == (value, state)
    (step,) = explain.setup_check(result, sheet)
    assert step.numbers == f"{value} min, at least 15 min: {state}"


def test_the_uncertainty_names_the_parts_that_are_in_it() -> None:
    method = {"uncertainty": {"volumes_percent": 1, "dilution_percent": 2, "coverage": 2}}
    diluted = explained([row("A", 0.25, dilution=2)], "U", method=method)
    assert "parts: volumes 1 %, dilution 2 %:" in diluted[1]
    assert "parts: volumes 1 %:" in explained([A], "U", method=method)[1]
    direct = explained(
        [row("A", 100)],
        "U",
        method=method,
        instrument={"reads": "concentration", "step": 0.1},
        calibration={"model": "direct"},
    )
    assert direct[2].strip() == "scatter of the readings, or the display step; instrument and volumes only"


def test_a_recovery_says_what_was_divided_by() -> None:
    control = row("LCS", 0.25, kind="control", added_mg=8, response_factor=1.25)
    assert explained([control], "recovery_percent", "LCS")[:2] == [
        "recovery = result x m / added mg x 100 / response factor; m = extract mL x dilution / (1000 x factor)",
        "  10 x 1 / 8 x 100 / 1.25 = 100.00 %",
    ]
    spike = row("MS", 0.5, kind="spike", of="A", added_mg=10)
    assert explained([A, spike], "recovery_percent", "MS")[:2] == [
        "recovery = (result - that of A) x m / added mg x 100; m = extract mL x dilution / (1000 x factor)",
        "  (20 - 10) x 1 / 10 x 100 = 100.00 %",
    ]


def test_a_reading_near_the_zero_has_the_digits_its_result_is_computed_from() -> None:
    """0.0003 / 0.0025 would be 0.12 mg/L, a tenth less than is printed."""
    zero = [{"id": "S0", "concentration": 0, "readings": [0.001], "at": at(20)}, *standards(ys=YS)]
    curve = {"model": "line-through-zero"}
    near = explained([row("A", 0.001, 0.001, 0.002)], "extract", standard=zero, calibration=curve)
    assert near[1].strip() == "0.000333333 / 0.0025 = 0.13333 mg/L of extract"
    plain = explained([row("A", 0.112)], "net", standard=zero, calibration=curve)
    assert plain[1].strip() == "0.1120 - 0.0010 = 0.1110 A"


YS = [0.001 + 0.0025 * x for x in (10, 25, 50, 100, 200)]


def test_the_flags_of_a_worked_result_are_the_letters_printed_beside_it() -> None:
    printed = explained([row("A", 0.25, dilution=2)], "reported", method={"flags": {"D": "d"}})
    assert printed[-2].strip() == "20 -> 20.0 mg/L, flags d"


def test_a_setup_check_names_the_methods_source_and_what_ended_a_warm_up() -> None:
    made = run(
        [A | {"at": at(40)}],
        setup=[{"check": "warm-up", "started": at(0)}],
        method={"setup": {"warm_up_minutes": 15}, "sources": {"setup.warm_up_minutes": "the maker's manual"}},
    )
    sheet = evaluate(made, datetime.fromisoformat(NOW))
    (step,) = explain.setup_check(sheet.setup[0], sheet)
    assert (step.formula, step.source) == ("minutes from lamp on to the first reading after it, else to now",
                                           "the maker's manual")  # fmt: skip


def test_a_setup_reading_without_an_absorbance_is_not_said_to_be_none_yet() -> None:
    zero = {"check": "zero", "reads": "transmittance", "readings": [0], "at": at(1)}
    method = {"setup": {"zero_absorbance": 0.001}}
    sheet = evaluate(run(setup=[zero, {"check": "dark"}], method=method), datetime.fromisoformat(NOW))
    read, unread = (explain.setup_check(result, sheet)[0].numbers for result in sheet.setup)
    assert read == "0 %T and below has no absorbance: it is no reading, at most 0.001 A: fail"
    assert unread == "not read yet, no limit: todo"


def test_a_baseline_is_from_a_zero_only_where_one_was_read() -> None:
    assert explained([A], "drift")[1].strip() == "no zero standard of C1 is read and used: 0.0000 A"
    zero = [{"id": "S0", "concentration": 0, "readings": [0.002], "at": at(20)}, *standards()]
    assert explained([A], "drift", standard=zero)[1].strip() == "from the zero of C1: 0.0020 A"


def test_a_direct_reading_is_no_absorbance_and_has_no_curve_that_holds_its_zero() -> None:
    shown: Table = {"instrument": {"reads": "concentration", "step": 1}, "standard": [
        {"id": "S0", "concentration": 0, "readings": [2]}, {"id": "S1", "concentration": 100, "readings": [101]},
    ]}  # fmt: skip
    direct = {"model": "direct", "cell_mm": 10, "zero_standard": "ignore"}
    read = row("A", 45)
    assert explained([read], "drift", calibration=direct, **shown)[1].strip() == (
        "from the zero of C1, less the zero 2.0000, which the standards keep: 0.0000 mg/L"
    )
    sheet = evaluate(run([row("A", 45, cell_mm=50)], calibration=direct, **shown), datetime.fromisoformat(NOW))
    assert [step.numbers for step in explain.steps(sheet.rows[0], sheet)] == ["45.0000 mg/L"]
