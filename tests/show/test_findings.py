"""Findings and the state in words: what is still to do is said in its number, and not where it was answered."""

from __future__ import annotations

from datetime import datetime

import pytest

from runsheet import evaluate
from runsheet.show import findings, state
from tests.make import NOW, Table, at, row, run

CLOSING = {"check": {"recovery_percent": [90, 110], "closing": True}}


def test_one_row_to_read_and_one_that_waits_are_told_as_one() -> None:
    queue = [row("A", 0.25, at=at(40)), row("B")]
    lines = findings.lines(evaluate(run(queue, method=CLOSING), datetime.fromisoformat(NOW)))
    assert "todo: 1 row not read: B" in lines
    assert "todo: 1 row waits for a closing blank or check standard: A" in lines


def test_a_row_whose_missing_end_was_acted_on_waits_for_nothing() -> None:
    action = {"rule": "closing", "rows": ["A"], "taken": "lamp failed", "by": "M. Tarn", "at": at(60)}
    queue = [row("A", 0.25, at=at(40))]
    setup = [{"check": "zero"}]
    sheet = evaluate(run(queue, method=CLOSING, action=[action], setup=setup), datetime.fromisoformat(NOW))
    assert [line for line in findings.lines(sheet) if "wait" in line] == []
    assert state.words(sheet).startswith("unfinished: a setup check or a calibration is not done")
    sheet = evaluate(run(queue, method=CLOSING, setup=setup), datetime.fromisoformat(NOW))
    assert "todo: 1 row waits for a closing blank or check standard: A" in findings.lines(sheet)


@pytest.mark.parametrize(
    ("lacking", "why"),
    [
        ({}, "acted on"),
        ({"taken": "-"}, "noted, and not acted on, for no word says what was done"),
        ({"by": " "}, "noted, and not acted on, for it names nobody"),
        ({"at": at(59)}, "noted, and not acted on, for it is older than what it is about"),
    ],
)
def test_an_action_that_settles_nothing_is_told_why(lacking: Table, why: str) -> None:
    """It said that it is not acted on, and an analyst could only note the same again."""
    action = {"rule": "check", "rows": ["CCV"], "taken": "cell rinsed", "by": "M. Tarn", "at": at(60)} | lacking
    queue = [row("CCV", 0.1, kind="check", expected=100, at=at(60)), row("A", 0.25, at=at(61))]
    sheet = evaluate(run(queue, method=CLOSING, action=[action]), datetime.fromisoformat(NOW))
    (found,) = (finding for finding in sheet.quality if finding.rule == "check")
    assert findings.taken(found, sheet).startswith(f"{why}: {action['taken']}")


def test_an_action_about_what_none_settles_is_told_so() -> None:
    twice = [row("A", 0.25, at=at(60)), row("A-1", 0.3, sample="A", at=at(61))]
    action = {"rule": "one-result", "rows": ["A", "A-1"], "taken": "both kept", "by": "M. Tarn", "at": at(62)}
    sheet = evaluate(run(twice, action=[action]), datetime.fromisoformat(NOW))
    (found,) = (finding for finding in sheet.quality if finding.rule == "one-result")
    assert findings.taken(found, sheet).startswith("noted, and not acted on, for no action settles it: both kept")


def test_a_blank_at_its_limit_is_not_said_to_fail_a_limit_it_keeps() -> None:
    """It was 2 mg/L, at most 2 mg/L, and failed: a method blank is below its reporting limit."""
    limits = {"reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}
    queue = [row("MB", 0.05, kind="method-blank"), row("FB", 0.05, kind="field-blank"), row("A", 0.1)]
    sheet = evaluate(run(queue, method={"limits": limits}), datetime.fromisoformat(NOW))
    told = {f.rule: (f.state, findings.limits(f)) for f in sheet.quality if f.rule.endswith("-blank")}
    assert told == {"method-blank": ("fail", "below 2 mg/L"), "field-blank": ("warn", "below 2 mg/L")}


def test_two_below_the_detection_limit_are_not_told_to_pass_a_limit_they_are_beyond() -> None:
    """It was 120 %, at most 20 %, and passed."""
    limits = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}
    method = {"limits": limits, "batch": {"duplicate_rpd_percent": 20}}
    queue = [row("A", 0.01), row("D", 0.0025, kind="duplicate", of="A")]
    sheet = evaluate(run(queue, method=method), datetime.fromisoformat(NOW))
    (found,) = (f for f in sheet.quality if f.rule == "duplicate")
    told = (findings.value(found), findings.limits(found), found.state)
    assert told == ("120 %", "none: both below the detection limit", "pass")
