"""Signing off: who may, what it covers, what a later change does."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, evaluate, read
from runsheet.report import markdown, outline
from runsheet.report.making import Report
from runsheet.review import signing
from runsheet.run import edit
from runsheet.run.model import Review
from runsheet.run.text import write
from tests.screen.driving import Drive, typed

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.run.model import Run

NOW = demo.NOW["soil-day"]


@pytest.fixture
def soil(tmp_path: Path) -> Path:
    path = tmp_path / "soil.toml"
    path.write_text(demo.text("soil-day"), encoding="utf-8")
    return path


def day(name: str = "soil-day") -> Run:
    run, _ = read(demo.text(name))
    assert run is not None
    return run


def noted() -> Run:
    action = {"rule": "check", "rows": ["CCV3"], "taken": "calibrated anew", "by": "M. Tarn", "at": NOW}
    return edit.apply(day(), edit.insert_row(day(), "action", 1, action))


def test_no_signature_while_a_failing_finding_has_no_action() -> None:
    assert "check CCV3" in signing.refusal(evaluate(day(), NOW), "M. Tarn")
    assert signing.refusal(evaluate(noted(), NOW), "M. Tarn") == ""
    assert "still to be read" in signing.refusal(evaluate(day("water-day"), demo.NOW["water-day"]), "M. Tarn")
    assert "a name" in signing.refusal(evaluate(noted(), NOW), " ")


def test_the_reviewer_is_not_the_analyst() -> None:
    run = edit.apply(noted(), signing.sign(noted(), "M. Tarn", NOW))
    assert "not the analyst" in signing.refusal(evaluate(run, NOW), "m. tarn")
    run = edit.apply(run, signing.sign(run, "R. Holt", NOW))
    assert [signature.role for signature in signing.standing(run)] == ["analyst", "reviewer"]
    assert "signed by analyst and reviewer" in signing.refusal(evaluate(run, NOW), "A. Third")


def test_a_change_leaves_the_signature_and_it_stands_no_more() -> None:
    run = edit.apply(noted(), signing.sign(noted(), "M. Tarn", NOW))
    assert read(write(run))[0] == run
    changed = edit.apply(run, edit.set_value(run, "queue[1].note", "looked at again"))
    assert signing.standing(run)
    assert not signing.standing(changed)
    report = markdown.write(outline.outline(Report(evaluate(changed, NOW))))
    assert "the document was changed after it" in report


def test_signing_and_amending_at_the_screen(soil: Path) -> None:
    drive = Drive(soil, now=NOW).run("f5", "t", typed("calibrated anew"), "S", typed("M. Tarn"), "S", typed("R. Holt"))
    assert [signature.name for signature in signing.standing(drive.document)] == ["M. Tarn", "R. Holt"]
    drive = Drive(soil, now=NOW).run("f4", "t", typed("second look"), "enter")
    assert not drive.document.amendment
    drive = Drive(soil, now=NOW).run("f4", "t", typed("second look"), typed("client asked"))
    assert [amendment.reason for amendment in drive.document.amendment] == ["client asked"]
    assert not signing.standing(drive.document)


# --- a reviewer's walk ------------------------------------------------------------------------------------------


def review(run: Run, words: str = "void: SB2: a film") -> edit.Edit:
    return edit.insert_row(run, "review", len(run.review) + 1, Review(exception=words, by="R. Holt"))


def both_signed() -> Run:
    run = edit.apply(noted(), signing.sign(noted(), "M. Tarn", NOW))
    run = edit.apply(run, review(run))
    return edit.apply(run, signing.sign(run, "R. Holt", NOW))


def test_without_reviews_both_roles_sign_the_same() -> None:
    run = noted()
    assert signing.digest(run, "reviewer") == signing.digest(run)
    reviewed = edit.apply(run, review(run))
    assert signing.digest(reviewed) == signing.digest(run)
    assert signing.digest(reviewed, "reviewer") != signing.digest(run)


def test_the_analysts_signature_stands_after_a_walk_and_the_reviewers_not_after_a_later_entry() -> None:
    run = both_signed()
    assert [signature.role for signature in signing.standing(run)] == ["analyst", "reviewer"]
    later = edit.apply(run, review(run, "superseded: G-3: diluted"))
    assert [signature.role for signature in signing.standing(later)] == ["analyst"]
    assert signing.refusal(evaluate(later, NOW), "R. Holt") == ""
    again = edit.apply(later, signing.sign(later, "R. Holt", NOW))
    assert [signature.role for signature in again.signature] == ["analyst", "reviewer", "reviewer"]
    assert [signature.role for signature in signing.standing(again)] == ["analyst", "reviewer"]


def test_a_change_of_the_sheet_ends_both_signatures() -> None:
    run = both_signed()
    assert not signing.standing(edit.apply(run, edit.set_value(run, "queue[1].note", "looked at again")))


def test_a_review_is_free_until_a_reviewers_signature_stands() -> None:
    plain = noted()
    analyst = edit.apply(plain, signing.sign(plain, "M. Tarn", NOW))
    note = edit.set_value(plain, "queue[1].note", "x")
    assert not signing.touched(plain, [note])
    assert not signing.touched(analyst, [review(analyst)])
    assert signing.touched(analyst, [note])
    assert signing.touched(analyst, [review(analyst), note])
    both = both_signed()
    assert signing.touched(both, [review(both)])
    assert not signing.touched(both, [signing.amend(both, "", "why", NOW)])
    later = edit.apply(both, review(both))
    assert not signing.touched(later, [review(later)])


def test_a_reviewer_alone_leaves_the_analyst_to_sign() -> None:
    run = both_signed()
    alone = replace(run, signature=run.signature[1:])
    assert [signature.role for signature in signing.standing(alone)] == ["reviewer"]
    assert signing.role(alone) == "analyst"
    assert "r. holt has reviewed this run" in signing.refusal(evaluate(alone, NOW), "r. holt")


@pytest.mark.parametrize("name", ["M. Tarn", "m tarn", "M.TARN ", "Q. Other", "O. Lind", "B. Cole"])
def test_nobody_who_worked_on_the_run_or_signed_it_reviews_it(name: str) -> None:
    run = replace(noted(), run=replace(noted().run, analyst="M. Tarn"))
    rows = (replace(run.queue[0], analyst="O. Lind"), *run.queue[1:])
    run = replace(run, queue=rows, batch=tuple(replace(batch, analyst="B. Cole") for batch in run.batch))
    signed = edit.apply(run, signing.sign(run, "Q. Other", NOW))
    assert signing.refusal(evaluate(signed, NOW), name) == "the reviewer is not the analyst"
    assert signing.refusal(evaluate(signed, NOW), "R. Holt") == ""


def test_a_reviewer_does_not_become_the_analyst_by_a_change_of_the_run() -> None:
    run = both_signed()
    changed = edit.apply(run, edit.set_value(run, "run.note", "corrected"))
    assert signing.role(changed) == "analyst"
    assert "has reviewed this run" in signing.refusal(evaluate(changed, NOW), "R Holt")
    assert signing.refusal(evaluate(changed, NOW), "M. Tarn") == ""
