"""Rules about single results, times and records: state, rows, value and limits of their findings."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pytest

from tests.make import SLOPE, Table, at, findings, results, row, rows, said, standards, verdict

case = pytest.param
Said = tuple[Any, ...]
LIMITS = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}


@pytest.mark.parametrize(
    ("readings", "expected"),
    [
        case([0.2], [], id="one reading"),
        case([0.18, 0.22], [("pass", "A", 0.02, None, 0.02)], id="at ten percent"),
        case([0.179, 0.221], [("warn", "A", 0.021, None, 0.02)], id="beyond"),
        case([0.011, 0.017], [("pass", "A", 0.003, None, 0.003)], id="three steps of a low reading"),
        case([0.010, 0.018], [("warn", "A", 0.004, None, 0.003)], id="beyond three steps"),
        case([0.2, 0.2, 0.23], [("pass", "A", 0.02, None, 0.021)], id="against the mean"),
    ],
)
def test_replicates(readings: list[float], expected: list[Said]) -> None:
    result = results([row("A", *readings)], method={"batch": {"replicate_percent": 10}})
    assert verdict(result, "replicates") == said(*expected)


def test_replicates_are_within_a_part_of_the_net_mean() -> None:
    """At a zero of 0.1 the mean of 0.2 is 0.1 net: 0.02 is too much."""
    zero = [
        {"id": "Z", "concentration": 0, "readings": [0.1]},
        *standards(ys=[0.1 + SLOPE * x for x in (10, 25, 50, 100, 200)]),
    ]
    result = results([row("A", 0.18, 0.22)], standard=zero, method={"batch": {"replicate_percent": 10}})
    assert verdict(result, "replicates") == said(("warn", "A", 0.02, None, 0.01))


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([row("A", 0.02, dilution=2)], [("warn", "A", 2)], id="J on a diluted row"),
        case([row("A", 0.001, dilution=2)], [("warn", "A", 2)], id="U on a diluted row"),
        case([row("A", 0.02)], [], id="undiluted"),
        case([row("A", 0.3, dilution=2)], [], id="high enough"),
        case([row("A", 0.6), row("A2", 0.02, sample="A", dilution=5)], [], id="a less diluted row"),
        case(
            [row("A", 0.6, dilution=5), row("A2", 0.02, sample="A", dilution=5)], [("warn", "A2", 5)], id="as diluted"
        ),
        case([row("B", 0.6), row("A2", 0.02, sample="A", dilution=5)], [("warn", "A2", 5)], id="of another sample"),
        case([row("A", 0.6, void="x"), row("A2", 0.02, sample="A", dilution=5)], [("warn", "A2", 5)], id="void"),
    ],
)
def test_over_dilution(queue: list[Table], expected: list[Said]) -> None:
    assert verdict(results(queue, method={"limits": LIMITS}), "over-dilution") == said(*expected)


@pytest.mark.parametrize(("excess", "fails"), [(-1, False), (0, False), (0.99, False), (1.01, True)])
def test_petroleum_exceeds_oil_and_grease_by_more_than_both_uncertainties(excess: float, fails: bool) -> None:  # noqa: FBT001
    """The standards being on a line, U = 2 x 1 % of either result and the step; the excess in units of both."""
    method = {"uncertainty": {"volumes_percent": 1, "coverage": 2}}
    whole, u = 10.0, 0.02 * 10 * 2**0.5
    queue = [
        row("OG", whole / 40, sample="W"),
        row("HC", (whole + excess * u * 1.015) / 40, sample="W", silica_gel=True),
    ]
    found = results(queue, method=method, instrument={"reads": "absorbance", "step": 1e-9})
    one, other = rows(found)["OG"], rows(found)["HC"]
    over, allowed = other["result"] - one["result"], (one["U"] ** 2 + other["U"] ** 2) ** 0.5
    assert (over > allowed) == fails
    assert verdict(found, "fractions") == said(*[("fail", "OG HC", over, None, allowed)] * fails)


@pytest.mark.parametrize(
    ("reads", "grams", "expected"),
    [
        (0.25, 3, []),
        (0.25, 2.9, [("warn", "HC", 2.9, 3)]),
        (0.2525, 3, [("warn", "HC", 3, 6)]),
        (0.0, 2.9, [("warn", "HC", 2.9, 3)]),
    ],
)
def test_silica_gel_by_the_reported_oil_and_grease_in_the_extract(
    reads: float, grams: float, expected: list[Said]
) -> None:
    """0.25 A diluted ten times is 1000 mg/L, 100 mg in 100 mL; at 0 mg the first 100 mg count as started."""
    queue = [
        row("OG", reads, sample="W", dilution=10),
        row("OG2", 0.5, sample="W", dilution=10, report=False, reason="x"),
        row("HC", 0.1, sample="W", silica_gel=True, silica_gel_g=grams),
    ]
    assert verdict(results(queue), "silica-gel") == said(*expected)


@pytest.mark.parametrize(
    ("second", "expected"),
    [
        case({}, [("fail", "A A2", 2, None, 1)], id="both reported"),
        case({"report": False, "reason": "diluted"}, [], id="superseded"),
        case({"void": "spilt"}, [], id="void"),
        case({"silica_gel": True}, [], id="other fraction"),
        case({"sample": "B"}, [], id="other sample"),
    ],
)
def test_one_result(second: Table, expected: list[Said]) -> None:
    queue = [row("A", 0.2), row("A2", 0.21, **{"sample": "A"} | second)]
    assert verdict(results(queue), "one-result") == said(*expected)


@pytest.mark.parametrize(
    ("kind", "fields", "states"),
    [
        case("sample", {"amount": None}, ["fail"], id="sample without an amount"),
        case("sample", {"extract_ml": None}, ["fail"], id="sample without an extract volume"),
        case("sample", {"amount": None, "readings": []}, ["warn"], id="not read yet"),
        case("sample", {"amount": None, "matrix": "wipe"}, [], id="wipe without an area"),
        case("sample", {"amount": None, "extract_ml": None, "matrix": "extract"}, [], id="extract"),
        case("method-blank", {"amount": None, "extract_ml": None}, [], id="method blank takes the nominal"),
        case("control", {"amount": None, "extract_ml": None}, [], id="control takes the nominal"),
        case(
            "sample",
            {"amount": None, "full_g": 100.0, "empty_g": 90, "not_sample_ml": 10},
            ["fail"],
            id="nothing left",
        ),
    ],
)
def test_amounts(kind: str, fields: Table, states: list[str]) -> None:
    result = results([row("A", 0.2, kind=kind, **fields)], method={"limits": LIMITS})
    assert [found["state"] for found in findings(result, "amounts")] == states
    assert (rows(result)["A"]["result"] is None) == bool(states)


def test_unit() -> None:
    result = results([row("A", 0.2), row("S", 0.2, matrix="solid", amount=20)], method={"limits": LIMITS})
    assert verdict(result, "unit") == said(("warn", "S"))
    made = rows(result)["S"]
    assert (made["unit"], made["detection"], made["reporting"]) == ("mg/kg", None, None)
    assert made["result"] == pytest.approx(400)


# --- times ----------------------------------------------------------------------------------------------------

DAY = 24 * 60


@pytest.mark.parametrize(
    ("holding", "collected", "expected"),
    [
        case({"collection_to_analysis_days": 28}, at(60 - 28 * DAY), [("pass", "A", 28, None, 28)], id="to the minute"),
        case(
            {"collection_to_analysis_days": 28},
            at(59 - 28 * DAY),
            [("fail", "A", 28 + 1 / DAY, None, 28)],
            id="a minute over",
        ),
        case(
            {"collection_to_analysis_days": 28}, date(2026, 3, 10), [("pass", "A", 33 / 24, None, 28)], id="from 00:00"
        ),
        case({"collection_to_extraction_days": 14}, at(30 - 14 * DAY), [("pass", "A", 14, None, 14)], id="extraction"),
        case(
            {"collection_to_extraction_days": 14},
            at(29 - 14 * DAY),
            [("fail", "A", 14 + 1 / DAY, None, 14)],
            id="extraction late",
        ),
        case({"extraction_to_analysis_days": 1}, at(0), [("pass", "A", 0.5 / 24, None, 1)], id="from extraction"),
    ],
)
def test_holding(holding: Table, collected: Any, expected: list[Said]) -> None:
    """Extracted at 08:30 (the batch's end), read at 09:00."""
    result = results(
        [row("A", 0.2, at=at(60))],
        run={"id": "T", "offset": "+01:00"},
        method={"holding": holding},
        sample=[{"id": "A", "collected": collected}],
        batch=[{"id": "B", "finished": at(30)}],
    )
    assert verdict(result, "holding") == said(*expected)
    assert rows(result)["A"]["flags"] == ["H"] * (expected[0][0] == "fail")


def test_row_s_own_extraction_comes_before_the_batch_s() -> None:
    result = results(
        [row("A", 0.2, at=at(2 * DAY), extracted=at(0))],
        now=at(2 * DAY).isoformat(),
        method={"holding": {"extraction_to_analysis_days": 1}},
        batch=[{"id": "B", "finished": at(2 * DAY - 60)}],
    )
    assert verdict(result, "holding") == said(("fail", "A", 2, None, 1))


def test_holding_of_unknown_ends_names_the_samples_once() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(61)), row("B2", 0.2, at=at(62), sample="B"), row("C", 0.2)]
    limits = {"collection_to_analysis_days": 28, "extraction_to_analysis_days": 40}
    result = results(queue, method={"holding": limits}, sample=[{"id": "C", "collected": at(0)}])
    assert verdict(result, "holding") == said(("warn", "A B C"), ("warn", "A B C"))


