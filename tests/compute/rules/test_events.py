"""Rules about setup, curve, blanks, checks and what stands between them: state, rows, value and limits of findings."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from tests.make import SLOPE, Table, at, findings, results, row, said, standards, verdict

case = pytest.param
Said = tuple[Any, ...]
ASKED = {"closing": True}


def blank(name: str, reading: float = 0.0, **fields: Any) -> Table:
    return row(name, reading, kind="blank", **fields)


def check(name: str, percent: float = 100, **fields: Any) -> Table:
    """Make a check of 100 mg/L that recovers so much."""
    return row(name, SLOPE * percent, kind="check", expected=100, **fields)


def sample(name: str, *readings: float, **fields: Any) -> Table:
    return row(name, *(readings or (0.25,)), **fields)


# --- what is said again ---------------------------------------------------------------------------------------


def test_setup_says_again_what_fails() -> None:
    checks = [{"check": "zero", "readings": [0.002]}, {"check": "dark", "readings": [0.1]}, {"check": "cell"}]
    method = {"setup": {"zero_absorbance": 0.001, "dark_percent": 0.1}}
    result = results(setup=checks, method=method)
    assert verdict(result, "setup") == said(("fail", "zero", 0.002, None, 0.001))
    assert result["state"] == "fail"


@pytest.mark.parametrize(
    ("calibration", "method", "states"),
    [
        case({}, {"levels": 5}, [], id="good"),
        case({}, {"levels": 6}, ["fail"], id="too few levels"),
        case({"model": "quadratic", "note": "stray light"}, {}, ["warn"], id="quadratic of five levels"),
        case({"model": "line-through-zero", "weighting": "1/x"}, {}, ["warn"], id="weighted through zero"),
        case({"model": "mean-factor"}, {}, [], id="mean factor"),
    ],
)
def test_calibration_says_again_what_fails_or_warns(calibration: Table, method: Table, states: list[str]) -> None:
    result = results(calibration=calibration, method={"calibration": method})
    assert verdict(result, "calibration") == said(*((state, "C1") for state in states))


@pytest.mark.parametrize(
    ("readings", "minutes", "expected"),
    [
        (15, 20, []),
        (20, 20, [("warn", "", 0, 0)]),
        (21, 20, [("fail", "", -1, 0)]),
        (1, 60, [("warn", "", 0, 0)]),
        (1, 61, [("fail", "", -1, 0)]),
    ],
)
def test_due_says_again_what_is_due_or_overdue(readings: int, minutes: int, expected: list[Said]) -> None:
    method = {"blank": {"every_readings": 20, "every_minutes": 60}}
    queue = [blank("B", at=at(60)), sample("A", *[0.25] * readings, at=at(61)), {"id": "Z", "kind": "sample"}]
    assert verdict(results(queue, now=at(60 + minutes).isoformat(), method=method), "due") == said(*expected)


# --- verdicts on rows -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        case(blank("B", 0.005), ("pass", "B", 0.005, -0.005, 0.005), id="at the limit"),
        case(blank("B", -0.005), ("pass", "B", -0.005, -0.005, 0.005), id="at the limit below"),
        case(blank("B", 0.006), ("fail", "B", 0.006, -0.005, 0.005), id="found off"),
        case(blank("B", 0.006, rezeroed=True), ("fail", "B", 0.006, -0.005, 0.005), id="re-zeroed excuses nothing"),
        case(blank("B", 0.001, rezeroed=True, as_left=0.007), ("fail", "B", 0.007, -0.005, 0.005), id="left off"),
        case(blank("B", 0.001, as_left=0.007), ("pass", "B", 0.001, -0.005, 0.005), id="left counts when re-zeroed"),
    ],
)
def test_blank(made: Table, expected: Said) -> None:
    assert verdict(results([made], method={"blank": {"absorbance": 0.005}}), "blank") == said(expected)


def test_comparisons_forgive_binary_fractions() -> None:
    """0.014 - 0.009 is within 0.005."""
    queue = [blank("B1", 0.009), blank("B2", 0.014)]
    result = results(queue, method={"blank": {"absorbance": 0.005}})
    assert [each[0] for each in verdict(result, "blank")] == ["fail", "pass"]


def test_blank_of_a_direct_run_is_judged_in_concentration() -> None:
    direct: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
    queue = [blank("B1", 2.0), blank("B2", 4.1)]
    result = results(queue, method={"blank": {"concentration": 2, "absorbance": 0.001}}, **direct)
    assert verdict(result, "blank") == said(("pass", "B1", 2.0, -2, 2), ("fail", "B2", 2.1, -2, 2))


def test_a_blank_whose_limit_is_in_another_unit_is_not_judged_and_says_so() -> None:
    direct: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
    for limits, more, why in (
        ({"absorbance": 0.005}, direct, "the method's limit is 0.005 A, and this is in mg/L of extract"),
        ({"concentration": 2}, {}, "the method's limit is 2 mg/L of extract, and this is in A"),
    ):
        (found,) = findings(results([blank("B1", 0.4)], method={"blank": limits}, **more), "blank")
        assert (found["state"], found["why"], found["high"]) == ("warn", f"not judged: {why}", None)
    assert verdict(results([blank("B1", 0.4)], method={"blank": {"every_readings": 9}}), "blank")[0][0] == "pass"


@pytest.mark.parametrize(
    ("percent", "state"), [(90, "pass"), (110, "pass"), (89.9, "fail"), (110.1, "fail"), (-1, "fail")]
)
def test_check(percent: float, state: str) -> None:
    method = {"check": {"recovery_percent": [90, 110]}}
    assert verdict(results([check("K", percent)], method=method), "check") == said((state, "K", percent, 90, 110))


@pytest.mark.parametrize(
    ("percent", "lot", "state"),
    [
        (100, "L9", "pass"),
        (100, None, "warn"),
        (100, "l-1", "fail"),
        (111, "L9", "fail"),
        (100, "L1", "fail"),
        (111, "L1", "fail"),
    ],
)
def test_second_source_recovers_and_is_of_another_lot(percent: float, lot: str | None, state: str) -> None:
    made = row("I", SLOPE * percent, kind="second-source", expected=100, lot=lot)
    method = {"check": {"second_source_percent": [90, 110], "recovery_percent": [99, 101]}}
    result = results([made], method=method, standard=standards(lot="L1"))
    assert verdict(result, "second-source") == said((state, "I", percent, 90, 110))


# --- what stands between --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("queue", "states"),
    [
        case([sample("A")], [("warn", "A")], id="nothing"),
        case([check("K"), sample("A")], [], id="check"),
        case([row("I", 0.25, kind="second-source", expected=100), sample("A")], [], id="second source"),
        case([sample("A"), check("K"), sample("B")], [("warn", "A")], id="too late"),
        case([row("MB", 0.0, kind="method-blank")], [], id="no sample"),
        case([check("K", void="spilt"), sample("A")], [("warn", "A")], id="void"),
    ],
)
def test_opening(queue: list[Table], states: list[Said]) -> None:
    assert verdict(results(queue, method={"check": {}}), "opening") == said(*states)


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([blank("B1"), sample("A", *[0.2] * 3), blank("B2")], [], id="as many as may be"),
        case([blank("B1"), sample("A", *[0.2] * 4), blank("B2")], [("fail", "A", 4, None, 3)], id="one more"),
        case(
            [blank("B1"), sample("A"), sample("B", 0.2, 0.2), sample("C"), blank("B2")],
            [("fail", "C", 4, None, 3)],
            id="the rows beyond",
        ),
        case([blank("B1"), sample("A", *[0.2] * 4)], [("fail", "A", 4, None, 3)], id="to the last row"),
        case([blank("B1"), sample("A", *[0.2] * 4), sample("B", void="x")], [("fail", "A", 4, None, 3)], id="void"),
        case(
            [sample("A", *[0.2] * 4), blank("B1"), sample("B", *[0.2] * 5), blank("B2")],
            [("fail", "A", 4, None, 3), ("fail", "B", 5, None, 3)],
            id="one a gap",
        ),
        case([sample("A", *[0.2] * 3), check("K"), blank("B1")], [], id="checks count no readings"),
    ],
)
def test_blank_interval_in_readings(queue: list[Table], expected: list[Said]) -> None:
    assert verdict(results(queue, method={"blank": {"every_readings": 3}}), "blank-interval") == said(*expected)


def test_open_gap_is_not_judged_while_a_row_is_unread() -> None:
    queue = [blank("B1"), sample("A", *[0.2] * 4), {"id": "Z", "kind": "sample"}]
    result = results(queue, method={"blank": {"every_readings": 3}})
    assert verdict(result, "blank-interval") == []
    assert verdict(result, "due") == said(("fail", "", -1, 0))


@pytest.mark.parametrize(
    ("minutes", "expected"), [(60, []), (76, [("fail", "A", 76, None, 60)]), (61, [("warn", "A", 61, None, 60)])]
)
def test_blank_interval_in_minutes(minutes: int, expected: list[Said]) -> None:
    """Blank to blank, and from the last blank to the last row."""
    method = {"blank": {"every_minutes": 60}}
    to_row = [blank("B1", at=at(60)), sample("A", at=at(60 + minutes))]
    to_blank = [*to_row, blank("B2", at=at(60 + minutes))]
    for queue in (to_row, to_blank):
        assert verdict(results(queue, method=method), "blank-interval") == said(*expected)


def test_blank_interval_starts_at_the_last_standard_and_again_at_a_recalibration() -> None:
    method = {"blank": {"every_minutes": 60}}
    queue = [sample("A", at=at(90)), sample("B", at=at(149))]
    one = results(queue, method=method)
    assert verdict(one, "blank-interval") == said(("fail", "A B", 124, None, 60))
    again = standards(name="T", first=95, calibration="C2")
    two = results(
        [sample("A", at=at(80)), queue[1]],
        method=method,
        calibration=[{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}],
        standard=[*standards(calibration="C1"), *again],
    )
    assert verdict(two, "blank-interval") == []


@pytest.mark.parametrize(("many", "expected"), [(10, []), (11, [("fail", "A", 11, None, 10)])])
def test_check_interval(many: int, expected: list[Said]) -> None:
    queue = [check("K1"), sample("A", *[0.2] * many), blank("B"), check("K2")]
    assert verdict(results(queue, method={"check": {"every_readings": 10}}), "check-interval") == said(*expected)


@pytest.mark.parametrize(
    ("queue", "check_limits", "expected"),
    [
        case([sample("A"), blank("B"), check("K")], ASKED, [], id="both"),
        case([sample("A"), blank("B")], ASKED, [("fail", "A")], id="no check"),
        case([sample("A"), check("K")], ASKED, [("fail", "A")], id="no blank"),
        case([sample("A")], {"closing": False}, [], id="not asked for"),
        case([sample("A"), {"id": "Z", "kind": "sample"}], ASKED, [], id="something unread"),
        case([blank("B"), check("K"), sample("A")], ASKED, [("fail", "A")], id="only before"),
    ],
)
def test_closing(queue: list[Table], check_limits: Table, expected: list[Said]) -> None:
    method = {"blank": {}, "check": check_limits}
    assert verdict(results(queue, method=method), "closing") == said(*expected)


def test_closing_is_missed_also_where_the_rows_are_held_already() -> None:
    method = {"blank": {}, "check": {"closing": True, "recovery_percent": [90, 110]}}
    queue = [check("K", 50), sample("A")]
    assert [each[0] for each in verdict(results(queue, method=method), "closing")] == ["fail"]


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([sample("A", 0.6), sample("B", 0.05)], [("warn", "B", 2, 2.4)], id="low after high"),
        case([sample("A", 0.6), sample("B", 0.06)], [], id="a tenth of it"),
        case([sample("A", 0.6), blank("K"), sample("B", 0.05)], [], id="a blank between"),
        case([sample("A", 0.5), sample("B", 0.01)], [], id="within the range"),
        case([sample("A", 0.6), sample("V", 0.01, void="x"), sample("B", 0.05)], [("warn", "B", 2, 2.4)], id="void"),
        case([sample("A", 0.6), sample("B", 0.3), sample("C", 0.01)], [], id="only the first"),
    ],
)
def test_carry_over(queue: list[Table], expected: list[Said]) -> None:
    assert verdict(results(queue), "carry-over") == said(*expected)


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([blank("B1", void="dirty"), blank("B2")], [], id="at once"),
        case([blank("B1", void="dirty"), blank("B2", void="again"), blank("B3")], [], id="at once in the end"),
        case([blank("B1", void="dirty"), sample("A"), blank("B2")], [("warn", "B1")], id="later"),
        case([check("K", void="bubble"), blank("B")], [("warn", "K")], id="another kind"),
        case([check("K", void="bubble")], [("warn", "K")], id="never"),
        case([sample("A", void="spilt")], [], id="no event"),
    ],
)
def test_superseded(queue: list[Table], expected: list[Said]) -> None:
    assert verdict(results(queue), "superseded") == said(*expected)


# --- the curve ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unused", "expected"),
    [
        case([], [], id="none"),
        case([0, 4], [], id="both ends"),
        case([0, 1], [], id="two at one end"),
        case([2], [("fail", "S3", 50, 10, 200)], id="inside"),
        case([0, 2], [("fail", "S3", 50, 25, 200)], id="end and inside"),
    ],
)
def test_dropped_levels(unused: list[int], expected: list[Said]) -> None:
    made = standards()
    for n in unused:
        made[n] |= {"use": False, "reason": "bubble"}
    assert verdict(results(standard=made), "dropped-levels") == said(*expected)


def test_separate_preparation_of_a_used_level_is_no_level() -> None:
    extra = {"id": "X", "concentration": 50, "readings": [0.2], "use": False, "reason": "bubble"}
    assert verdict(results(standard=[*standards(), extra]), "dropped-levels") == []


@pytest.mark.parametrize(("reporting", "expected"), [(1, []), (0.99, [("warn", "C1", 0.99, 1)]), (2, [])])
def test_reporting_limit_stands_on_the_lowest_level(reporting: float, expected: list[Said]) -> None:
    """10 mg/L of extract is 1 mg/L of water at the nominal amounts."""
    limits = {"reporting": reporting, "nominal_amount": 1000, "nominal_extract_ml": 100}
    assert verdict(results(method={"limits": limits}), "reporting-limit") == said(*expected)


@pytest.mark.parametrize(("studied", "states"), [("2025-02-11", []), ("2025-02-10", ["warn"]), ("2026-03-01", [])])
def test_detection_study_is_not_older_than_13_months(studied: str, states: list[str]) -> None:
    method = {"limits": {"studied": at(0).fromisoformat(studied).date()}}
    result = results([sample("A", at=at(60))], method=method)
    assert [found[0] for found in verdict(result, "reporting-limit")] == states


@pytest.mark.parametrize(("left", "state"), [(1, "pass"), (2, "pass"), (2.1, "fail")])
def test_a_blank_of_a_direct_run_is_left_within_its_concentration(left: float, state: str) -> None:
    direct: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
    queue = [blank("B", 0.0, rezeroed=True, as_left=left)]
    result = results(queue, method={"blank": {"concentration": 2, "absorbance": 0.001}}, **direct)
    assert [found[0] for found in verdict(result, "blank")] == [state]


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        (60, []),
        (75, [("warn", "A", 75, None, 60)]),
        (75.1, [("fail", "A", 75.1, None, 60)]),
    ],
)
def test_late_by_a_quarter_of_the_interval_between_blanks_that_pass_warns(minutes: float, expected: list[Said]) -> None:
    queue = [blank("B1", at=at(60)), sample("A", at=at(60 + minutes)), blank("B2", at=at(200))]
    assert verdict(results(queue, method={"blank": {"every_minutes": 60}}), "blank-interval") == said(*expected)


def test_late_by_a_little_fails_where_a_blank_beside_it_fails_or_none_stands() -> None:
    method = {"blank": {"every_minutes": 60, "absorbance": 0.005}}
    off = [blank("B1", at=at(60)), sample("A", at=at(130)), blank("B2", 0.02, at=at(131))]
    assert [found[0] for found in verdict(results(off, method=method), "blank-interval")] == ["fail"]
    none = [sample("A", at=at(95))]  # 70 minutes after the last standard
    assert [found[0] for found in verdict(results(none, method=method), "blank-interval")] == ["fail"]


def test_an_interval_does_not_run_over_night() -> None:
    method = {"blank": {"every_minutes": 60, "every_readings": 3}}
    queue = [
        blank("B1", at=at(60)),
        sample("A", at=at(70)),
        sample("B", at=at(70 + 1440)),
        blank("B2", at=at(75 + 1440)),
    ]
    assert verdict(results(queue, method=method), "blank-interval") == []


def test_opening_names_the_samples_of_each_day() -> None:
    method = {"check": {"recovery_percent": [90, 110]}}
    queue = [
        check("K1", at=at(60)), sample("A", at=at(70)), sample("B", at=at(70 + 1440)),
        check("K2", 80, at=at(75 + 1440)),
        sample("C", at=at(80 + 1440)), check("K3", at=at(90 + 1440)), sample("D", at=at(95 + 1440)),
    ]  # fmt: skip
    result = results(queue, method=method)
    assert verdict(result, "opening") == said(("fail", "B C"))
    first = results([sample("A", at=at(70)), *queue[2:]], method=method)
    assert verdict(first, "opening") == said(("warn", "A"), ("fail", "B C"))


def test_closing_is_asked_of_each_calibration_that_reports() -> None:
    method = {"check": {"closing": True}, "blank": {}}
    tables: Table = {
        "calibration": [{"id": "C1"}, {"id": "C2"}],
        "standard": [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=80)],
    }
    queue = [
        sample("A", calibration="C1"), blank("B1", calibration="C1"), check("K1", calibration="C1"),
        sample("B", calibration="C2"), blank("B2", calibration="C2"),
    ]  # fmt: skip
    assert verdict(results(queue, method=method, **tables), "closing") == said(("fail", "B"))


def test_a_second_source_is_asked_of_each_calibration_in_use() -> None:
    method = {"check": {"second_source_percent": [90, 110]}}
    queue = [sample("A")]
    assert verdict(results(queue, method=method), "second-source") == said(("fail", "C1"))
    verified = results(queue, method=method, calibration={"verified": "OS-0310 ICV2"})
    assert verdict(verified, "second-source") == []
    assert verdict(results([], method=method), "second-source") == []  # nothing is reported on it
    made = row("I", 0.3, kind="second-source", expected=100, lot="I-1")
    again = results([made, row("J", 0.25, kind="second-source", expected=100, lot="I-1"), *queue], method=method,
                    standard=standards(lot="S-1"))  # fmt: skip
    assert [found[0] for found in verdict(again, "second-source")] == ["warn", "pass"]


@pytest.mark.parametrize(
    ("limits", "tables", "warns"),
    [
        ({"studied_instrument": "Bench One"}, {"instrument": {"name": "bench one"}}, 0),
        ({"studied_instrument": "Bench One"}, {"instrument": {"name": "bench two"}}, 1),
        ({"studied_instrument": "Bench One"}, {}, 1),
        ({"studied_cell_mm": 10}, {"calibration": {"cell_mm": 10.0}}, 0),
        ({"studied_cell_mm": 10}, {"calibration": {"cell_mm": 50}}, 1),
        ({"studied_solvent": "tetrachloroethylene"}, {"solvent": {"name": "Tetrachloroethylene"}}, 0),
        ({"studied_solvent": "tetrachloroethylene"}, {"solvent": {"name": "carbon tetrachloride"}}, 1),
    ],
)
def test_the_detection_study_is_this_runs(limits: Table, tables: Table, warns: int) -> None:
    result = results([sample("A", at=at(60))], method={"limits": limits}, **tables)
    found = verdict(result, "reporting-limit")
    assert [(state, rows_) for state, rows_, *_ in found] == [("warn", "")] * warns


@pytest.mark.parametrize(
    ("batch", "solvent", "queue", "warns"),
    [
        ({"solvent_lot": "T-1"}, {"lot": "T-1"}, [], 0),
        ({"solvent_lot": "t 1"}, {"lot": "T-1"}, [], 0),
        ({"solvent_lot": "T-2"}, {"lot": "T-1"}, [], 1),
        ({"solvent_lot": "T-2"}, {"lot": "T-1"}, [row("M", 0.0, kind="method-blank")], 0),
        ({}, {"lot": "T-1"}, [], 0),
    ],
)
def test_solvent_lot(batch: Table, solvent: Table, queue: list[Table], warns: int) -> None:
    result = results([sample("A"), *queue], batch=[{"id": "B1"} | batch], solvent=solvent)
    assert verdict(result, "solvent-lot") == said(*[("warn", "B1")] * warns)


def test_traceability_names_what_has_no_lot() -> None:
    made = standards(lot="L-1")
    made[1].pop("lot")
    made[2] |= {"use": False, "reason": "x"}
    made[2].pop("lot")
    queue = [
        check("K"),
        check("L", lot="K-1"),
        check("V", void="x"),
        row("I", 0.25, kind="second-source", expected=100),
    ]
    assert verdict(results(queue, standard=made), "traceability") == said(("warn", "S2 K I"))


def test_a_level_left_out_between_the_zero_standard_and_the_lowest_is_at_the_end() -> None:
    made = [*standards([0], [0.0], name="Z", first=10), *standards()]
    made[1] |= {"use": False, "reason": "x"}
    assert verdict(results(standard=made), "dropped-levels") == []
    made[2] |= {"use": False, "reason": "x"}
    made[1].pop("use")
    assert [found[0] for found in verdict(results(standard=made), "dropped-levels")] == ["fail"]


def test_what_is_over_a_limit_by_a_little_is_not_told_as_the_limit() -> None:
    """Verdicts are taken on unrounded figures: the reason shows as many digits as that takes."""
    method = {
        "setup": {"zero_absorbance": 0.001, "warm_up_minutes": 15},
        "calibration": {"level_error_percent": 30},
        "check": {"recovery_percent": [90, 110]},
        "blank": {"absorbance": 0.005, "every_minutes": 60},
        "holding": {"collection_to_analysis_days": 28},
    }
    queue = [
        check("CCV1", 110.04, at=at(30)),
        blank("SB1", 0.00500004, at=at(31)),
        sample("A", at=at(91.4)),
    ]
    started = {"check": "warm-up", "started": at(21 - 14.8)}
    result = results(
        queue,
        setup=[started, {"check": "zero", "readings": [0.0010000049], "at": at(10)}],
        method=method,
        sample=[{"id": "A", "collected": at(91.4 - 28 * 24 * 60 - 10)}],
    )
    whys = {rule: findings(result, rule)[0]["why"] for rule in ("check", "blank", "blank-interval", "holding")}
    assert whys["check"].startswith("recovers 110.04 %, limits 90-110")
    assert whys["blank"].startswith("found off by +0.00500004, limit 0.005")
    assert whys["blank-interval"].startswith("60.4 min, at most 60")
    assert whys["holding"] == "collection to analysis 28.01 days, at most 28"
    assert [f["why"] for f in findings(result, "setup")] == [
        "first reading 14.8 min after the lamp, limit 15",
        "off 0 A by 0.001000005 A, limit 0.001",
    ]


OFF = "found off by +0.008, limit 0.005"


@pytest.mark.parametrize(
    ("queue", "calibration", "expected"),
    [
        case([blank("SB", 0.008), sample("A")], {},
             f"{OFF}: the rows after it are held; not re-zeroed, 0.008 is subtracted after it",
             id="none before it"),
        case([sample("A"), blank("SB", 0.008, rezeroed=True)], {},
             f"{OFF}: the rows before it are held", id="re-zeroed"),
        case([sample("A"), blank("SB", 0.008, rezeroed=True, as_left=0.006), sample("B")], {},
             f"{OFF}: the rows before and after it are held; left at 0.006 after re-zeroing",
             id="re-zeroed in vain"),
        case([sample("A"), blank("SB", 0.008), sample("B")], {"drift": "none"},
             f"{OFF}: the rows before and after it are held; not re-zeroed",
             id="nothing is subtracted"),
        case([sample("A"), blank("SB", 0.01)], {"zero_standard": "point"},
             "found off by +0.01, limit 0.005: the rows before it are held; not re-zeroed, 0.01 is subtracted after it",
             id="no zero"),
        case([blank("SB", 0.008)], {}, f"{OFF}; not re-zeroed, 0.008 is subtracted after it",
             id="alone"),
    ],
)  # fmt: skip
def test_a_blank_says_which_rows_it_holds_and_what_is_subtracted_after_it(
    queue: list[Table], calibration: Table, expected: str
) -> None:
    result = results(queue, method={"blank": {"absorbance": 0.005}}, calibration=calibration)
    assert findings(result, "blank")[0]["why"] == expected


def test_what_is_subtracted_after_a_blank_is_less_the_zero_the_curve_holds() -> None:
    levels = [
        *standards((0,), (0.002,), first=10, name="Z"),
        *standards(ys=[0.002 + SLOPE * x for x in (10, 25, 50, 100, 200)]),
    ]
    queue = [blank("SB", 0.01), sample("A")]
    result = results(
        queue, method={"blank": {"absorbance": 0.005}}, calibration={"zero_standard": "ignore"}, standard=levels
    )
    assert findings(result, "blank")[0]["why"].endswith("not re-zeroed, 0.008 is subtracted after it")
    assert result["rows"][1]["drift"] == pytest.approx(0.008)


def test_a_void_blank_holds_nothing_and_nothing_is_subtracted_for_it() -> None:
    queue = [sample("A"), blank("SB", 0.008, void="bubble"), sample("B")]
    result = results(queue, method={"blank": {"absorbance": 0.005}})
    assert [f["why"] for f in findings(result, "voided-qc")] == [
        "void, and outside its limits: found off by +0.008, limit 0.005"
    ]


def test_of_two_intervals_the_one_that_is_overdue_is_the_value() -> None:
    queue = [blank("SB", at=at(60)), *(sample(f"A{n}", at=at(61 + n)) for n in range(20)), sample("B")]
    queue[-1]["readings"] = []
    method = {"blank": {"every_readings": 20, "every_minutes": 60}}
    result = results(queue, now=at(130).isoformat(), method=method)
    assert verdict(result, "due") == said(("fail", "", -10, 0))


def test_one_row_is_one_and_one_level_is_one() -> None:
    one = results([sample("A")], standard=standards((10,)), calibration={"model": "line-through-zero"},
                  method={"calibration": {"levels": 5}})  # fmt: skip
    assert "1 level, at least 5" in [f["why"] for f in findings(one, "calibration")]
    none = results([sample("A")], standard=standards((0,)), calibration={"model": "line-through-zero"})
    assert none["calibrations"][0]["why"] == ["line-through-zero needs 1 level or more, 0 so far"]


@pytest.mark.parametrize(
    ("first", "second", "expected"),
    [
        ("2026-03-11T09:00:40+01:00", "2026-03-11T09:00:05+01:00", ("09:00:05", "09:00:40")),
        ("2026-03-12T00:10:00+01:00", "2026-03-11T23:50:00+01:00", ("2026-03-11 23:50", "2026-03-12 00:10")),
        ("2026-10-25T02:10:00+01:00", "2026-10-25T02:50:00+02:00",
         ("2026-10-25 02:50:00+02:00", "2026-10-25 02:10:00+01:00")),
        ("2026-03-11T09:05:00+01:00", "2026-03-11T09:00:00+01:00", ("09:00", "09:05")),
    ],
)  # fmt: skip
def test_a_row_read_before_the_one_above_it_has_times_that_say_so(
    first: str, second: str, expected: tuple[str, str]
) -> None:
    queue = [sample("A", at=datetime.fromisoformat(first)), sample("B", at=datetime.fromisoformat(second))]
    result = results(queue, now="2026-12-01T00:00:00+01:00")
    assert [f["why"] for f in findings(result, "clock")] == [
        f"read at {expected[0]}, before A above it, at {expected[1]}"
    ]


def test_nothing_is_due_once_nothing_is_left_to_read() -> None:
    method = {"blank": {"every_readings": 5, "every_minutes": 60}, "check": {"every_readings": 5}}
    queue = [blank("SB", at=at(40)), *(sample(f"A{n}", at=at(41 + n)) for n in range(7))]
    read = results(queue, method=method)["due"]
    assert [(each["state"], each["readings_left"], each["minutes_left"]) for each in read] == [
        ("ok", -2, None),
        ("ok", -2, None),
    ]
    more = results([*queue, row("B")], method=method)["due"]
    assert [each["state"] for each in more] == ["overdue", "overdue"]


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        ([sample("A")], "no blank and no check standard closes these rows"),
        ([sample("A"), blank("SB")], "no check standard closes these rows"),
        ([sample("A"), blank("SB"), sample("B")], "no check standard closes these rows, no blank closes B"),
        ([sample("A"), blank("SB"), sample("B"), check("CCV")], "no blank closes these rows"),
    ],
)
def test_what_closes_no_row_is_said_of_the_rows_it_closes_not(queue: list[Table], expected: str) -> None:
    result = results(queue, method={"blank": {"absorbance": 0.005}, "check": ASKED})
    assert [f["why"] for f in findings(result, "closing")] == [f"nothing is left to read and {expected}"]
