"""What a reviewer looks at and types again, who may, what is left; how what was typed again is judged and reported."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo, evaluate, read
from runsheet.report import review_section, text
from runsheet.report.making import Report
from runsheet.review import signing, walk
from runsheet.review.entries import Audit, Correction, Late
from runsheet.run import edit
from runsheet.run.model import Action, Review
from runsheet.run.text import write
from tests.make import NOW, at, findings, results, row, standards
from tests.make import run as made_run

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet
    from runsheet.run.model import Run

Table = dict[str, Any]


def rows(count: int) -> list[Table]:
    return [row(f"R{n}", 0.1, at=at(60 + n)) for n in range(count)]


def bare(count: int) -> Run:
    """Make a run of so many rows that are read, and nothing else."""
    return made_run(rows(count), standard=[])


def day(name: str = "soil-day") -> Run:
    run, _ = read(demo.text(name))
    assert run is not None
    return run


def sheet(run: Run) -> Sheet:
    return evaluate(run, datetime.fromisoformat(NOW))


def with_reviews(run: Run, *made: Review) -> Run:
    """A run with these entries, as it would be read back."""
    back, problems = read(write(replace(run, review=(*run.review, *made))))
    assert back is not None
    assert not [problem for problem in problems if problem.level == "error"]
    return back


def typed(name: str, *values: str) -> Review:
    return Review(row=name, readings=tuple(map(Decimal, values)), by="R. Holt", at=at(200))


def seen(words: str, note: str | None = None) -> Review:
    return Review(exception=words, by="R. Holt", at=at(200), note=note)


# --- the rows ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "asked"), [(0, 0), (1, 1), (10, 1), (11, 2), (20, 2), (21, 3), (95, 10)])
def test_one_row_in_ten_rounded_up(count: int, asked: int) -> None:
    found = walk.chosen(bare(count))
    assert len(found) == len(set(found)) == asked
    assert set(found) <= {f"R{n}" for n in range(count)}


def test_rows_are_drawn_of_what_is_read_and_not_void_standards_too() -> None:
    queue = [row("A", 0.1), row("B"), row("C", 0.1, void="spilt"), row("D", 0.1, report=False, reason="read again")]
    drawn: Counter[str] = Counter()
    for n in range(200):
        drawn.update(walk.chosen(made_run(queue, run={"id": "T", "note": str(n)}, standard=standards((10,)))))
    assert set(drawn) == {"A", "D", "S1"}


def test_the_draw_is_the_same_for_everybody_and_another_for_another_sheet() -> None:
    run = bare(40)
    again, _ = read(write(run))
    assert again is not None
    assert walk.chosen(again) == walk.chosen(run)
    drawn = walk.chosen(run)
    reviewed_run = with_reviews(run, typed(drawn[0], "0.1"), seen("void: A: spilt"))
    signed = edit.apply(reviewed_run, signing.sign(reviewed_run, "M. Tarn", at(200)))
    assert walk.chosen(signed) == drawn
    others = {walk.chosen(replace(run, run=replace(run.run, note=str(n)))) for n in range(20)}
    assert len(others) == 20


def test_each_row_is_drawn_as_often_as_another() -> None:
    run, drawn = bare(20), Counter[str]()
    for n in range(500):
        drawn.update(walk.chosen(replace(run, run=replace(run.run, note=str(n)))))
    # Two of twenty, 500 times: 50 each, with a standard deviation of sqrt(500 * 0.1 * 0.9) = 6.7.
    assert len(drawn) == 20
    assert all(abs(count - 50) < 4 * 6.7 for count in drawn.values())


# --- the exceptions ---------------------------------------------------------------------------------------------


def test_the_exceptions_of_a_day_in_words() -> None:
    run = day()
    entered = datetime.fromisoformat("2026-04-22T10:03:00+02:00")
    audit = Audit(
        entries=3,
        corrections=(Correction("2026-04-22T09:40:11+02:00", "tarn", "G-2 readings", "[0.184]", "[0.148]", "swapped"),),
        late=(Late("G-4", entered - timedelta(minutes=40), entered),),
        faults=2,
    )
    told = walk.exceptions(evaluate(run, demo.NOW["soil-day"]), audit)
    for words in (
        "fail: check CCV3: recovers 87.1 %, limits 90-110; no action noted",
        "void: SB2: film on the cell window; rinsed with solvent and read again at once",
        "superseded: G-1T: held by CCV3; read again as G-1T-1",
        "superseded: LCS1T: held by CCV3; read again as LCS1T-1",
        "corrected: G-2 readings, 2026-04-22 09:40 tarn: [0.184] to [0.148]: swapped",
        "entry times: G-4: read 2026-04-22 09:23, entered 2026-04-22 10:03, 40 min later",
        "2 steps of the log could not be followed: runsheet log --verify says which",
    ):
        assert any(words in each for each in told)
    assert "corrected: G-2 readings, 2026-04-22 09:40 tarn: [0.184] to [0.148]: swapped" in told
    (superseded,) = (each for each in told if "superseded: G-1T" in each)
    assert superseded.startswith("6 of a kind: superseded: ")
    assert any(words.startswith("warn: batch G-1 G-2 G-3 G-4: ") for words in told)
    assert not any(words.startswith(("pass", "todo")) for words in told)


def test_a_standard_left_out_and_a_row_above_the_range_are_exceptions() -> None:
    left_out = standards()
    left_out[2] |= {"use": False, "reason": "wrong flask"}
    told = walk.exceptions(sheet(made_run([row("A", 0.9, at=at(60))], standard=left_out)), Audit())
    assert "standard left out: S3 at 50 mg/L: wrong flask" in told
    assert "above the range: A: reported as 36.0 mg/L" in told
    assert any(words.startswith("fail: dropped-levels") for words in told)


def test_a_finding_names_all_its_rows_and_says_what_was_done() -> None:
    method = {"holding": {"collection_to_analysis_days": 1}}
    run = made_run(rows(12), method=method)
    told = walk.exceptions(sheet(run), Audit())
    assert any(words.startswith("warn: holding") and "R11" in words for words in told)
    run = day()
    action = Action(rule="check", rows=("CCV3",), taken="calibrated anew", by="M. Tarn")
    told = walk.exceptions(evaluate(replace(run, action=(action,)), demo.NOW["soil-day"]), Audit())
    assert (
        "fail: check CCV3: recovers 87.1 %, limits 90-110; "
        "noted, and not acted on, for it has no time: calibrated anew (M. Tarn)"
    ) in told


def test_what_falls_due_and_the_walks_own_disagreement_are_no_exceptions() -> None:
    method = {"blank": {"every_minutes": 10}}
    run = with_reviews(made_run([*rows(2), row("R9")], method=method), typed("R0", "0.2"))
    made = sheet(run)
    assert {finding.rule for finding in made.quality if finding.state == "fail"} >= {"due", "review"}
    assert not [words for words in walk.exceptions(made, Audit()) if "due" in words or "review" in words]


def test_nothing_a_terminal_obeys_is_in_an_exception() -> None:
    run = made_run([row("A", 0.1, void="\x1b[2Jspilt")], standard=standards(lot="L1"))
    assert walk.exceptions(sheet(run), Audit()) == ("void: A: \\x1b[2Jspilt",)


# --- who, and what is left --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (" ", "a name is needed"),
        ("M. Tarn", "the reviewer is not the analyst"),
        (" m.  tarn ", "the reviewer is not the analyst"),
        ("A. Signer", "the reviewer is not the analyst"),
        ("R. Holt", ""),
    ],
)
def test_who_may_review(name: str, said: str) -> None:
    run = edit.apply(day(), signing.sign(day(), "A. Signer", at(200)))
    assert run.run.analyst == "M. Tarn"
    assert walk.refusal(run, name) == said


def test_rows_typed_again_count_also_where_the_document_has_changed_since() -> None:
    run = bare(20)
    first = walk.chosen(run)
    done = with_reviews(run, typed(first[0], "0.1"))
    left = walk.remaining(sheet(done), Audit())
    assert (left.rows, left.rows_done) == (first[1:], 1)
    notes = (replace(done, run=replace(done.run, note=str(n))) for n in range(100))
    changed = next(other for other in notes if first[0] not in walk.chosen(other))
    left = walk.remaining(sheet(changed), Audit())
    assert (len(left.rows), left.rows_done) == (1, 1)
    assert set(left.rows) < set(walk.chosen(changed))


def test_a_row_that_differs_is_offered_again_once_nothing_else_is_left() -> None:
    run = bare(20)
    one, two = walk.chosen(run)
    differs = with_reviews(run, typed(one, "0.7"))
    assert walk.remaining(sheet(differs), Audit()).rows == (two,)
    both = with_reviews(differs, typed(two, "0.10"))
    every = walk.exceptions(sheet(both), Audit())
    assert every
    assert walk.remaining(sheet(both), Audit()).rows == ()
    both = with_reviews(both, *map(seen, every))
    assert walk.remaining(sheet(both), Audit()) == ((one,), (), 1, len(every))
    agreed = with_reviews(both, typed(one, "0.1"))
    assert walk.remaining(sheet(agreed), Audit()) == ((), (), 2, len(every))


def test_an_exception_is_open_until_it_was_seen_as_it_is() -> None:
    run, now = day(), demo.NOW["soil-day"]
    every = walk.exceptions(evaluate(run, now), Audit())
    run = with_reviews(run, *map(seen, every))
    assert walk.remaining(evaluate(run, now), Audit()).exceptions == ()
    run = replace(
        run,
        action=(Action(rule="check", rows=("CCV3",), taken="calibrated anew", by="M. Tarn", at=demo.NOW["soil-day"]),),
    )
    left = walk.remaining(evaluate(run, now), Audit())
    failing = "fail: check CCV3: recovers 87.1 %, limits 90-110"
    assert left.exceptions == (f"{failing}; acted on: calibrated anew (M. Tarn, 2026-04-22 15:30+02:00)",)
    assert left.exceptions_done == len(every) - 1


# --- how it is judged -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("again", "state"),
    [
        ([[0.112, 0.11]], "pass"),
        ([[0.11, 0.112]], "fail"),
        ([[0.112]], "fail"),
        ([[0.112, 0.11, 0.11]], "fail"),
        ([[0.112, 0.1100001]], "fail"),
        ([[0.5], [0.112, 0.11]], "pass"),
        ([[0.112, 0.11], [0.5]], "fail"),
    ],
)
def test_the_latest_entry_is_compared_exactly(again: list[list[float]], state: str) -> None:
    reviews = [{"row": "A", "readings": values, "by": "R. Holt"} for values in again]
    found = findings(results([row("A", 0.112, 0.110)], review=reviews), "review")
    assert [(each["state"], each["rows"]) for each in found] == [(state, ["A"])]


def test_a_disagreement_says_both_and_fails_the_run() -> None:
    review = [{"row": "S1", "readings": [0.026], "by": "R. Holt"}]
    found = results([], review=review)
    assert findings(found, "review")[0]["why"] == "typed again from the notebook as 0.026, the sheet has 0.025"
    assert found["state"] == "fail"


def test_a_row_that_is_gone_warns_an_emptied_one_fails_and_a_void_one_says_nothing() -> None:
    queue = [row("A"), row("B", 0.1, void="spilt")]
    reviews = [{"row": name, "readings": [0.2], "by": "R. Holt"} for name in ("A", "B", "C")]
    found = [(f["state"], f["rows"][0]) for f in findings(results(queue, review=reviews), "review")]
    assert found == [("fail", "A"), ("warn", "C")]
    assert findings(results(queue), "review") == []


def test_a_disagreement_stops_signing_until_it_is_settled() -> None:
    action = Action(rule="check", rows=("CCV3",), taken="calibrated anew", by="M. Tarn", at=demo.NOW["soil-day"])
    run, now = replace(day(), action=(action,)), demo.NOW["soil-day"]
    assert signing.refusal(evaluate(run, now), "M. Tarn") == ""
    differs = with_reviews(run, typed("G-4", "0.061"))
    assert "review G-4" in signing.refusal(evaluate(differs, now), "M. Tarn")
    assert signing.refusal(evaluate(with_reviews(differs, typed("G-4", "0.051")), now), "M. Tarn") == ""
    at_row = next(n for n, each in enumerate(run.queue, 1) if each.id == "G-4")
    corrected = edit.apply(differs, edit.set_value(differs, f"queue[{at_row}].readings", [Decimal("0.061")]))
    assert signing.refusal(evaluate(corrected, now), "M. Tarn") == ""


# --- how it is reported -----------------------------------------------------------------------------------------


def told(run: Run) -> str:
    return " ".join(text.write(tuple(review_section.review(Report(sheet(run))))).split())


def test_the_report_says_who_looked_at_what_and_how_it_agrees() -> None:
    run = with_reviews(
        made_run(
            [row("A", 0.112), row("B", 0.13), row("C", 0.2, void="spilt"), row("D", 0.3, void="spilt too")],
            standard=standards(lot="L1"),
        ),
        typed("A", "0.1120"),
        typed("B", "0.18"),
        seen("void: C: spilt", "the notebook says so"),
    )
    found = told(run)
    assert "R. Holt 1 exception, 2 rows typed again (2026-03-11)" in found
    assert "Exceptions 1 of 3 looked at" in found
    assert "Typed again 2 of 7 rows read; one in ten asks for 1" in found
    assert "A 0.1120 R. Holt 2026-03-11 11:20+01:00 agrees" in found
    assert "B 0.18 R. Holt 2026-03-11 11:20+01:00 differs: 0.13" in found
    assert "- void: C: spilt: the notebook says so (R. Holt)" in found


def test_the_report_says_nothing_where_nobody_reviewed() -> None:
    assert told(made_run([row("A", 0.112)])) == ""


def test_more_than_three_of_a_kind_are_one_exception_that_lists_them_all_and_a_limit_stands_alone() -> None:
    def corrected(number: int, what: str, *, step: int, limit: bool = False) -> Correction:
        return Correction(f"2026-04-22T09:4{number}:11+02:00", "tarn", what, "1", "2", "", step, limit)

    rows_ = tuple(corrected(at, f"G-{at} amount", step=7) for at in range(1, 5))
    limits = tuple(corrected(at, f"method.setup.limit{at}", step=at, limit=True) for at in range(1, 6))
    told = walk.exceptions(evaluate(day(), demo.NOW["soil-day"]), Audit(entries=9, corrections=(*rows_, *limits)))
    (one,) = (each for each in told if "G-1 amount" in each)
    assert one.startswith("4 of a kind: corrected: G-1 amount")
    assert "G-4 amount" in one
    alone = [each for each in told if each.startswith("limit changed after the first standard was read: ")]
    assert len(alone) == 5