@pytest.mark.parametrize(("expires", "good"), [(date(2026, 3, 11), True), (date(2026, 3, 10), False)])
@pytest.mark.parametrize("what", ["standard", "check", "second-source", "solvent", "unused", "void"])
def test_expiry(what: str, expires: date, good: bool) -> None:  # noqa: FBT001 - a parameter's value
    made: Table = {"queue": [row("A", 0.2, at=at(60))], "standard": standards()}
    if what in ("standard", "unused"):
        made["standard"][0] |= {"expires": expires} | ({"use": False, "reason": "old"} if what == "unused" else {})
    elif what == "solvent":
        made["solvent"] = {"expires": expires}
    else:
        kind = "check" if what == "void" else what
        late = row("K", 0.25, kind=kind, expected=100, expires=expires, at=at(60), void="x" if what == "void" else None)
        made["queue"].append(late)
    expected = {"standard": "S1", "solvent": "A"}.get(what, "K")
    found = findings(results(**made), "expiry")
    assert [(each["state"], each["rows"]) for each in found] == [("fail", [expected])] * (
        not good and what not in ("unused", "void")
    )


def test_a_solvent_past_its_day_is_told_once_standards_are_read_with_it() -> None:
    made: Table = {"solvent": {"expires": date(2026, 3, 10)}, "standard": standards()}
    names = [each["id"] for each in made["standard"] if each.get("use", True)]
    assert verdict(results([row("A")], **made), "expiry") == said(("fail", " ".join(names)))
    assert verdict(results([row("A", 0.2, at=at(60))], **made), "expiry") == said(("fail", "A"))
    for each in made["standard"]:
        each["readings"] = []
    assert verdict(results([row("A")], **made), "expiry") == []


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        case([60, 61, 62], [], id="forward"),
        case([60, 60, 60], [], id="at one time"),
        case([60, 59, 62], [("warn", "R1")], id="backwards"),
        case([60, None, 59], [("warn", "R2"), ("warn", "R1")], id="backwards past a row without a time"),
        case([60, 61, 241], [("warn", "R2")], id="in the future"),
    ],
)
def test_clock(minutes: list[int | None], expected: list[Said]) -> None:
    queue = [row(f"R{n}", 0.2, at=None if m is None else at(m)) for n, m in enumerate(minutes)]
    assert verdict(results(queue), "clock") == said(*expected)


