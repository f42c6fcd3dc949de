"""Brackets, what falls due, and the state of the run."""

from __future__ import annotations

from typing import Any

import pytest

from tests.make import SLOPE, Table, at, results, row, rows, standards

case = pytest.param
METHOD: Table = {
    "blank": {"absorbance": 0.005},
    "check": {"recovery_percent": [90, 110], "closing": True},
}
GOOD, OFF = 0.001, 0.02


def b(reading: float = GOOD, left: float | None = None, **fields: Any) -> Table:
    """Make a blank; one with `left` was re-zeroed."""
    return row("", reading, kind="blank", **({} if left is None else {"rezeroed": True, "as_left": left}), **fields)


def k(percent: float = 100, **fields: Any) -> Table:
    return row("", SLOPE * percent, kind="check", **{"expected": 100} | fields)


def s(**fields: Any) -> Table:
    return row("", 0.25, **fields)


def states(queue: list[Table], **tables: Any) -> str:
    """The first letters of the rows' states."""
    named = [made | {"id": f"R{n}"} for n, made in enumerate(queue)]
    result = results(named, **{"method": METHOD, "calibration": {"drift": "none"}} | tables)
    return "".join(made["state"][0] for made in result["rows"])


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        case([s()], "o", id="nothing after it"),
        case([s(), b()], "oa", id="no check after it"),
        case([s(), k()], "oa", id="no blank after it"),
        case([s(), b(), k()], "aaa", id="closed; the calibration opens"),
        case([b(), k(), s(), b(), k()], "aaaaa", id="all good"),
        case([k(80), s(), b(), k()], "hhaa", id="check before failed"),
        case([s(), b(), k(80)], "hah", id="check after failed"),
        case([s(), b(), k(80), k()], "haha", id="the nearest check after counts"),
        case([k(80), k(), s(), b(), k()], "haaaa", id="the nearest check before counts"),
        case([s(), b(OFF), k()], "hha", id="blank after found off"),
        case([s(), b(OFF, left=GOOD), s(), b(), k()], "hhaaa", id="found off condemns before, left good not after"),
        case([s(), b(GOOD, left=OFF), s(), b(), k()], "aahaa", id="found good, left off"),
        case([b(OFF), s(), b(), k()], "hhaa", id="not re-zeroed: left as found"),
        case([s(), b(OFF)], "hh", id="failed before it is missing: held"),
        case([s(), b(OFF, void="dirty"), b(), k()], "avaa", id="void events are none"),
        case([s(), row("", kind="blank"), b(), k()], "auaa", id="unread events are none"),
        case([k(80), row("", 0.0, kind="method-blank"), b(), k()], "hhaa", id="every other kind is bracketed"),
        case([row("", 0.25, kind="second-source", expected=100)], "o", id="second source is no event"),
        case([s(void="x"), row("", amount=1)], "vu", id="void and unread"),
        case([k(expected=None), s(), b(), k()], "hhaa", id="check without an expected value"),
    ],
)
def test_states(queue: list[Table], expected: str) -> None:
    assert states([{key: value for key, value in made.items() if value is not None} for made in queue]) == expected


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        case(METHOD, "hhhhaa", id="both"),
        case({"check": METHOD["check"]}, "hhahaa", id="no blank asked for"),
        case({"check": METHOD["check"], "blank": {}}, "hhahaa", id="blanks without a limit pass"),
        case({"blank": METHOD["blank"]}, "ahhhaa", id="no check asked for"),
        case({}, "aaaaaa", id="neither"),
    ],
)
def test_only_what_the_method_asks_for(asked: Table, expected: str) -> None:
    assert states([k(80), s(), b(OFF), s(), b(), k()], method=asked) == expected


@pytest.mark.parametrize(
    ("asked", "queue", "expected"),
    [
        case({"check": {"closing": True}}, [s(), b()], "oa", id="a check only, missing"),
        case({"check": {"closing": True}}, [s(), k()], "aa", id="a check only, there"),
        case({"check": {"closing": False}, "blank": {}}, [s()], "a", id="closing false"),
        case({"check": {}, "blank": {}}, [s()], "a", id="closing not said"),
    ],
)
def test_closing_asks_for_the_kinds_the_method_has(asked: Table, queue: list[Table], expected: str) -> None:
    assert states(queue, method=asked) == expected


@pytest.mark.parametrize(
    ("standard", "limits"),
    [(standards(), {"levels": 6}), ([*standards(), {"id": "X", "concentration": 300}], {})],
    ids=["failed", "to do"],
)
def test_calibration_that_does_not_pass_holds_its_rows(standard: list[Table], limits: Table) -> None:
    queue = [s(calibration="C1"), b(calibration="C1"), k(calibration="C1")]
    assert states(queue, standard=standard, method=METHOD | {"calibration": limits}) == "haa"


def test_events_of_another_calibration_bracket_nothing() -> None:
    tables = {
        "calibration": [{"id": "C1"}, {"id": "C2"}],
        "standard": [*standards(calibration="C1"), *standards(calibration="C2", name="T")],
    }
    one: Table = {"calibration": "C1"}
    two: Table = {"calibration": "C2"}
    queue = [k(80, **two), s(**one), b(**two), k(**two), b(**one), k(**one), s(**two)]
    assert states(queue, **tables) == "haaaaao"


# --- due ------------------------------------------------------------------------------------------------------

UNREAD = {"id": "Z", "kind": "sample"}
DUE: Table = {"blank": {"every_readings": 20, "every_minutes": 60}, "check": {"every_readings": 10}}


