"""Rules about the batch QC: state, rows, value and limits of their findings.

0.25 A is 100 mg/L of extract; from 1000 mL by way of 100 mL that is 10 mg/L of water and 10 mg in the bottle.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import Table, findings, results, row, rows, said, standards, verdict

case = pytest.param
Said = tuple[Any, ...]
LIMITS = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}
METHOD: Table = {
    "limits": LIMITS,
    "batch": {
        "samples": 20,
        "control_percent": [70, 130],
        "spike_percent": [80, 120],
        "pair_rpd_percent": 30,
        "duplicate_rpd_percent": 20,
    },
}


def water(name: str, mg_per_l: float, **fields: Any) -> Table:
    """Make a row that reads so much; `fields` may change what kind it is."""
    return row(name, mg_per_l / 40, **fields)


def control(name: str, percent: float, kind: str = "control", **fields: Any) -> Table:
    return water(name, percent / 10, kind=kind, **{"added_mg": 10} | fields)


def spike(name: str, mg_per_l: float, kind: str = "spike", **fields: Any) -> Table:
    return water(name, mg_per_l, kind=kind, **{"of": "A", "added_mg": 10} | fields)


def said_by(rule: str, *queue: Table, **tables: Any) -> list[Said]:
    return verdict(results(queue, **{"method": METHOD} | tables), rule)


# --- batch ----------------------------------------------------------------------------------------------------

QC = [water("MB", 0, kind="method-blank"), control("L", 100), water("D", 10, kind="duplicate", of="A")]


def many(n: int) -> list[Table]:
    return [water("A" if i == 0 else f"A{i}", 10) for i in range(n)]


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([*many(20), *QC], [], id="complete"),
        case([*many(20), *QC[1:]], [("fail", 0, 1)], id="no method blank"),
        case([*many(20), QC[0], QC[2]], [("fail", 0, 1)], id="no control"),
        case([*many(20), *QC[:2]], [("warn", None)], id="neither duplicate nor spike pair"),
        case([*many(20), *QC[:2], spike("M", 20)], [("warn", None)], id="half a spike pair"),
        case([*many(20), *QC[:2], spike("M", 20), spike("N", 20, "spike-duplicate")], [], id="spike pair"),
        case([*many(21), *QC], [("fail", 1, 2), ("fail", 1, 2), ("warn", None)], id="a second batch started"),
        case([*many(20), water("again", 10, sample="A", report=False, reason="x"), *QC], [], id="a bottle counts once"),
        case([*many(21)[:20], water("X", 1, void="broken"), *QC], [], id="void rows do not count"),
        case(QC[:2], [], id="no sample"),
        case(
            [*many(1), *QC[:2], water("D", 10, kind="duplicate", of="A", silica_gel=True)],
            [("warn", None)],
            id="fraction",
        ),
    ],
)
def test_batch(queue: list[Table], expected: list[Said]) -> None:
    found = findings(results(queue, method=METHOD), "batch")
    assert [(each["state"], each["value"], *filter(None, [each["low"]])) for each in found] == expected


def test_batch_is_judged_by_batch_and_fraction() -> None:
    """The petroleum rows of B2 have no QC of their own: that of B1 and of oil and grease does not serve them."""
    first = [made | {"batch": "B1"} for made in [*many(1), *QC]]
    other = water("P", 10, batch="B2", silica_gel=True)
    found = findings(results([*first, other], method=METHOD, batch=[{"id": "B1"}, {"id": "B2"}]), "batch")
    assert [(each["state"], each["rows"]) for each in found] == [("fail", ["P"]), ("fail", ["P"]), ("warn", ["P"])]


def test_row_without_a_batch_belongs_to_the_only_one_else_it_is_a_warning() -> None:
    one = results([water("A", 10)], batch=[{"id": "B1"}])
    assert (rows(one)["A"]["batch"], one["problems"]) == ("B1", [])
    two = results([water("A", 10)], batch=[{"id": "B1"}, {"id": "B2"}])
    assert rows(two)["A"]["batch"] is None
    assert two["problems"] == []
    assert verdict(two, "batch") == said(("warn", "A"))


# --- method blank ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mg_per_l", "amount", "expected"),
    [
        (0.1, 1000, ("pass", "MB", 0.1, None, 2)),
        (1.99, 1000, ("pass", "MB", 1.99, None, 2)),
        (2.0, 1000, ("fail", "MB", 2.0, None, 2)),
        (3.9, 500, ("fail", "MB", 7.8, None, 4)),
        (1.9, 500, ("pass", "MB", 3.8, None, 4)),
    ],
)
def test_method_blank_is_below_the_adjusted_reporting_limit(mg_per_l: float, amount: float, expected: Said) -> None:
    assert said_by("method-blank", water("MB", mg_per_l, kind="method-blank", amount=amount)) == said(expected)


@pytest.mark.parametrize(("blank", "flagged"), [(0.49, False), (0.5, True), (0.99, True)])
def test_blank_flag_goes_on_samples_below_ten_times_the_blank(blank: float, flagged: bool) -> None:  # noqa: FBT001
    queue = [
        water("MB", blank, kind="method-blank", batch="B1"),
        water("below", 10 * blank * 0.999, batch="B1"),
        water("at", 10 * blank, batch="B1"),
        water("part", 3, batch="B1", silica_gel=True),
        water("other", 3, batch="B2"),
    ]
    found = rows(results(queue, method=METHOD, batch=[{"id": "B1"}, {"id": "B2"}]))
    assert [name for name, made in found.items() if "B" in made["flags"]] == ["below"] * flagged


# --- controls and spikes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percent", "state"), [(70, "pass"), (100, "pass"), (130, "pass"), (69.9, "fail"), (130.1, "fail")]
)
def test_control(percent: float, state: str) -> None:
    assert said_by("control", control("L", percent)) == said((state, "L", percent, 70, 130))


def test_fraction_has_limits_of_its_own() -> None:
    batch = METHOD["batch"] | {"petroleum": {"control_percent": [64, 132]}, "oil_grease": {"spike_percent": [90, 110]}}
    queue = [control("L", 65), control("P", 65, silica_gel=True), water("A", 0), spike("M", 8.5)]
    result = results(queue, method=METHOD | {"batch": batch})
    assert verdict(result, "control") == said(("fail", "L", 65, 70, 130), ("pass", "P", 65, 64, 132))
    assert verdict(result, "spike") == said(("fail", "M", 85, 90, 110))


@pytest.mark.parametrize(
    ("fields", "unit", "percent"),
    [
        case({"amount": 800, "extract_ml": 50, "dilution": 3}, "mg/L", 100 * 50 * 3 / 1000 / 10 * 100, id="water"),
        case({"matrix": "solid", "amount": 20, "extract_ml": 50, "solids_percent": 80}, "mg/kg", 50, id="dry solid"),
        case({"matrix": "wipe", "amount": 400, "extract_ml": 50}, "mg/100cm2", 50, id="wipe of an area"),
        case({"matrix": "wipe", "amount": None, "extract_ml": 50}, "mg/wipe", 50, id="wipe"),
    ],
)
def test_recovery_is_of_the_found_mass_whatever_the_matrix_and_basis(fields: Table, unit: str, percent: float) -> None:
    """100 mg/L in the extract; (100 x extract x dilution / 1000) mg of the 10 mg added."""
    found = rows(results([row("L", 0.25, kind="control", added_mg=10, **fields)], method={"unit": unit}))["L"]
    assert found["unit"] == unit
    assert found["recovery_percent"] == pytest.approx(percent, rel=1e-12)


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([water("A", 2), spike("M", 12)], ("pass", "M", 100, 80, 120), id="all found"),
        case([water("A", 2), spike("M", 12, amount=500)], ("pass", "M", 110, 80, 120), id="half the bottle"),
        case([water("A", 2), spike("M", 9.9)], ("fail", "M", 79, 80, 120), id="too little"),
        case([water("A", 2), control("L", 60), spike("M", 9.9)], ("fail", "M", 79, 80, 120), id="both out of control"),
        case([water("A", 2), control("L", 90), spike("M", 9.9)], ("warn", "M", 79, 80, 120), id="matrix effect"),
        case(
            [water("A", 2), control("L", 90, silica_gel=True), spike("M", 9.9)],
            ("fail", "M", 79, 80, 120),
            id="control of another fraction",
        ),
        case([water("A", 10), spike("M", 12.5, added_mg=2.5)], ("pass", "M", 100, 80, 120), id="four times the spike"),
        case([water("A", 10.1), spike("M", 12.6, added_mg=2.5)], ("warn", "M", 100, 80, 120), id="spike too small"),
        case([water("A", 10.1), spike("M", 10.1, added_mg=2.5)], ("warn", "M", 0, 80, 120), id="too small and failed"),
        case(
            [water("A", 2, silica_gel=True), spike("M", 12)],
            ("warn", "M", None, 80, 120),
            id="no parent in the fraction",
        ),
        case(
            [water("A", 9, report=False, reason="x"), water("A2", 2, sample="A"), spike("M", 12)],
            ("pass", "M", 100, 80, 120),
            id="the reported row is the parent",
        ),
        case([water("A", 2), spike("M", 7, response_factor=0.5)], ("pass", "M", 100, 80, 120), id="response factor"),
    ],
)
def test_spike(queue: list[Table], expected: Said) -> None:
    assert said_by("spike", *queue) == said(expected)


def test_half_the_bottle_s_spike_is_too_small_sooner() -> None:
    """The added mass is taken to a concentration in the spiked bottle: 2.5 mg in 500 mL are 5 mg/L."""
    queue = [water("A", 19), spike("M", 12, amount=500, added_mg=2.5)]
    assert [each[0] for each in said_by("spike", *queue)] == ["pass"]


@pytest.mark.parametrize(
    ("added", "factor", "state", "value"),
    [
        ("reference oil", None, "pass", 80),
        ("Reference Oil", None, "pass", 80),
        (None, None, "pass", 80),
        ("hexadecane", None, "warn", 80),
        ("hexadecane", 2, "fail", 40),
    ],
)
def test_other_material_without_a_response_factor_is_no_verdict(
    added: str | None, factor: float | None, state: str, value: float
) -> None:
    made = control("L", 80, material=added, response_factor=factor)
    found = said_by("control", made, calibration={"material": "reference oil"})
    assert found == said((state, "L", value, 70, 130))


def test_dry_parent_and_wet_spike_are_not_compared() -> None:
    solid: Table = {"matrix": "solid", "amount": 20}
    queue = [water("A", 2, solids_percent=80, **solid), spike("M", 12, **solid)]
    assert said_by("spike", *queue) == said(("warn", "M", None, 80, 120))


def test_detection_spikes_and_capability_have_results_and_no_verdict() -> None:
    queue = [control("X", 10, "detection-spike"), control("Y", 10, "capability")]
    result = results(queue, method=METHOD)
    assert [made["recovery_percent"] for made in result["rows"]] == pytest.approx([10, 10])
    assert verdict(result, "control") == verdict(result, "spike") == []


# --- pairs ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case(
            [control("L", 100), control("M", 110, "control-duplicate")],
            ("pass", "L M", 100 / 10.5, None, 30),
            id="close",
        ),
        case([control("L", 80), control("M", 120, "control-duplicate")], ("fail", "L M", 40, None, 30), id="apart"),
        case(
            [control("L", 10), control("L2", 100), control("M", 100, "control-duplicate")],
            ("pass", "L2 M", 0, None, 30),
            id="nearest earlier",
        ),
        case(
            [control("L", 100), control("L2", 10, silica_gel=True), control("M", 100, "control-duplicate")],
            ("pass", "L M", 0, None, 30),
            id="of the fraction",
        ),
        case(
            [control("L", 100), control("M", 100, "control-duplicate", amount=980)],
            ("pass", "L M", 200 / 99, None, 30),
            id="amounts 2 % apart",
        ),
        case(
            [control("L", 100), control("M", 150, "control-duplicate", amount=979)],
            ("warn", "L M", ...),
            id="amounts more",
        ),
        case(
            [control("L", 100), control("M", 150, "control-duplicate", added_mg=10.3)],
            ("warn", "L M", ...),
            id="additions",
        ),
        case([control("M", 100, "control-duplicate")], ("warn", "M", None, None, 30), id="alone"),
    ],
)
def test_control_pair(queue: list[Table], expected: Said) -> None:
    found = said_by("control-pair", *queue)
    if expected[-1] is ...:  # no verdict: what value it shows is free
        assert [each[:2] for each in found] == [expected[:2]]
    else:
        assert found == said(expected)


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        case(spike("N", 14, "spike-duplicate"), ("pass", "M N", 200 / 13, None, 30), id="close"),
        case(spike("N", 20, "spike-duplicate"), ("fail", "M N", 50, None, 30), id="apart, on concentrations"),
        case(spike("N", 12, "spike-duplicate", of="Z"), ("warn", "N", None, None, 30), id="of another sample"),
    ],
)
def test_spike_pair(second: Table, expected: Said) -> None:
    queue = [water("A", 2), water("Z", 2), spike("M", 12), second]
    assert said_by("spike-pair", *queue) == said(expected)


@pytest.mark.parametrize(
    ("one", "other", "fields", "expected"),
    [
        case(12, 14, {}, ("pass", "A D", 200 / 13, None, 20), id="close"),
        case(12, 15, {}, ("fail", "A D", 300 / 13.5, None, 20), id="apart"),
        case(10, 12.2, {}, ("pass", "A D", 2.2 / 11.1 * 100, None, 20), id="at five times the limit RPD judges"),
        case(9.9, 11.9, {}, ("pass", "A D", 2, None, 2), id="near the limit the difference judges"),
        case(9.9, 12, {}, ("fail", "A D", 2.1, None, 2), id="near the limit and apart"),
        case(9, 13, {"amount": 400}, ("fail", "A D", 23.5, None, 5), id="the larger limit"),
        case(0.4, 0.1, {}, ("pass", "A D", 120, None, None), id="both below detection"),
        case(0.4, 2.4, {}, ("pass", "A D", 2, None, 2), id="one below detection"),
    ],
)
def test_duplicate(one: float, other: float, fields: Table, expected: Said) -> None:
    assert said_by("duplicate", water("A", one), water("D", other, kind="duplicate", of="A", **fields)) == said(
        expected
    )


@pytest.mark.parametrize(
    "parent",
    [water("A", 10, silica_gel=True), water("A", 10, void="x"), water("A", 10, report=False, reason="x"), row("A")],
    ids=["other fraction", "void", "superseded", "unread"],
)
def test_duplicate_without_a_reported_parent_is_no_verdict(parent: Table) -> None:
    queue = [parent, water("D", 10, kind="duplicate", of="A")]
    found = said_by("duplicate", *queue, sample=[{"id": "A"}])
    assert [each[0] for each in found] == ["warn"]


@pytest.mark.parametrize(("batch", "state", "why"), [
    ({}, "pass", ""),
    ({"duplicate_rpd_percent": 20}, "warn", "the mean of both is not above 0: no RPD, not judged"),
])  # fmt: skip
def test_two_results_below_zero_have_no_rpd(batch: Table, state: str, why: str) -> None:
    """In another unit than the method's they have no limits either; without one of the RPD nothing was computed."""
    queue = [row("A", -0.01, matrix="extract"), row("D", -0.02, kind="duplicate", of="A", matrix="extract")]
    (found,) = findings(results(queue, method=METHOD | {"batch": batch}), "duplicate")
    assert (found["state"], found["why"]) == (state, why)


