"""A clock set back in the middle of a day is said, and in no other case."""

from __future__ import annotations

from datetime import timedelta

import pytest

from runsheet.run.clock import clock_behind
from tests.make import at, row, run


@pytest.mark.parametrize(("minutes", "said"), [(-60, True), (-3, True), (-2, False), (0, False), (60, False)])
def test_what_is_said_of_a_clock(minutes: int, said: bool) -> None:  # noqa: FBT001
    made = run([row("OF-1", 0.1, at=at(100)), row("OF-2", 0.1), row("OF-3")])
    told = clock_behind(made, at(100) + timedelta(minutes=minutes))
    assert bool(told) == said
    if minutes == -60:
        assert told == "the clock shows 2026-03-11 08:40, but OF-1 was read at 09:40"


def test_an_unread_row_with_a_time_and_a_run_without_readings_say_nothing() -> None:
    made = run([row("OF-1", at=at(100))], standard=[])
    assert clock_behind(made, at(0)) == ""


def test_another_day_and_another_offset_are_said_as_the_clock_has_them() -> None:
    made = run([row("OF-1", 0.1, at=at(24 * 60))])
    told = clock_behind(made, at(60))
    assert told == "the clock shows 2026-03-11 09:00, but OF-1 was read at 08:00 of 2026-03-12"
