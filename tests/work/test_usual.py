"""What looks like a slip of the hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo, read
from runsheet.run import edit
from runsheet.run.model import Row
from runsheet.work import usual
from tests import make

if TYPE_CHECKING:
    from runsheet.run.model import Run

STEPS = (2, 5, 10, 20, 50, 100)


def day(name: str = "water-day") -> Run:
    made, _ = read(demo.text(name))
    assert made is not None
    return made


def why(run: Run, row: str, field: str, value: Any, array: str = "queue") -> str:
    place = next(at for at, each in enumerate(getattr(run, array)) if each.id == row)
    return usual.why_not(run, array, place, field, value, STEPS)


def on(reads: Any, run: Run) -> Run:
    return replace(run, instrument=replace(run.instrument, reads=reads))


@pytest.mark.parametrize("amount", [334, 1000, 2900])
def test_an_amount_within_three_times_is_usual(amount: int) -> None:
    assert why(day(), "OS-08", "amount", amount) == ""


@pytest.mark.parametrize(
    ("amount", "words"),
    [(Decimal("0.112"), "1/8929 of the nominal 1000"), (3001, "3 times the nominal 1000")],
)
def test_an_amount_that_is_a_reading_is_unusual(amount: Any, words: str) -> None:
    assert words in why(day(), "OS-08", "amount", amount)


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ("0.112", ""),
        ("0.1120", ""),
        ("0.1122", "0.1122 has more digits than a display in steps of 0.001: is one too many? (F has the step)"),
        ("-0.003", ""),
        ("-0.112", "-0.112 A is far below zero: is it the sign, or the zero?"),
    ],
)
def test_a_reading_that_no_display_shows_is_unusual(reading: str, words: str) -> None:
    assert why(day(), "OS-08", "readings", (Decimal(reading),)) == words


def test_a_display_without_a_step_shows_any_digits() -> None:
    run = replace(day(), instrument=replace(day().instrument, step=None))
    assert why(run, "OS-08", "readings", (Decimal("0.1122"),)) == ""


def test_digits_that_were_taken_once_are_asked_about_no_more() -> None:
    run = day()
    queue = tuple(replace(row, readings=(Decimal("0.1122"),)) if row.id == "OS-07" else row for row in run.queue)
    run = replace(run, queue=queue)
    assert why(run, "OS-08", "readings", (Decimal("0.1135"),)) == ""
    assert why(run, "OS-07", "readings", (Decimal("0.1122"), Decimal("0.1123"))) != ""


def test_a_transmittance_far_above_a_clear_beam_is_unusual() -> None:
    run = on("transmittance", day())
    run = replace(run, instrument=replace(run.instrument, step=Decimal("0.1")))
    assert why(run, "OS-08", "readings", (Decimal("101.2"),)) == ""
    said = why(run, "OS-08", "readings", (Decimal("121.2"),))
    assert said == "121.2 %T is far above a clear beam: is it a digit, or the zero?"


@pytest.mark.parametrize(
    ("percent", "words"), [("85", ""), ("1.5", ""), ("0.85", "0.85 % solids: is it a fraction of 1?")]
)
def test_solids_as_a_fraction_are_unusual(percent: str, words: str) -> None:
    assert why(day("soil-day"), "G-1", "solids_percent", Decimal(percent)) == words


def test_of_a_step_what_is_unusual_is_said_with_its_row() -> None:
    run = day()
    new = Row(id="OS-90", kind="sample", amount=Decimal("0.985"), solids_percent=Decimal("0.9"))
    edits = [
        edit.set_value(run, "queue[20].amount", 1000),
        edit.set_value(run, "queue[20].readings", [Decimal("56.2")]),
        edit.insert_row(run, "queue", 1, new),
    ]
    named = run.queue[19].id
    assert usual.of_step(run, edits, STEPS) == [
        "unusual: OS-90, 0.9 % solids: is it a fraction of 1?",
        "unusual: OS-90, 0.985 is 1/1015 of the nominal 1000",
        f"unusual: {named}, 56.2 A lets through next to nothing: is it %T?",
    ]
    assert usual.of_step(run, [], STEPS) == []
    assert usual.of_step(run, edits * 200, STEPS) == [
        "not looked through for unusual values: more than 500 changes at once"
    ]


def test_a_standard_of_a_direct_analyser_is_held_against_its_own_concentration() -> None:
    """80 typed as 8: there is no curve of the others, and none is needed."""
    run = make.run(
        instrument={"reads": "concentration", "step": 0.1},
        calibration={"model": "direct"},
        standard=make.standards([0, 160, 80], [0.4, 160.2, 80.3]),
    )
    assert why(run, "S3", "readings", (Decimal("80.9"),), "standard") == ""
    assert why(run, "S3", "readings", (Decimal(8),), "standard") == "S3 is -90.0 % off the 80.4 mg/L it is to show"


@pytest.mark.parametrize(
    ("reads", "reading", "words"),
    [
        ("absorbance", "0.002", ""),
        ("absorbance", "0.099", ""),
        ("absorbance", "0.401", "S0 is at 0 mg/L and reads 0.401 A: is it another standard's?"),
        ("transmittance", "98.5", ""),
        ("transmittance", "39.7", "S0 is at 0 mg/L and reads 0.401 A: is it another standard's?"),
        ("concentration", "1.2", ""),
        ("concentration", "20.1", "S0 is at 0 mg/L and reads 20.1 mg/L: is it another standard's?"),
    ],
)
def test_a_standard_of_nothing_that_reads_as_another_is_unusual(reads: str, reading: str, words: str) -> None:
    """The first number of the day was taken in silence: what it shifts, a line with an intercept takes up."""
    levels = [{"id": f"S{n}", "concentration": x} for n, x in enumerate((0, 20, 40))]
    run = make.run(
        [],
        instrument={"reads": reads},
        standard=levels,
        calibration={"model": "direct" if reads == "concentration" else "line"},
    )
    assert why(run, "S0", "readings", (Decimal(reading),), "standard") == words


def test_without_a_nominal_amount_the_others_of_the_kind_say_what_is_usual() -> None:
    run = day()
    assert run.method.limits is not None
    bare = replace(run, method=replace(run.method, limits=replace(run.method.limits, nominal_amount=None)))
    assert why(bare, "OS-08", "amount", 985) == ""
    assert "what the other rows have" in why(bare, "OS-08", "amount", Decimal("9.85"))


def test_other_small_bottles_make_a_large_one_unusual() -> None:
    run = day()
    small = replace(run, queue=tuple(replace(row, amount=350 if row.amount else None) for row in run.queue))
    assert why(small, "OS-08", "amount", 360) == ""
    assert "what the other rows have (350)" in why(small, "OS-08", "amount", 1100)


@pytest.mark.parametrize(("dilution", "usual_one"), [(1, True), (10, True), (15, False), (3, False)])
def test_a_dilution_is_one_of_the_house(dilution: int, usual_one: bool) -> None:  # noqa: FBT001 - a table of cases
    assert (why(day(), "OS-08", "dilution", dilution) == "") is usual_one


def test_a_reading_of_the_other_scale_is_unusual() -> None:
    run = day()
    assert why(run, "OS-08", "readings", (Decimal("0.247"),)) == ""
    assert "is it %T?" in why(run, "OS-08", "readings", (Decimal("56.6"),))
    assert "is it an absorbance?" in why(on("transmittance", run), "OS-08", "readings", (Decimal("0.247"),))
    assert why(on("transmittance", run), "OS-08", "readings", (Decimal("56.6"),)) == ""
    assert why(on("concentration", run), "OS-08", "readings", (Decimal("56.6"),)) == ""


def test_setup_checks_have_scales_of_their_own() -> None:
    run = day()
    checks = [check.check for check in run.setup]

    def told(check: Any, value: str) -> str:
        return usual.why_not(run, "setup", checks.index(check), "readings", (Decimal(value),), STEPS)

    assert told("zero", "0.000") == ""
    assert "is it %T?" in told("zero", "100.0")
    assert "is it an absorbance?" in told("full-scale", "0.1")
    assert told("full-scale", "99.9") == ""
    assert told("dark", "0.1") == ""
    assert told("dark", "0.0") == ""
    assert told("full-scale", "0.000") == "0 %T lets nothing through: is it an absorbance?"
    run = replace(run, setup=tuple(replace(check, reads="transmittance") for check in run.setup))
    assert told("zero", "0.000") == "0 %T lets nothing through: is it an absorbance?"
    assert told("zero", "100.0") == ""


def standards(*values: str) -> Run:
    """A curve of about 0.00247 A for each mg/L; the zero first."""
    run = day()
    made = [
        replace(run.standard[0], id=f"S{n}", concentration=x, readings=(Decimal(value),) if value else (), use=None)
        for n, (x, value) in enumerate(zip((0, 10, 25, 50, 100, 200), values, strict=True))
    ]
    return replace(run, standard=tuple(made), queue=())


GOOD = ("0.000", "0.025", "0.062", "0.123", "0.247", "0.494")


def test_digits_that_changed_places_in_a_standard_are_unusual() -> None:
    run = standards(*GOOD[:4], "", GOOD[5])
    assert why(run, "S4", "readings", (Decimal("0.247"),), "standard") == ""
    told = why(run, "S4", "readings", (Decimal("0.274"),), "standard")
    assert told == "S4 is +10.9 % off the other standards, which expect 0.247"


def test_the_last_digit_of_a_low_level_is_not_unusual() -> None:
    run = standards("0.000", "", *GOOD[2:])
    assert why(run, "S1", "readings", (Decimal("0.028"),), "standard") == ""
    assert why(run, "S1", "readings", (Decimal("0.052"),), "standard") != ""


def test_too_few_others_say_nothing() -> None:
    run = standards("0.000", "0.025", "0.062", "", "", "")
    assert why(run, "S3", "readings", (Decimal("0.321"),), "standard") == ""


def test_the_odd_level_of_a_curve_is_named() -> None:
    assert usual.odd_level(standards(*GOOD), "C1") is None
    found = usual.odd_level(standards(*GOOD[:4], "0.274", GOOD[5]), "C1")
    assert found is not None
    assert found[0] == "S4"


def test_the_first_reading_after_the_lamp_was_put_on_is_told_how_long_it_is_on() -> None:
    run = day()
    on_at = max(each.started for each in run.setup if each.started is not None) + timedelta(days=1)
    lamp = replace(next(each for each in run.setup if each.check == "warm-up"), started=on_at)
    cold = replace(run, setup=(*run.setup, lamp))
    assert usual.while_warming(cold, on_at + timedelta(minutes=4)) == "the lamp is on for 4 min, the method asks for 15"
    almost = "the lamp is on for 14.7 min, the method asks for 15"
    assert usual.while_warming(cold, on_at + timedelta(minutes=14.7)) == almost
    assert usual.while_warming(cold, on_at + timedelta(minutes=15)) == ""
    early = "warm-up: its start is 120 min ahead of the clock"
    assert usual.while_warming(cold, on_at - timedelta(minutes=120)) == early
    read_since = replace(cold.queue[-1], readings=(Decimal("0.1"),), at=on_at + timedelta(minutes=3))
    assert usual.while_warming(replace(cold, queue=(read_since,)), on_at + timedelta(minutes=4)) == ""
    assert usual.while_warming(run, on_at) == ""


def test_percent_of_a_standard_read_in_transmittance_are_of_its_absorbance() -> None:
    """90 %T was said to be +83.4 % off the 94.4 %T it is to show, which it is not."""
    shown = [94.4, 86.6, 75.0, 56.2, 31.6]
    made = make.run(standard=make.standards(ys=shown), instrument={"reads": "transmittance", "step": 0.1})
    told = usual.why_not(made, "standard", 0, "readings", (Decimal("90.0"),), ())
    assert told == "S1 is +83.4 % off the other standards in absorbance: they expect 94.4 %T"


def test_a_lamp_with_a_start_to_come_is_not_on_for_minutes_below_zero() -> None:
    """Nor is it said to be off: the clock may have been set back since it was put on."""
    made = make.run(setup=[{"check": "warm-up", "started": make.at(20)}], method={"setup": {"warm_up_minutes": 15}},
                    standard=[])  # fmt: skip
    assert usual.while_warming(made, make.at(10)) == "warm-up: its start is 10 min ahead of the clock"
    assert usual.while_warming(made, make.at(30)) == "the lamp is on for 10 min, the method asks for 15"


@pytest.mark.parametrize(
    ("given", "field", "value", "words"),
    [
        ({"amount": 1000}, "full_g", 1824, "the amount 1000 counts, not what the bottle weighs"),
        ({"amount": 1000}, "empty_g", 830, "the amount 1000 counts, not what the bottle weighs"),
        ({"amount": None, "full_g": 1824}, "amount", 990, "the amount 990 counts, not what the bottle weighs"),
        ({"amount": None}, "full_g", 1824, ""),
        ({"amount": None}, "amount", 990, ""),
        ({"solids_percent": 80}, "dry_g", 8, "the solids of 80 % count, not what the dish weighs"),
        ({"wet_g": 10}, "solids_percent", 80, "the solids of 80 % count, not what the dish weighs"),
        ({}, "dry_g", 8, ""),
    ],
)
def test_a_figure_that_is_given_twice_is_asked_about(given: Any, field: str, value: Any, words: str) -> None:
    """A bottle was weighed for nothing: the amount that the plan had put there counted, and nobody said so."""
    run = day()
    place = next(at for at, each in enumerate(run.queue) if each.id == "OS-08")
    row = replace(run.queue[place], **given)
    run = replace(run, queue=(*run.queue[:place], row, *run.queue[place + 1 :]))
    assert words in why(run, "OS-08", field, value)
    assert bool(why(run, "OS-08", field, value)) == bool(words)