def test_unread_row_has_its_verdict_to_come() -> None:
    kinds: dict[str, Table] = {
        "control": {"added_mg": 1},
        "spike": {"of": "A", "added_mg": 1},
        "duplicate": {"of": "A"},
        "method-blank": {},
    }
    queue = [water("A", 10), *(row(kind, kind=kind, **fields) for kind, fields in kinds.items())]
    result = results(queue, method=METHOD)
    assert [findings(result, kind)[0]["state"] for kind in kinds] == ["todo"] * 4


def test_lowest_level_carries_the_reporting_limit_of_a_method_blank() -> None:
    made = standards([50, 75, 100, 150, 200])
    found = said_by("method-blank", water("MB", 3, kind="method-blank"), standard=made)
    assert found == said(("pass", "MB", 3, None, 5))


def test_spike_pair_is_an_earlier_spike_of_the_same_sample() -> None:
    pair = [spike("M", 12), spike("N", 14, "spike-duplicate")]
    assert [each[0] for each in said_by("spike-pair", water("A", 2), *pair)] == ["pass"]
    assert [each[0] for each in said_by("spike-pair", water("A", 2), *pair[::-1])] == ["warn"]


# --- more edges ---------------------------------------------------------------------------------------------------


def test_a_parent_below_zero_counts_as_nothing() -> None:
    queue = [water("A", -0.4), spike("M", 10)]
    (found,) = findings(results(queue, method=METHOD), "spike")
    assert found["value"] == pytest.approx(100)


