"""Actions, flags and the state of the run."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from runsheet import evaluate
from tests.make import NOW, SLOPE, Table, at, results, row, rows, run, standards

METHOD: Table = {"check": {"recovery_percent": [90, 110]}}
QUEUE = [
    row("K0", SLOPE * 100, kind="check", expected=100, at=at(50)),
    row("A", 0.2, at=at(60)),
    row("K1", SLOPE * 80, kind="check", expected=100, at=at(70)),
]
ACTION: Table = {"rule": "check", "rows": ["K1"], "taken": "lamp put right", "by": "I. Varga", "at": at(80)}


def acted(*actions: Table, queue: list[Table] | None = None, **tables: Any) -> Table:
    return results(QUEUE if queue is None else queue, **({"method": METHOD, "action": list(actions)} | tables))


def check(result: Table) -> Table:
    return next(found for found in result["quality"] if found["rule"] == "check" and found["state"] == "fail")


@pytest.mark.parametrize(
    ("change", "settles"),
    [
        ({}, True),
        ({"rows": ["K1", "A"]}, True),
        ({"at": at(70)}, True),
        ({"at": at(69.9)}, False),
        ({"rows": []}, False),
        ({"rows": ["A"]}, False),
        ({"rule": "blank"}, False),
        ({"taken": "0.247"}, False),
        ({"by": None}, False),
        ({"by": " "}, False),
        ({"at": None}, False),
    ],
)
def test_an_action_settles_a_finding(change: Table, settles: bool) -> None:  # noqa: FBT001 - a parameter's value
    made = {key: value for key, value in (ACTION | change).items() if value is not None}
    result = acted(made)
    assert check(result)["acted_on"] is settles
    assert result["state"] == ("qualified" if settles else "fail")


def test_acting_changes_no_figure_and_takes_no_flag_away() -> None:
    before, after = acted(), acted(ACTION)
    assert rows(before) == rows(after)
    assert rows(after)["A"]["flags"] == ["Q"]


def test_once_the_rows_are_read_again_and_it_is_answered_the_run_passes() -> None:
    again = [
        *QUEUE[:1], QUEUE[1] | {"report": False, "reason": "held by K1; read again as A2"}, QUEUE[2],
        row("K2", SLOPE * 100, kind="check", expected=100, at=at(81)), row("A2", 0.2, at=at(82), sample="A"),
        row("K3", SLOPE * 100, kind="check", expected=100, at=at(83)),
    ]  # fmt: skip
    assert acted(queue=again)["state"] == "fail"
    assert acted(ACTION, queue=again)["state"] == "pass"


def test_two_results_of_one_sample_cannot_be_acted_on() -> None:
    queue = [row("A", 0.2, at=at(60)), row("A2", 0.2, at=at(61), sample="A")]
    action = ACTION | {"rule": "one-result", "rows": ["A", "A2"]}
    assert acted(action, queue=queue)["state"] == "fail"


def test_a_calibration_can_be_acted_on_unless_it_has_no_curve() -> None:
    action = ACTION | {"rule": "calibration", "rows": ["C1"]}
    queue = [row("A", 0.2, at=at(60))]
    few = acted(action, queue=queue, method={"calibration": {"levels": 6}})
    assert (few["state"], few["quality"][0]["acted_on"]) == ("qualified", True)
    level = standards([100, 100 + 1e-8], [0.2, 0.3])
    none = acted(action, queue=queue, standard=level)
    assert none["state"] in ("fail", "todo")


def test_an_open_row_is_closed_by_a_closing_that_is_acted_on() -> None:
    method = {"check": METHOD["check"] | {"closing": True}, "blank": {}}
    queue = [row("K0", SLOPE * 100, kind="check", expected=100, at=at(50)), row("A", 0.2, at=at(60))]
    assert acted(queue=queue, method=method)["state"] == "fail"
    action = ACTION | {"rule": "closing", "rows": ["A"]}
    result = acted(action, queue=queue, method=method)
    assert (rows(result)["A"]["state"], rows(result)["A"]["flags"], result["state"]) == ("open", ["Q"], "qualified")


def test_warnings_never_fail() -> None:
    result = acted(queue=[row("A", 0.2)])
    assert {found["state"] for found in result["quality"]} == {"warn"}
    assert result["state"] == "pass"


def test_an_action_of_another_rule_says_nothing_of_a_finding() -> None:
    day = run(QUEUE, method=METHOD, action=[ACTION | {"rule": "blank"}])
    sheet = evaluate(day, datetime.fromisoformat(NOW))
    failing = next(finding for finding in sheet.quality if finding.state == "fail")
    assert sheet.action(failing) is None
    noted = evaluate(run(QUEUE, method=METHOD, action=[ACTION, ACTION | {"taken": "and again"}]), sheet.now)
    assert getattr(noted.action(failing), "taken", "") == "and again"
