"""The source of a limit that is changed in a run: never that of the old value."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from runsheet import demo, read
from runsheet.methods import words
from runsheet.run import edit
from runsheet.work import limit_source

if TYPE_CHECKING:
    from runsheet.run.model import Run


def day() -> Run:
    run, _ = read(demo.text("water-day"))
    assert run is not None
    return run


def after(run: Run, *edits: edit.Edit) -> Run:
    return edit.apply_all(run, limit_source.with_sources(run, edits))


def source(run: Run, limit: str) -> str:
    return next(each.source for each in words.describe(run.method) if each.path == limit)


def test_a_changed_limit_is_set_in_this_run() -> None:
    run = day()
    assert source(run, "batch.control_percent") == "EPA SW-846 8000D, interim limits"
    changed = after(run, edit.set_value(run, "method.batch.control_percent", [10, 500]))
    assert source(changed, "batch.control_percent") == "set in this run"
    assert source(changed, "batch.spike_percent") == source(run, "batch.spike_percent")


def test_a_source_given_with_the_change_stands() -> None:
    run = day()
    limit = edit.set_value(run, "method.blank.every_readings", 10)
    given = edit.set_value(edit.apply(run, limit), limit_source.path("blank.every_readings"), "our procedure 12")
    assert source(after(run, limit, given), "blank.every_readings") == "our procedure 12"


def test_a_limit_written_again_as_it_was_keeps_its_source() -> None:
    run = day()
    limit = edit.set_value(run, "method.blank.absorbance", Decimal("0.005"))
    assert source(after(run, limit), "blank.absorbance") == source(run, "blank.absorbance")
    other = edit.set_value(run, "method.title", "another title")
    assert after(run, other).method.sources == run.method.sources


def test_a_new_limit_of_one_fraction_is_set_in_this_run() -> None:
    run = day()
    limit = edit.set_value(run, "method.batch.petroleum.control_percent", [64, 132])
    assert source(after(run, limit), "batch.petroleum.control_percent") == "set in this run"