def test_a_control_above_the_range_and_a_spike_of_such_a_sample_are_not_judged() -> None:
    for queue in ([water("L", 30, kind="control", added_mg=30)], [water("A", 30), spike("M", 35)]):
        result = results(queue, method=METHOD)
        (found,) = [each for each in result["quality"] if each["rule"] in ("control", "spike")]
        assert (found["state"], "above the range" in found["why"]) == ("warn", True)


def test_a_method_blank_warns_where_every_sample_is_far_above_it_or_below_its_limit() -> None:
    blank = water("MB", 2.0, kind="method-blank")
    for samples, state in (
        ([20.0], "warn"),
        ([19.9], "fail"),
        ([20.0, 0.1], "warn"),
        ([20.0, 1.0], "fail"),
        ([], "fail"),
    ):
        queue = [blank, *(water(f"A{n}", value) for n, value in enumerate(samples))]
        assert [each[0] for each in verdict(results(queue, method=METHOD), "method-blank")] == [state]


def test_b_goes_on_no_sample_that_is_below_its_limit() -> None:
    queue = [water("MB", 1.0, kind="method-blank"), water("A", 0.1), water("B", 9.9), water("C", 10.0)]
    made = rows(results(queue, method=METHOD))
    assert [("B" in made[name]["flags"]) for name in "ABC"] == [False, True, False]