def test_wet_and_dry_fractions_are_not_compared() -> None:
    solid: Table = {"matrix": "solid", "amount": 20, "extract_ml": 20, "sample": "W"}
    queue = [row("OG", 0.2, **solid), row("HC", 0.18, silica_gel=True, solids_percent=80, **solid)]
    result = results(queue, method={"unit": "mg/kg"})
    assert (result["fractions"], verdict(result, "fractions")) == ([], [])


def test_expiry_is_by_the_time_of_the_reading_and_not_of_the_opening() -> None:
    expires = date(2026, 3, 11)
    queue = [
        row("L", 0.25, kind="control", added_mg=10, expires=expires, at=at(60 + DAY)),
        row("A", 0.2, at=at(61 + DAY)),
    ]
    result = results(queue, run={"id": "T", "opened": at(0)}, now="2026-03-13T08:00:00+01:00")
    (found,) = findings(result, "expiry")
    assert (found["rows"], found["affects"]) == (["L"], ["A"])
    assert findings(results([queue[0] | {"at": at(60)}], run={"id": "T", "opened": at(0)}), "expiry") == []


@pytest.mark.parametrize(
    ("sample", "fields", "fails"),
    [
        ({"collected": at(0), "received": at(10)}, {}, False),
        ({"collected": at(11), "received": at(10)}, {}, True),
        ({"collected": at(70)}, {}, True),
        ({"received": at(70)}, {}, True),
        ({"collected": at(0)}, {"extracted": at(-1)}, True),
        ({}, {"extracted": at(61)}, True),
        ({"collected": date(2026, 3, 11)}, {}, False),
        ({"collected": date(2026, 3, 12)}, {}, True),
        ({"collected": date(2026, 3, 11), "received": at(0)}, {}, False),
    ],
)
def test_a_sample_follows_its_times(sample: Table, fields: Table, fails: bool) -> None:  # noqa: FBT001 - a parameter's value
    queue = [row("A", 0.2, at=at(60), **fields), row("D", 0.2, at=at(61), kind="duplicate", of="A")]
    found = [
        each for each in findings(results(queue, sample=[{"id": "A"} | sample]), "clock") if each["state"] == "fail"
    ]
    assert [each["rows"] for each in found] == ([["A"]] if fails else [])


