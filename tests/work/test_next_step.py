"""What is next, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from runsheet import evaluate
from runsheet.run import edit
from runsheet.screen.panes import shown_findings
from runsheet.show import state
from runsheet.work import next_step
from tests.review.test_signing import NOW, day, noted

if TYPE_CHECKING:
    from runsheet.run.model import Run


def test_when_all_is_done_the_state_is_said_in_the_words_of_every_page() -> None:
    sheet = evaluate(noted(), NOW)
    step = next_step.next_step(sheet)
    assert step.words == "all read and closed: review and report"
    assert step.why == state.words(sheet)
    assert "1 failure acted on" in step.why


def cut_off() -> Run:
    """The soil day as it stood when its third check had failed and nothing was read again."""
    at = next(at for at, row in enumerate(day().queue) if row.id == "SB5")
    rows = (replace(row, report=None, reason=None) if row.id.endswith("T") else row for row in day().queue[: at + 1])
    return replace(day(), queue=tuple(rows))


def answered(run: Run) -> Run:
    for number, finding in enumerate((f for f in evaluate(run, NOW).quality if f.state == "fail"), 1):
        made = {"rule": finding.rule, "rows": list(finding.rows), "taken": "noted", "by": "M. Tarn", "at": NOW}
        run = edit.apply(run, edit.insert_row(run, "action", number, made))
    return run


def test_a_check_that_fails_and_what_it_holds_are_told_until_that_is_answered() -> None:
    held = evaluate(cut_off(), NOW)
    assert any(row.state == "held" and row.kind == "sample" for row in held.rows)
    assert "samples are held" in next_step.next_step(held).words
    after = evaluate(answered(cut_off()), NOW)
    words = next_step.next_step(after).words
    assert any(row.state == "held" for row in after.rows)
    assert ("CCV3" in words, "held" in words) == (False, False)


def test_the_finding_next_speaks_of_is_where_it_points() -> None:
    run = day()
    made = {"rule": "check", "rows": ["CCV3"], "taken": "noted", "by": "M. Tarn", "at": NOW}
    run = edit.apply(run, edit.insert_row(run, "action", 1, made))
    run = edit.apply(run, edit.set_value(run, "method.batch.control_percent", [99, 101]))
    sheet = evaluate(run, NOW)
    step = next_step.next_step(sheet)
    pointed = shown_findings(sheet)[step.row]
    assert (step.pane, pointed.acted_on, pointed.why) == ("quality", False, step.why)
    assert [f.acted_on for f in shown_findings(sheet) if f.state == "fail"][-1]
