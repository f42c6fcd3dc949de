"""What a change moves of what was read before it."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo, read
from runsheet.run import edit
from runsheet.work import moves
from tests.make import document, row, standards

if TYPE_CHECKING:
    from runsheet.run.model import Run

NOW = datetime.fromisoformat("2026-03-11T10:52:00+01:00")


@pytest.fixture
def run() -> Run:
    made, _ = read(demo.text("water-day"))
    assert made is not None
    return made


def place(run: Run, name: str) -> int:
    return next(at for at, row in enumerate(run.queue, 1) if row.id == name)


def asked(run: Run, path: str, value: Any) -> str:
    return moves.asked(run, [edit.set_value(run, path, value)], NOW)


def test_twice_the_amount_is_half_the_result(run: Run) -> None:
    at = place(run, "OS-01")
    assert asked(run, f"queue[{at}].amount", 1930).startswith("1 result moves, at most 50 %")


@pytest.mark.parametrize(
    ("row", "field", "value"),
    [("OS-01", "extract_ml", 50), ("OS-01", "dilution", 10), ("CCV1", "expected", 90), ("MS1", "added_mg", 3)],
)
def test_each_of_its_facts_moves_a_read_row(row: str, field: str, value: object, run: Run) -> None:
    assert "result moves" in asked(run, f"queue[{place(run, row)}].{field}", value)


@pytest.mark.parametrize("field", ["amount", "extract_ml", "dilution", "batch", "note"])
def test_nothing_is_asked_of_a_row_that_is_not_read(field: str, run: Run) -> None:
    value = {"batch": run.batch[0].id if run.batch else None, "note": "x"}.get(field, 50)
    assert asked(run, f"queue[{place(run, 'OS-08')}].{field}", value) == ""


def test_one_setting_of_the_calibration_moves_every_result(run: Run) -> None:
    told = asked(run, "calibration[1].model", "quadratic")
    many = int(told.split(" ")[0])
    assert many > 10
    assert "results move, at most" in told


@pytest.mark.parametrize("path", ["standard[3].concentration", "calibration[1].weighting", "calibration[1].drift"])
def test_what_is_shared_is_asked_about(path: str, run: Run) -> None:
    value = {"concentration": 60, "weighting": "1/x2", "drift": "interpolate"}[path.rsplit(".", maxsplit=1)[1]]
    assert "results move" in asked(run, path, value)


def test_a_limit_that_turns_a_verdict_is_asked_about_and_one_that_does_not_is_not(run: Run) -> None:
    assert asked(run, "method.check.recovery_percent", [99, 100]) != ""
    assert asked(run, "method.check.recovery_percent", [89, 111]) == ""


@pytest.mark.parametrize(
    ("field", "value"), [("matrix", "solid"), ("sample", "OS-02"), ("kind", "field-blank"), ("silica_gel", False)]
)
def test_a_result_that_becomes_one_of_something_else_is_asked_about(field: str, value: object, run: Run) -> None:
    told = asked(run, f"queue[{place(run, 'OS-01')}].{field}", value)
    assert told.startswith("1 result is of another unit, fraction, kind or sample")


def test_the_time_it_was_read_at_moves_a_row_too(run: Run) -> None:
    path = f"queue[{place(run, 'OS-01')}].at"
    assert asked(run, path, datetime.fromisoformat("2026-03-11T08:20:00+01:00")) == "1 result moves, 1 lost"
    assert asked(run, path, datetime.fromisoformat("2026-03-12T10:00:00+01:00")).startswith("1 row gets another flag")
    assert asked(run, path, run.queue[place(run, "OS-01") - 1].at) == ""


@pytest.mark.parametrize(
    ("path", "value"), [("method.uncertainty.coverage", 3), ("calibration[1].confidence", Decimal("0.5"))]
)
def test_what_moves_each_u_alone_is_asked_about(path: str, value: object, run: Run) -> None:
    assert asked(run, path, value) == "12 results get another U"


def test_so_is_the_unit_of_all(run: Run) -> None:
    assert asked(run, "method.unit", "mg/kg") == "12 results are of another unit, fraction, kind or sample"


def test_a_result_that_is_printed_otherwise_is_not_said_to_get_a_flag(run: Run) -> None:
    told = "2 rows get other flags, states or printed results"
    assert asked(run, "method.figures", 2) == told
    assert asked(run, f"queue[{place(run, 'OS-01')}].report", value=False) == (
        "1 row gets another flag, state or printed result"
    )


def test_a_reading_taken_is_no_change(run: Run) -> None:
    assert asked(run, f"queue[{place(run, 'OS-08')}].readings", [Decimal("0.112")]) == ""


def test_a_fact_given_for_the_first_time_is_no_change_where_no_figure_stood(run: Run) -> None:
    at = place(run, "OS-01")
    bare = edit.apply(run, edit.set_value(run, f"queue[{at}].amount", None))
    assert asked(bare, f"queue[{at}].amount", 965) == ""
    assert asked(run, f"queue[{at}].amount", None).startswith("1 result moves, 1 lost")


def test_a_u_that_nobody_was_told_is_not_another_one() -> None:
    """A displayed figure without its step has a U of 0 by its formula: the step, given at last, changes none."""
    photometer = {"reads": "concentration"}
    bare, problems = read(
        document([row("A", 45.2)], calibration={"model": "direct"}, standard=[], instrument=photometer)
    )
    assert bare is not None
    assert not problems
    assert asked(bare, "instrument.step", Decimal("0.1")) == ""


def test_nothing_is_asked_before_anything_is_read(run: Run) -> None:
    from dataclasses import replace

    unread = replace(run, queue=tuple(replace(row, readings=(), at=None) for row in run.queue))
    assert asked(unread, "calibration[1].model", "quadratic") == ""
    assert asked(unread, "queue[5].amount", 10) == ""


@pytest.mark.parametrize(
    ("value", "said"), [(99.6, "100"), (1.84, "1.9"), (1.8, "1.8"), (0.012, "0.012"), (49.99999999999999, "50")]
)
def test_at_most_is_not_rounded_below_what_it_is(value: float, said: str) -> None:
    assert moves.Moved(1, value, 0, 0, 0, 0, 0).words == f"1 result moves, at most {said} %"


def test_whose_the_rows_are_that_were_read_is_asked_about(run: Run) -> None:
    """Another analyst, or another photometer, had read them all day, and nobody was asked."""
    assert asked(run, "run.analyst", "O. Quill") == "18 rows were read by M. Tarn"
    assert asked(run, "instrument.name", "the spare one") == (
        "24 standards and rows were read on bench photometer demo"
    )
    at = place(run, "OS-01")
    assert asked(run, f"queue[{at}].analyst", "O. Quill") == "1 row was read by M. Tarn"
    assert asked(run, f"queue[{at}].analyst", "M. Tarn") == ""
    assert asked(run, f"queue[{place(run, 'OS-08')}].analyst", "O. Quill") == ""
    assert asked(run, "instrument.note", "lamp changed") == ""


def test_a_limit_that_takes_one_of_two_failures_away_is_asked_about() -> None:
    """Both are of one calibration: it was looked at as one verdict."""
    wrong = standards(ys=[0.01, 0.2, 0.2, 0.4, 0.8])
    method = {"calibration": {"level_error_percent": 10, "r": 0.99999}}
    made, _ = read(document([row("A", 0.25)], standard=wrong, method=method))
    assert made is not None
    assert asked(made, "method.calibration.r", Decimal("0.1")) == "1 verdict turns"