@pytest.mark.parametrize(
    ("more", "warns"),
    [
        ([], 1),
        ([("D1", "duplicate")], 1),
        ([("D1", "duplicate"), ("D2", "duplicate")], 0),
        ([("D1", "duplicate"), ("L2", "control-duplicate")], 0),
    ],
)
def test_duplicates_and_pairs_are_counted_for_each_started_batch(more: list[tuple[str, str]], warns: int) -> None:
    extra = [water(name, 10, kind=kind, of="T0") if kind == "duplicate" else water(name, 10, kind=kind, added_mg=10)
             for name, kind in more]  # fmt: skip
    qc = [water(f"MB{n}", 0, kind="method-blank") for n in (1, 2)] + [
        water(f"L{n}", 10, kind="control", added_mg=10) for n in (0, 1)
    ]
    result = results([*qc, *(water(f"T{n}", 10) for n in range(21)), *extra], method=METHOD)
    assert [each["state"] for each in findings(result, "batch")] == ["warn"] * warns


def test_a_duplicate_on_another_basis_is_not_judged() -> None:
    solid: Table = {"matrix": "solid", "amount": 10, "extract_ml": 20}
    queue = [row("A", 0.2, **solid), row("D", 0.2, kind="duplicate", of="A", solids_percent=80, **solid)]
    (found,) = findings(results(queue, method=METHOD | {"unit": "mg/kg"}), "duplicate")
    assert (found["state"], "dry weight" in found["why"]) == ("warn", True)


