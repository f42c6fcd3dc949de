"""Sentences of the report that a run could make false."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from runsheet import evaluate
from runsheet.methods import words as method_words
from runsheet.report import (
    bench_sections,
    client_sections,
    identity,
    method_sections,
    quality_sections,
    record_sections,
    review_section,
    reviewer_points,
    standing_section,
)
from runsheet.report.blocks import Facts, Items, Paragraph
from runsheet.report.blocks import Table as DataTable
from runsheet.report.making import NO_LOG, Report
from runsheet.review.entries import Audit
from runsheet.show import client_results, findings, stands_on
from tests.make import NOW, Table, at, row, run, standards

A = row("A", 0.25, at=at(60))
LIMITS = {"detection": 0.5, "reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100}


def made(queue: list[Table], audit: Audit | None = None, **tables: Any) -> Report:
    return Report(evaluate(run(queue, **tables), datetime.fromisoformat(NOW)), audit or NO_LOG)


def paragraphs(blocks: Any) -> list[str]:
    return [block.text for block in blocks if isinstance(block, Paragraph)]


def test_the_legend_has_the_flags_that_are_given_whatever_letters_are_printed() -> None:
    low = row("A", 0.001)
    told = paragraphs(client_sections.results(made([low], method={"limits": LIMITS, "flags": {"U": "ND"}})))
    flags = next(each for each in told if each.startswith("Flags:"))
    assert flags.startswith("Flags: ND ")
    assert "; D " not in flags


def test_passes_are_more_only_where_others_are_listed() -> None:
    held = {"holding": {"collection_to_analysis_days": 1}}
    early = {"id": "A", "collected": at(0)}
    late = {"id": "B", "collected": at(-3 * 24 * 60)}
    one = paragraphs(quality_sections.quality(made([A], method=held, sample=[early])))
    assert one == ["holding: 1, which passes."]
    both = made([A, row("B", 0.25, at=at(61))], method=held, sample=[early, late])
    assert paragraphs(quality_sections.quality(both)) == ["holding: 1 more, which passes."]


@pytest.mark.parametrize(
    ("entries", "faults", "expected"),
    [
        (1, 0, "None of 1 entry replaced another once readings had begun, notes apart."),
        (5, 1, "1 step of the log could not be followed: runsheet log --verify says which."),
    ],
)
def test_what_the_log_has_is_counted(entries: int, faults: int, expected: str) -> None:
    told = paragraphs(quality_sections.corrections(made([A], Audit(entries=entries, faults=faults))))
    assert expected in told


def test_when_a_row_was_extracted_is_not_said_to_be_not_given() -> None:
    (none,) = paragraphs(record_sections.batches(made([A])))
    assert none.endswith("When and by whom it was extracted is not given.")
    (given,) = paragraphs(record_sections.batches(made([A | {"extracted": at(0)}])))
    assert given.endswith("When it was extracted stands with its rows, by whom is not given.")


def test_one_row_read_is_one_row_in_the_review() -> None:
    typed = {"row": "A", "readings": [0.25], "by": "R. Holt", "at": at(90)}
    blocks = review_section.review(made([A], standard=[], review=[typed]))
    facts = next(block for block in blocks if isinstance(block, Facts))
    assert dict(facts.pairs)["Typed again"] == "1 of 1 row read; one in ten asks for 1"


@pytest.mark.parametrize(("second", "day_told"), [(5 * 60, False), (30 * 60, True)])
def test_blanks_of_several_days_have_their_day(second: float, day_told: bool) -> None:  # noqa: FBT001
    read = [row("SB1", 0, kind="blank", at=at(10)), A, row("SB2", 0, kind="blank", at=at(second))]
    made_of = bench_sections.blanks(made(read, method={"blank": {"absorbance": 0.005}}))
    table = next(block for block in made_of if isinstance(block, DataTable))
    times = [cells[1] for cells in table.rows]
    assert len(set(times)) == 2
    assert all((f"{at(0):%Y-%m}" in time) == day_told for time in times)


def test_a_result_is_not_said_to_have_named_what_is_not_given() -> None:
    """Neither the cell of this run's second calibration nor its oil is known."""
    curves = [{"id": "C1", "cell_mm": 10, "material": "reference oil"}, {"id": "C2", "cell_mm": 50}]
    read = [{"calibration": name} | each for name in ("C1", "C2") for each in standards(name=f"S{name}")]
    report = made([A | {"calibration": "C1"}], calibration=curves, standard=read)
    named = identity.measured_with(report.sheet.run)
    assert "cell 10 mm, 50 mm" in named
    assert "standards of reference oil, not given of C2" in named
    bare = made([A], calibration={"id": "C1"})
    assert "cell not given" in identity.measured_with(bare.sheet.run)
    assert identity.measured_with(bare.sheet.run).endswith("; material of the standards not given")
    for each in (report, bare):
        items = [block for block in method_sections.not_claimed(each) if isinstance(block, Items)]
        (depends,) = [text for block in items for text in block.texts if text.startswith("The result depends on")]
        assert "each is named in the report, or said there not to be given" in depends


def test_volumes_without_an_uncertainty_are_not_said_to_be_in_u() -> None:
    told = {}
    for name, uncertainty in (("none", {}), ("volumes", {"volumes_percent": 1})):
        report = made([A], method={"uncertainty": uncertainty})
        told[name] = next(text for text in paragraphs(client_sections.results(report)) if text.startswith("+/-"))
    assert "instrument and volumes only (of volumes the method gives none)" in told["none"]
    assert "instrument and volumes only; the percentage" in told["volumes"]


