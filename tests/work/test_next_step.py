"""What is next, in words."""

from __future__ import annotations

from runsheet import evaluate
from runsheet.show import state
from runsheet.work import next_step
from tests.review.test_signing import NOW, noted


def test_when_all_is_done_the_state_is_said_in_the_words_of_every_page() -> None:
    sheet = evaluate(noted(), NOW)
    step = next_step.next_step(sheet)
    assert step.words == "all read and closed: review and report"
    assert step.why == state.words(sheet)
    assert "1 failure acted on" in step.why