def due(queue: list[Table], minutes: float, **tables: Any) -> dict[str, tuple[Any, ...]]:
    named = [made | {"id": made["id"] or f"R{n}"} for n, made in enumerate(queue)]
    result = results(named, now=at(minutes).isoformat(), **{"method": DUE} | tables)
    return {made["what"]: (made["state"], made["readings_left"], made["minutes_left"]) for made in result["due"]}


def read(n: int, minutes: float = 60, **fields: Any) -> Table:
    return row("", *[0.25] * n, at=at(minutes), **fields)


@pytest.mark.parametrize(
    ("n", "minutes", "expected"),
    [
        (1, 70, ("ok", 19, 50)),
        (15, 70, ("ok", 5, 50)),
        (16, 70, ("soon", 4, 50)),
        (1, 107, ("ok", 19, 13)),
        (1, 108, ("soon", 19, 12)),
        (20, 70, ("due", 0, 50)),
        (1, 120, ("due", 19, 0)),
        (21, 70, ("overdue", -1, 50)),
        (1, 121, ("overdue", 19, -1)),
        (20, 121, ("overdue", 0, -1)),
        (1, 50, ("ok", 19, 60)),
    ],
)
def test_blank_is_due_by_readings_and_minutes(n: int, minutes: float, expected: tuple[Any, ...]) -> None:
    assert due([b(at=at(60)), read(n), UNREAD], minutes)["blank"] == expected


@pytest.mark.parametrize(("n", "expected"), [(1, "ok"), (7, "ok"), (8, "soon"), (10, "due"), (11, "overdue")])
def test_check_is_due_by_readings_only(n: int, expected: str) -> None:
    assert due([k(at=at(60)), read(n), UNREAD], 600)["check"] == (expected, 10 - n, None)


def test_each_reading_counts_of_rows_other_than_blanks_and_checks() -> None:
    queue = [b(at=at(60)), read(2), k(at=at(61)), read(3), read(5, void="x"), read(4, kind="method-blank"), UNREAD]
    found = due(queue, 62)
    assert (found["blank"][1], found["check"][1]) == (20 - 9, 10 - 7)


def test_nothing_is_due_after_the_last_event_when_nothing_is_unread() -> None:
    queue = [read(3), b(at=at(61)), k(at=at(62))]
    assert due(queue, 600) == {"blank": ("ok", 20, None), "check": ("ok", 10, None)}
    assert due([*queue, UNREAD], 600)["blank"] == ("overdue", 20, 60 - (600 - 61))


def test_without_an_event_the_last_standard_starts_the_count() -> None:
    """The last standard is read at 08:25."""
    assert due([read(3, 30), UNREAD], 45) == {"blank": ("ok", 17, 40), "check": ("ok", 7, None)}


def test_recalibration_starts_the_count_anew() -> None:
    tables = {
        "calibration": [{"id": "C1"}, {"id": "C2"}],
        "standard": [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=80)],
    }
    queue = [b(at=at(60)), read(9, 65), read(3, 90), UNREAD]
    assert due(queue, 100, **tables) == {"blank": ("ok", 17, 45), "check": ("ok", 7, None)}
    assert due([*queue[:-1], b(at=at(95)), UNREAD], 100, **tables)["blank"] == ("ok", 20, 55)


def test_what_the_method_does_not_ask_for_is_not_due() -> None:
    assert due([read(30), UNREAD], 600, method={}) == {}


# --- the run's state ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("queue", "tables", "expected"),
    [
        case([s()], {}, "pass", id="accepted"),
        case([s(), row("", amount=1)], {}, "todo", id="unread"),
        case([s()], {"method": METHOD}, "fail", id="nothing left and not closed"),
        case([s(), row("", amount=1)], {"method": METHOD}, "todo", id="open"),
        case([s()], {"setup": [{"check": "zero"}]}, "todo", id="setup to do"),
        case(
            [s()],
            {"setup": [{"check": "zero", "readings": [0.1]}], "method": {"setup": {"zero_absorbance": 0.01}}},
            "fail",
            id="setup failed",
        ),
        case([], {"standard": []}, "todo", id="calibration to do"),
        case([], {"method": {"calibration": {"levels": 6}}}, "fail", id="calibration failed"),
        case(
            [s(dilution=2, amount=10**6)],
            {"method": {"limits": {"reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}}},
            "pass",
            id="a warning",
        ),
        case([k(80), s(), b(), k()], {"method": METHOD}, "fail", id="a rule failed"),
        case([b(at=at(30)), s(at=at(31)), row("", amount=1)], {"method": DUE}, "fail", id="overdue"),
        case([b(at=at(230)), s(at=at(231)), row("", amount=1)], {"method": DUE}, "todo", id="not due yet"),
    ],
)
def test_run_state(queue: list[Table], tables: Table, expected: str) -> None:
    named = [made | {"id": f"R{n}"} for n, made in enumerate(queue)]
    assert results(named, **tables)["state"] == expected


@pytest.mark.parametrize("used", ["C1", "C2"])
def test_a_failed_calibration_fails_the_run_and_affects_what_uses_it(used: str) -> None:
    result = results(
        [row("A", 0.25, calibration=used)],
        calibration=[{"id": "C1"}, {"id": "C2"}],
        standard=[*standards([10, 20, 30], [0.1, 0.2, 0.3], calibration="C1"), *standards(calibration="C2", name="T")],
        method={"calibration": {"levels": 4}},
    )
    assert [made["state"] for made in result["calibrations"]] == ["fail", "pass"]
    assert (result["state"], rows(result)["A"]["state"]) == ("fail", {"C1": "held", "C2": "accepted"}[used])
    (found,) = [finding for finding in result["quality"] if finding["rule"] == "calibration"]
    assert found["affects"] == {"C1": ["A"], "C2": []}[used]
