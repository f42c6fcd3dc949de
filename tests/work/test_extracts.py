"""What is left of each extract."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given

from runsheet import read
from runsheet.run.text import write
from runsheet.work import extracts
from tests.make import LEVELS, Table, at, examples, row, run, standards
from tests.properties.runs import readable

if TYPE_CHECKING:
    from runsheet.run.model import Run

TEN = {"id": "C1", "model": "line", "cell_mm": 10}


def ledger(queue: list[Table], **tables: Any) -> list[extracts.Extract]:
    timed = [each | {"at": at(60 + n)} if each["readings"] else each for n, each in enumerate(queue)]
    return extracts.ledger(run(timed, **{"calibration": TEN} | tables))


def one(queue: list[Table], **tables: Any) -> extracts.Extract:
    (found,) = ledger(queue, **tables)
    return found


@pytest.mark.parametrize(("mm", "ml"), [(10, 3), (50, 15), (100, 30), (20, 6), (1, 1), (2.5, 1)])
def test_a_filling_takes_what_the_cell_holds(mm: float, ml: float) -> None:
    """The first three as in EPA SW-846 8440."""
    assert one([row("A", 0.2)], calibration=TEN | {"cell_mm": mm}).left_ml == pytest.approx(100 - ml)
    assert one([row("A", cell_mm=mm)]).needed_ml == pytest.approx(ml)


def test_each_reading_of_each_row_is_one_filling() -> None:
    found = one([row("A", 0.2, 0.21, 0.2), row("A-1", 0.2, sample="A"), row("A-2", sample="A")])
    assert (found.used_ml, found.left_ml, found.needed_ml, found.short) == (12, 88, 3, False)
    assert found.words == "A: 100 mL made, 12 mL used, 88 mL left, 3 mL still needed"


def test_what_is_void_or_superseded_was_taken_all_the_same() -> None:
    queue = [
        row("A", 0.2, void="bubble"),
        row("A-1", 0.2, sample="A", report=False, reason="dirty"),
        row("A-2", sample="A", void="not needed"),
    ]
    assert (one(queue).used_ml, one(queue).needed_ml) == (6, 0)


def test_a_dilution_takes_an_aliquot() -> None:
    found = one([row("A", 0.2, 0.2, dilution=4), row("A-1", sample="A", dilution=10)])
    assert [found.used_ml, found.needed_ml] == pytest.approx([1.5, 0.3])
    assert found.takings[0].words == "2 fillings of 3 mL, 10 mm cell, diluted 4x"


def test_silica_gel_keeps_some_of_the_extract_once() -> None:
    queue = [
        row("A", 0.2, silica_gel=False),
        row("AT", 0.1, sample="A", silica_gel=True, silica_gel_g=5),
        row("AT2", 0.1, sample="A", silica_gel=True),
    ]
    assert (one(queue).used_ml, one(queue).left_ml) == (3 * 3 + 5, 86)
    assert [(t.row, t.ml) for t in one(queue).takings] == [("A", 3), ("AT", 5), ("AT", 3), ("AT2", 3)]
    # A row that was passed over does not owe the gel what a later reading has taken already.
    late = one([row("AT", sample="A", silica_gel=True), row("AT2", 0.1, sample="A", silica_gel=True)])
    assert (late.used_ml, late.needed_ml) == (6, 3)
    # Not treated yet: 3 g and a filling are still needed.
    planned = one([row("A", 0.2), row("AT", sample="A", silica_gel=True)])
    assert (planned.used_ml, planned.needed_ml) == (3, 6)


def test_a_plan_that_cannot_be_supplied_is_said_so() -> None:
    queue = [row(f"A{n}", *readings, sample="A", extract_ml=10) for n, readings in enumerate([(0.2, 0.2), (), (), ()])]
    found = one(queue)
    assert (found.left_ml, found.needed_ml, found.short) == (4, 9, True)
    assert found.words.endswith("4 mL left, 9 mL still needed: SHORT by 5 mL, from A2 on")
    assert one(queue[:2]).short is False
    exactly = one([row("A", 0.2, extract_ml=6), row("A-1", sample="A", extract_ml=6)])
    assert (exactly.left_ml, exactly.short) == (3, False)


def test_more_taken_than_made_is_a_mistake_somewhere() -> None:
    found = one([row("A", 0.2, 0.2, extract_ml=5)])
    assert (found.left_ml, found.short) == (-1, True)
    assert found.words.endswith("-1 mL left, 0 mL still needed: more was taken than was made: check volumes and cell")


def test_rows_share_an_extract_by_sample_and_batch() -> None:
    queue = [
        row("A", 0.2, batch="B1"),
        row("A-1", 0.2, sample="A", batch="B1"),
        row("A-2", 0.2, sample="A", batch="B2", extract_ml=50),
        row("D1", kind="duplicate", of="A", batch="B1"),
        row("SB1", 0.0, kind="blank"),
        row("CCV1", 0.2, kind="check", expected=100),
    ]
    found = ledger(queue, batch=[{"id": "B1"}, {"id": "B2"}])
    assert [(e.sample, e.batch, e.made_ml, e.used_ml) for e in found] == [
        ("A", "B1", 100, 6),
        ("A", "B2", 50, 3),
        ("D1", "B1", 100, 0),
    ]
    assert found[1].words.startswith("A, batch B2: 50 mL made, ")


def test_a_volume_nobody_gave_is_not_made_up() -> None:
    found = one([row("A", 0.2, extract_ml=None)])
    assert (found.left_ml, found.short) == (None, False)
    assert found.words == "A: volume not known, 3 mL used, 0 mL still needed"
    limits = {"nominal_amount": 1000, "nominal_extract_ml": 80}
    blank = row("MB1", 0.0, kind="method-blank", extract_ml=None)
    assert one([blank], method={"limits": limits}).left_ml == 77


def test_the_cell_is_that_of_the_curve_the_row_uses() -> None:
    curves = [TEN, {"id": "C2", "model": "line", "cell_mm": 50}]
    levels = [*standards(calibration="C1"), *standards(LEVELS, calibration="C2", name="L", first=65)]
    found = ledger([row("A", 0.2), row("B")], calibration=curves, standard=levels)
    assert [(e.used_ml, e.needed_ml) for e in found] == [(3, 0), (0, 15)]
    assert one([row("A")], standard=[], calibration=TEN | {"cell_mm": 100}).needed_ml == 30


@given(readable())
@examples(100)
def test_any_readable_run_has_a_ledger_that_adds_up(made: Run) -> None:
    whole, problems = read(write(made))
    if whole is None or any(problem.level == "error" for problem in problems):
        return
    found = extracts.ledger(whole)
    assert len({(each.sample, each.batch) for each in found}) == len(found)
    for each in found:
        assert each.words
        assert all(taking.ml >= 0 for taking in each.takings)
        if each.left_ml is not None and each.made_ml is not None:
            size = max(each.made_ml, each.used_ml)
            assert each.made_ml - each.left_ml == pytest.approx(each.used_ml, rel=0, abs=1e-9 * size)
            assert each.short or each.left_ml >= each.needed_ml - 1e-8 * size