def test_a_superseded_control_that_a_later_one_makes_good_bears_on_nothing() -> None:
    low, good = ({"kind": "control", "added_mg": 10} for _ in range(2))
    queue = [water("L1", 4, report=False, reason="again", **low), water("L2", 10, **good), water("A", 10)]
    (found,) = [each for each in findings(results(queue, method=METHOD), "control") if each["state"] == "fail"]
    assert (found["rows"], found["affects"]) == (["L1"], [])
    kept = [water("L1", 4, **low), *queue[1:]]
    (found,) = [each for each in findings(results(kept, method=METHOD), "control") if each["state"] == "fail"]
    assert found["affects"] == ["A"]


def test_a_duplicate_without_a_result_of_its_own_says_so() -> None:
    bare = row("DUP", 0.25, kind="duplicate", of="A", amount=None)
    result = results([row("A", 0.25), bare], method={"batch": {"duplicate_rpd_percent": 20}})
    assert [f["why"] for f in findings(result, "duplicate")] == ["it has no result: not judged"]


def test_what_a_batch_has_is_counted_in_words() -> None:
    result = results([row("A", 0.25), row("MB", 0.0, kind="method-blank")], method={"batch": {"samples": 20}})
    assert [f["why"] for f in findings(result, "batch")] == [
        "oil and grease: 0 controls for 1 sample, 1 needed",
        "oil and grease: 0 duplicates or pairs for 1 sample, 1 needed",
    ]
