"""Which signatures stand: by the document and by its log together, with the account each was made under."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from runsheet import evaluate
from runsheet.report import markdown, outline
from runsheet.report.making import Report
from runsheet.review import signed, signing, trail_rule, walk
from runsheet.review.trail import NO_TRAIL, Outside, Trail
from runsheet.run import edit
from runsheet.run.model import Issued, Run
from tests.review.test_signing import NOW, noted

HERE = {"account": "tarn", "machine": "bench-2"}
BEFORE, AFTER = NOW - timedelta(minutes=9), NOW + timedelta(minutes=9)
CHANGED = Trail("changed", "", (Outside("queue[3].note", "", '"x"', BEFORE.isoformat(), BEFORE.isoformat()),))
BROKEN = Trail("broken", "line 4 does not follow")


def both(analyst: dict[str, str] = HERE, reviewer: dict[str, str] = HERE) -> Run:
    run = edit.apply(noted(), signing.sign(noted(), "M. Tarn", NOW, analyst))
    return edit.apply(run, signing.sign(run, "R. Holt", NOW, reviewer))


def fallen(run: Run, trail: Trail) -> list[str]:
    return [each.fallen for each in signed.signatures(run, trail)]


def acted(run: Run, at: object, by: str = "R. Holt") -> Run:
    made = {"rule": "trail", "rows": [], "taken": "read against the notebook", "by": by, "at": at}
    return edit.apply(run, edit.insert_row(run, "action", len(run.action) + 1, made))


@pytest.mark.parametrize("trail", [NO_TRAIL, Trail("whole")])
def test_it_stands_on_a_whole_log_and_on_none(trail: Trail) -> None:
    assert fallen(both(), trail) == ["", ""]


@pytest.mark.parametrize("trail", [CHANGED, BROKEN])
def test_digests_made_anew_are_no_signature_when_the_log_tells_of_a_change(trail: Trail) -> None:
    assert all(trail.words in why for why in fallen(both(), trail))
    report = markdown.write(outline.outline(Report(evaluate(both(), NOW), trail=trail)))
    assert "nobody: no valid reviewer's signature" in report
    assert f"{trail.words}, not acted on before it was signed" in report


@pytest.mark.parametrize("trail", [CHANGED, BROKEN])
def test_it_stands_where_that_was_acted_on_before(trail: Trail) -> None:
    def after(at: object) -> Run:
        run = acted(noted(), at)
        return edit.apply(run, signing.sign(run, "M. Tarn", NOW))

    assert fallen(after(NOW - timedelta(minutes=1)), trail) == [""]
    assert fallen(after(AFTER), trail) != [""]


def test_a_broken_log_is_not_acted_on_by_the_analyst() -> None:
    assert not trail_rule.answers(acted(noted(), NOW, by="M. Tarn"), BROKEN)
    assert trail_rule.answers(acted(noted(), NOW, by="R. Holt"), BROKEN)


def test_one_account_in_both_roles_is_printed_beside_the_names() -> None:
    report = markdown.write(outline.outline(Report(evaluate(both(), NOW))))
    assert "analyst and reviewer signed under one account, tarn@bench-2" in report
    apart = both(reviewer={"account": "holt", "machine": "desk-1"})
    report = markdown.write(outline.outline(Report(evaluate(apart, NOW))))
    assert "one account" not in report
    assert "holt@desk-1" in report


def test_a_change_from_outside_is_answered_before_anybody_signs() -> None:
    sheet = trail_rule.judged(evaluate(noted(), NOW), CHANGED)
    assert "changed outside its log" in signing.refusal(sheet, "M. Tarn")
    sheet = trail_rule.judged(evaluate(acted(noted(), NOW), NOW), CHANGED)
    assert signing.refusal(sheet, "M. Tarn") == ""


def test_who_entered_a_reading_neither_reviews_nor_signs_as_reviewer() -> None:
    run = edit.apply(noted(), signing.sign(noted(), "M. Tarn", NOW))
    assert "entered readings" in signing.refusal(evaluate(run, NOW), "R. Holt", ("r holt",))
    assert "entered readings" in walk.refusal(run, "R. Holt", ("r holt",))
    assert walk.refusal(run, "R. Holt", ("tarn",)) == ""


def test_an_issue_is_under_no_signature() -> None:
    run = both()
    issued = Issued(number="GR-0422", at=NOW, by="R. Holt", digest="0" * 64, program="1", results=())
    assert fallen(replace(run, issued=(issued,)), NO_TRAIL) == ["", ""]


def test_every_report_is_a_draft_and_an_issue_it_names_was_not_looked_for() -> None:
    told = markdown.write(outline.outline(Report(evaluate(both(), NOW))))
    assert told.startswith("# Test report. Draft, not issued\n")
    issued = Issued(number="GR-0422", at=NOW, by="R. Holt", digest="0" * 64, program="1", results=())
    named = markdown.write(outline.outline(Report(evaluate(replace(both(), issued=(issued,)), NOW))))
    assert "Draft, not issued; the document names GR-0422 as issued, not looked for" in named


def test_of_a_reviewer_alone_nothing_says_that_the_analyst_signed() -> None:
    """A document without a log, whose analyst's signature somebody took out: digests leave signatures out."""
    assert signed.next_words(both(), NO_TRAIL).startswith("signed by analyst and reviewer: ")
    alone = replace(both(), signature=both().signature[1:])
    assert signed.next_words(alone, NO_TRAIL).startswith("signed by reviewer: ")