def test_what_gel_is_too_little_for_is_told_beyond_the_hundred_it_takes() -> None:
    """100 mg of oil and grease need 3 g; 100.2 mg were told as 100 that need 6 g."""
    queue = [row("A", 0.4175, dilution=6), row("AT", 0.1, sample="A", silica_gel=True, silica_gel_g=3)]
    (found,) = findings(results(queue), "silica-gel")
    assert found["why"] == "3 g of silica gel for 100.2 mg of oil and grease, 6 g needed"
    queue[0] = row("A", 0.4, dilution=6)
    (found,) = findings(results([queue[0] | {"dilution": 9}, queue[1]]), "silica-gel")
    assert found["why"] == "3 g of silica gel for 144 mg of oil and grease, 6 g needed"


def test_fractions_without_an_uncertainty_are_not_said_to_have_one_of_nothing() -> None:
    shown: Table = {"instrument": {"reads": "concentration"}, "standard": [], "calibration": {"model": "direct"}}
    queue = [row("A", 40), row("AT", 60, sample="A", silica_gel=True)]
    (found,) = findings(results(queue, **shown), "fractions")
    assert found["why"].endswith("by 2 mg/L, and neither has a U")


def test_what_fractions_are_held_against_is_called_what_it_is() -> None:
    """It was called the uncertainty, and is not the U of the polar part, which knows what both have in common."""
    ys = [0.026, 0.062, 0.126, 0.249, 0.501]
    queue = [row("A", 0.1), row("AT", 0.2, sample="A", silica_gel=True)]
    made = results(queue, standard=standards(ys=ys), method={"uncertainty": {"volumes_percent": 5}})
    (found,) = findings(made, "fractions")
    each = [line["U"] for line in made["rows"]]
    both = math.hypot(*each)
    assert f"{both:.3g}" != f"{made['fractions'][0]['U']:.3g}"
    assert found["high"] == pytest.approx(both)
    assert found["why"].endswith(f"by {found['value']:.3g} mg/L, more than both U, sqrt(U^2 + U^2) = {both:.3g} mg/L")
    quadratic = {"id": "C2", "model": "quadratic", "zero_standard": "ignore"}
    three = standards((10, 50, 100), (0.025, 0.125, 0.25), name="T", calibration="C2")
    first = [one | {"calibration": "C1"} for one in standards(ys=ys)]
    queue[0]["calibration"], queue[1]["calibration"] = "C1", "C2"
    made = results(queue, standard=[*first, *three], calibration=[{"id": "C1", "model": "line"}, quadratic])
    (found,) = findings(made, "fractions")
    assert made["rows"][1]["U"] is None
    assert found["why"].endswith(f"mg/L, more than the U of A, {made['rows'][0]['U']:.3g} mg/L; AT has none")


@pytest.mark.parametrize("kind", ["check", "second-source"])
def test_a_standard_without_a_calibration_is_not_said_to_be_off_its_curve(kind: str) -> None:
    method = {"check": {"recovery_percent": [90, 110], "second_source_percent": [90, 110]}}
    read = row("K", 0.25, kind=kind, expected=100, cell_mm=50)
    result = results([read], method=method, calibration={"cell_mm": 10})
    (found,) = (f for f in findings(result, kind) if f["rows"] == ["K"])
    assert found["why"] == "no calibration of its cell was read in full by its time"
