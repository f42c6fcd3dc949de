"""What a reviewer looks at first: each answer holds of the run it is given of."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest

from runsheet import evaluate
from runsheet.report import reviewer_points
from runsheet.report.making import Report
from runsheet.review.trail import Trail
from tests.make import NOW, Table, at, row, run, standards

A = row("A", 0.25)


def point(name: str, queue: list[Table], **tables: Any) -> str:
    report = Report(evaluate(run(queue, **tables), datetime.fromisoformat(NOW)))
    return " ".join(filter(None, dict(reviewer_points.POINTS)[name](report)))


def test_an_amount_is_by_weighing_where_the_weighing_gives_it() -> None:
    weighed = {"full_g": 1450, "empty_g": 450}
    bare = row("A", 0.25, amount=None)
    assert "1 amount by weighing the bottle." in point("Weights and volumes", [bare | weighed])
    assert "weighing" not in point("Weights and volumes", [bare | {"full_g": 1450}])
    assert "weighing" not in point("Weights and volumes", [A | weighed])


def test_samples_without_a_date_are_not_among_those_collected_on_the_days_told() -> None:
    first, second = {"id": "A", "collected": date(2026, 3, 9)}, {"id": "B", "collected": date(2026, 3, 10)}
    queue = [
        A,
        row("B", 0.25),
        row("C", 0.25),
        row("D", 0.25, void="spilt"),
        row("DUP", 0.25, kind="duplicate", of="A"),
    ]
    told = "Collected 2026-03-09 to 2026-03-10"
    assert f"{told}; C without a date." in point("Sample times and pH", queue, sample=[first, second])
    bare = {"id": "C", "site": "outfall"}
    assert f"{told}; C without a date." in point("Sample times and pH", queue, sample=[first, second, bare])
    assert f"{told}." in point("Sample times and pH", [A, row("B", 0.25)], sample=[first, second])
    assert "No time of collection is recorded." in point("Sample times and pH", [A])


def test_a_void_row_is_not_superseded_too() -> None:
    """Its state is void, and the tables say so: it waits for nothing that is reported in its place."""
    both = row("B", 0.25, void="spilt", report=False, reason="read again")
    told = point("Corrections", [A, both, row("C", 0.25, report=False, reason="read again")])
    assert "Void: B. Superseded: C." in told


def test_blanks_that_were_read_are_not_said_to_be_none() -> None:
    blank = row("SB", 0.0, kind="blank")
    assert "No solvent blank was read." in point("Zero and blanks", [A])
    assert "No solvent blank counts. Void: SB 0.0." in point("Zero and blanks", [A, blank | {"void": "bubble"}])
    unread = row("SB", kind="blank", void="lamp off")
    assert "No solvent blank was read. Void: SB." in point("Zero and blanks", [A, unread])
    unjudged = point("Zero and blanks", [A, blank], standard=[])
    assert "1 solvent blank, without a calibration to judge by." in unjudged


def test_a_blank_that_nothing_judges_is_counted_with_the_others() -> None:
    early = row("B0", 0.0, kind="blank", at=at(1))
    told = point("Zero and blanks", [early, row("B1", 0.001, kind="blank"), A])
    assert "2 solvent blanks, 1 of them without a calibration to judge by, net 0.001." in told


def test_a_zero_standard_that_is_left_out_does_not_read_0() -> None:
    zero = standards((0,), (0.01,), name="Z")
    left = [each | {"use": False, "reason": "bubble"} for each in zero]
    assert "No zero standard is used." in point("Zero and blanks", [A], standard=[*left, *standards()])
    assert "The zero standard reads 0." in point(
        "Zero and blanks", [A], standard=[*standards((0,), (0.0,), name="Z"), *standards()]
    )
    assert "No zero standard." in point("Zero and blanks", [A])
    unread = {"id": "Z", "concentration": 0}
    assert "No zero standard is read." in point("Zero and blanks", [A], standard=[unread, *standards()])


def test_the_zero_of_each_of_several_calibrations_is_told() -> None:
    """Where one read 0 and the other 0.002, the other's was told alone, as if the first had none."""
    two = [{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}]
    levels = [
        each | {"calibration": name, "id": f"{name}-{each['id']}"}
        for name, zero in (("C1", 0.0), ("C2", 0.002))
        for each in (*standards((0,), (zero,), name="Z"), *standards())
    ]
    told = point("Zero and blanks", [row("A", 0.25, calibration="C1")], calibration=two, standard=levels)
    assert told.startswith("Zero standard C1 0, C2 0.002.")


def test_a_calibration_without_a_second_source_is_no_second_source_without_a_lot() -> None:
    asked = {"check": {"second_source_percent": [90, 110]}}
    none = "None was read. FAIL C1 is not verified: no second source was read on it. "
    assert point("Second source", [A], method=asked).startswith(none)
    source = row("ICV", 0.25, kind="second-source", expected=100, lot="X")
    assert point("Second source", [source, A]).startswith("ICV lot X: 100.0 %")
    assert point("Second source", [source | {"void": "bubble"}, A]).startswith("Void: ICV.")


@pytest.mark.parametrize(
    ("queue", "expected"),
    [
        ([], "No row is read."),
        ([A | {"at": at(40)}], "1 of 1 row read has its time."),
        ([A | {"at": at(40)}, row("B", 0.25, at=at(41))], "2 of 2 rows read have their time, and times run forward."),
    ],
)
def test_times_run_forward_where_there_are_two(queue: list[Table], expected: str) -> None:
    assert point("Order of times", queue) == expected


@pytest.mark.parametrize(
    ("studied", "expected"),
    [(10, "1 day before the run"), (11, "on the day of the run"), (13, "2 days after the run")],
)
def test_how_old_the_detection_study_is(studied: int, expected: str) -> None:
    limits = {"detection": 0.5, "studied": date(2026, 3, studied)}
    told = point("Detection study", [A], method={"limits": limits}, run={"id": "T", "opened": at(0)})
    assert f"studied 2026-03-{studied}, {expected}." in told


def test_a_log_without_an_entry_is_a_log() -> None:
    sheet = evaluate(run([A]), datetime.fromisoformat(NOW))
    corrections = dict(reviewer_points.POINTS)["Corrections"]
    assert "No edit log beside the document." in list(corrections(Report(sheet)))
    begun = list(corrections(Report(sheet, trail=Trail("whole"))))
    assert "The edit log has no entry of a person (log whole)." in begun
    assert "No edit log beside the document." not in begun


def test_the_net_of_one_blank_is_no_span() -> None:
    blank = row("SB", 0.5, kind="blank", at=at(60))
    assert "1 solvent blank, net 0.5." in point("Zero and blanks", [A, blank])
    assert "2 solvent blanks, net -0.499 to 0.5." in point(
        "Zero and blanks", [A, blank, row("SB2", 0.001, kind="blank", at=at(61))]
    )


def test_a_calibration_verified_elsewhere_is_told_with_where() -> None:
    """The first page said of it that it has no second source, and no more."""
    elsewhere = {"calibration": {"verified": "KB-1 ICV2, 2026-03-10"}}
    told = point("Second source", [A], **elsewhere)
    assert told.startswith("None was read. C1 verified: KB-1 ICV2, 2026-03-10. The standards' lots")
