"""Rules about the photometer, each edge: repeats, days, order, what a failing check bears on."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import Table, at, findings, results, row, rows, said, standards, verdict

case = pytest.param
LIMITS = {"warm_up_minutes": 15, "zero_absorbance": 0.001, "dark_percent": 0.1}
NIGHT = 24 * 60


def check(kind: str, reading: float | None, minutes: float | None, **more: Any) -> Table:
    made: Table = {"check": kind}
    if kind == "warm-up":
        return made | ({} if minutes is None else {"started": at(minutes)}) | more
    return (
        made
        | ({} if reading is None else {"readings": [reading]})
        | ({} if minutes is None else {"at": at(minutes)})
        | more
    )


GOOD = [check("warm-up", None, 0), check("zero", 0.0, 16), check("dark", 0.0, 17)]


def day(*setup: Table, limits: Table | None = None, queue: list[Table] | None = None, **tables: Any) -> Table:
    """A day with standards from 08:21 to 08:25 and a sample at 09:00."""
    queue = [row("A", 0.2, at=at(60))] if queue is None else queue
    return results(queue, method={"setup": LIMITS if limits is None else limits}, setup=list(setup), **tables)


def setup(result: Table) -> list[tuple[str, str]]:
    return [(found["state"], " ".join(found["rows"])) for found in findings(result, "setup")]


def test_a_day_with_every_check_before_its_first_reading_says_nothing() -> None:
    assert setup(day(*GOOD)) == []


@pytest.mark.parametrize(("left_out", "state"), [("warm-up", "fail"), ("zero", "fail"), ("dark", "warn")])
def test_a_check_that_is_missing(left_out: str, state: str) -> None:
    result = day(*(made for made in GOOD if made["check"] != left_out))
    assert setup(result) == [(state, left_out)]
    assert findings(result, "setup")[0]["affects"] == ["A"]
    assert rows(result)["A"]["flags"] == (["Q"] if state == "fail" else [])


def test_a_check_without_a_limit_is_not_asked() -> None:
    assert setup(day(limits={})) == []


def test_a_check_after_the_first_reading_is_told() -> None:
    late = [GOOD[0], check("zero", 0.0, 22), GOOD[2]]
    assert setup(day(*late)) == [("warn", "zero")]
    assert setup(day(GOOD[0], check("zero", 0.0, 21), GOOD[2])) == []  # with the first standard: not later


def test_a_check_that_fails_and_is_repeated_before_anything_is_read_warns() -> None:
    repeated = [GOOD[0], check("zero", 0.002, 16), check("zero", 0.0, 18), GOOD[2]]
    result = day(*repeated)
    assert verdict(result, "setup") == said(("warn", "zero", 0.002, None, 0.001))
    assert findings(result, "setup")[0]["affects"] == []
    after = day(GOOD[0], check("zero", 0.002, 16), check("zero", 0.0, 22.5), GOOD[2])
    assert setup(after) == [("fail", "zero")]


def test_a_failing_check_bears_on_what_is_read_until_the_next_of_its_kind() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(120))]
    setups = [*GOOD, check("zero", 0.002, 50), check("zero", 0.0, 90)]
    (found,) = findings(day(*setups, queue=queue), "setup")
    assert (found["state"], found["affects"]) == ("fail", ["A"])


def test_a_failing_check_before_a_standard_bears_on_all_of_its_calibration() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(120))]
    setups = [GOOD[0], check("zero", 0.002, 20), check("zero", 0.0, 90), GOOD[2]]
    (found,) = findings(day(*setups, queue=queue), "setup")
    assert found["affects"] == ["A", "B"]


def test_each_day_of_a_run_is_asked_for_itself() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(60 + NIGHT))]
    result = day(*GOOD, queue=queue)
    assert setup(result) == [("fail", "warm-up"), ("fail", "zero"), ("warn", "dark")]
    assert [found["affects"] for found in findings(result, "setup")] == [["B"]] * 3
    assert "on day 2" in findings(result, "setup")[0]["why"]


@pytest.mark.parametrize(("gap", "days"), [(8 * 60 - 1, 1), (8 * 60, 2)])
def test_a_day_ends_after_eight_hours_without_a_reading(gap: float, days: int) -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(60 + gap))]
    assert bool(setup(day(*GOOD, queue=queue, now="2026-03-12T12:00:00+01:00"))) == (days == 2)


def test_a_day_of_standards_alone_is_asked_nothing() -> None:
    queue = [row("A", 0.2, at=at(60 + NIGHT))]
    next_day = [made | {"at": made["at"].replace(day=12)} for made in GOOD if "at" in made]
    result = day({"check": "warm-up", "started": at(NIGHT)}, *next_day, queue=queue, now="2026-03-13T12:00:00+01:00")
    assert setup(result) == []


def test_a_row_without_a_time_is_of_the_day_of_the_row_above() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(60 + NIGHT)), row("C", 0.2)]
    result = day(*GOOD, queue=queue, now="2026-03-13T12:00:00+01:00")
    assert findings(result, "setup")[0]["affects"] == ["B", "C"]


def test_a_direct_reading_analyser_is_asked_for_its_warm_up_only() -> None:
    result = day(
        instrument={"reads": "concentration", "step": 0.1}, calibration={"model": "direct"}, standard=[],
        queue=[row("A", 20.0, at=at(60))],
    )  # fmt: skip
    assert setup(result) == [("fail", "warm-up")]


@pytest.mark.parametrize(("reading", "state"), [(100.0, "pass"), (99.78, "pass"), (99.7, "fail"), (0, "fail")])
def test_a_zero_typed_in_percent_is_judged_in_absorbance(reading: float, state: str) -> None:
    """0.001 A is 99.770 %T; 0 %T has no absorbance."""
    (made,) = results(
        method={"setup": {"zero_absorbance": 0.001}},
        setup=[{"check": "zero", "readings": [reading], "reads": "transmittance"}],
    )["setup"]
    assert made["state"] == state


def test_each_warm_up_is_judged_by_the_first_reading_after_it() -> None:
    queue = [row("A", 0.2, at=at(60)), row("B", 0.2, at=at(120))]
    result = day(*GOOD, check("warm-up", None, 110), queue=queue)
    assert [made["value"] for made in result["setup"] if made["check"] == "warm-up"] == [21, 10]
    assert verdict(result, "setup") == said(("fail", "warm-up", 10, 15))
    assert findings(result, "setup")[0]["affects"] == ["B"]


def test_a_warm_up_that_is_too_short_is_to_do_until_something_is_read() -> None:
    result = day(check("warm-up", None, 230), queue=[{"id": "A", "kind": "sample"}], standard=[])
    assert (result["setup"][0]["state"], setup(result)) == ("todo", [])
    assert setup(day(check("warm-up", None, 10), *GOOD[1:], standard=standards())) == [("fail", "warm-up")]