def test_one_displayed_figure_without_its_step_has_no_uncertainty_rather_than_none_at_all() -> None:
    """It stood in the client's table as +/- 0, an exact result."""
    shown: Table = {"calibration": {"model": "direct"}, "standard": [], "instrument": {"reads": "concentration"}}
    bare = made([row("A", 45.2), row("A-gel", 40, sample="A", silica_gel=True)], **shown)
    assert [each.expanded for each in client_results.results(bare.sheet)] == [None, None, None]
    assert [each.expanded for each in bare.sheet.rows] == [0, 0]  # what the formula comes to
    assert client_sections.uncertainty(client_results.results(bare.sheet), bare.sheet).startswith("No unc")
    twice = made([row("A", 45.2, 46.0)], **shown)
    told = client_sections.uncertainty(client_results.results(twice.sheet), twice.sheet)
    assert "only (of the instrument no display step is given; of volumes the method gives none)" in told


def test_one_of_what_is_counted_is_no_plural_among_the_limits() -> None:
    two = made([row("A", 0.1), row("A-2", 0.1, sample="A")])
    (found,) = [finding for finding in two.sheet.quality if finding.rule == "one-result"]
    assert (findings.value(found), findings.limits(found)) == ("2 rows", "at most 1 row")
    check = {"every_readings": 1, "recovery_percent": [90, 110]}
    late = made([row("A", 0.1), row("B", 0.1), row("C", 0.25, kind="check", expected=100)], method={"check": check})
    (found,) = [finding for finding in late.sheet.quality if finding.rule == "check-interval"]
    assert (findings.value(found), findings.limits(found)) == ("2 readings", "at most 1 reading")


def test_an_interval_of_one_is_no_plural_wherever_it_is_told() -> None:
    method = {
        "blank": {"every_readings": 1, "absorbance": 0.005},
        "check": {"every_readings": 20.0, "recovery_percent": [90, 110]},
        "holding": {"collection_to_analysis_days": 1},
    }
    one = made([A, row("B")], method=method, sample=[{"id": "A", "collected": at(-3000)}])
    (holding,) = [finding for finding in one.sheet.quality if finding.rule == "holding" and finding.value]
    assert findings.limits(holding) == "at most 1 day"
    assert " of 1 day (A)." in " ".join(filter(None, dict(reviewer_points.POINTS)["Sample times and pH"](one)))
    assert [due.words for due in one.sheet.due] == ["blank due, 1 of 1 reading", "check not due, 1 of 20 readings"]
    limits = {limit.path: limit.value for limit in method_words.describe(one.sheet.run.method)}
    assert limits["blank.every_readings"] == "1 reading"
    assert limits["holding.collection_to_analysis_days"] == "1 day"


def test_a_superseded_row_waits_for_nothing() -> None:
    """The state of the run counts reported rows; the list of what is to do named the superseded one beside them."""
    method = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "closing": True}}
    gone = row("A", 0.1, report=False, reason="spilt", at=at(60))
    both = made([gone, row("A-2", 0.1, sample="A", at=at(61)), row("B")], method=method)
    assert "todo: 1 row waits for a closing blank or check standard: A-2" in findings.lines(both.sheet)


def test_a_superseded_row_is_none_of_those_accepted_or_held() -> None:
    again = made([row("A", 0.1, report=False, reason="spilt"), row("A-2", 0.1, sample="A")])
    assert next(iter(dict(reviewer_points.POINTS)["Brackets"](again))) == "1 accepted."


def test_a_calibration_that_warns_is_no_plain_pass_of_what_stands_on_it() -> None:
    """A quadratic without a reason: the table of verdicts below it says warn."""
    (standing,) = stands_on.standings(made([A], calibration={"model": "quadratic"}).sheet)
    assert standing.supports[0].verdict == "warn"
    assert stands_on.standings(made([A]).sheet)[0].supports[0].verdict == "pass"


def test_a_displayed_blank_is_told_in_its_unit_of_the_extract() -> None:
    """The method blank beside it is in mg/L of water."""
    shown: Table = {"calibration": {"model": "direct"}, "standard": [], "instrument": {"reads": "concentration"}}
    blank = row("SB", 0.5, kind="blank", at=at(59))
    (standing,) = stands_on.standings(made([blank, A], method={"blank": {"concentration": 2}}, **shown).sheet)
    assert "SB 0.5 mg/L of extract pass" in [support.short for support in standing.supports]


def test_a_run_with_nothing_in_it_has_no_heading_without_a_word_below_it() -> None:
    bare = made([], standard=[], calibration=[])
    assert paragraphs(quality_sections.quality(bare)) == ["Nothing is judged."]
    assert "lots" not in " ".join(dict(reviewer_points.POINTS)["Second source"](bare))


def test_a_finding_about_no_row_is_named_without_a_gap() -> None:
    method = {"blank": {"every_minutes": 10, "absorbance": 0.005}}
    late = made([A, row("B")], method=method)
    (table,) = [block for block in standing_section.each_result(late) if isinstance(block, DataTable)]
    assert "due" in table.rows[0][-1].split("; ")


def test_a_row_above_the_range_is_no_none_of_dilutions() -> None:
    report = made([row("A", 0.9, at=at(60))])
    told = " ".join(filter(None, dict(reviewer_points.POINTS)["Dilutions, raw readings"](report)))
    assert told.startswith("Above the range: A. No row is diluted.")


@pytest.mark.parametrize(
    ("name", "told"), [("photometer", "photometer, serial 7;"), ("red", "photometer red, serial 7;")]
)
def test_a_photometer_that_has_no_other_name_is_named_once(name: str, told: str) -> None:
    instrument = {"name": name, "serial": "7", "reads": "absorbance"}
    assert identity.measured_with(run([A], instrument=instrument)).startswith(told)
