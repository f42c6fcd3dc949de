"""The clock set back during a day: a reading is not taken before it is said why its time is right."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from tests.screen.driving import NOW, Drive, typed

if TYPE_CHECKING:
    from pathlib import Path

FIRST = 18


def test_a_reading_dated_before_the_last_one_is_asked_about_at_enter(water: Path) -> None:
    def then(drive: Drive) -> None:
        assert drive.bench.prompt is not None
        assert "the clock shows 2026-03-11 07:52, but OS-07 was read at 10:34" in drive.bench.prompt.label
        assert drive.bench.prompt.label.endswith("Why is it right?")
        assert drive.bench.session.run.queue[FIRST].readings == ()

    Drive(water, now=NOW - timedelta(hours=3)).run(typed("0.112"), then=then)


def test_it_is_taken_with_a_reason_and_not_without(water: Path) -> None:
    drive = Drive(water, now=NOW - timedelta(hours=3)).run(typed("0.112"), typed(""), "escape")
    assert drive.document.queue[FIRST].readings == ()
    drive = Drive(water, now=NOW - timedelta(hours=3)).run(typed("0.112"), typed("summer time"))
    assert drive.document.queue[FIRST].readings == (Decimal("0.112"),)


def test_a_clock_that_goes_on_asks_nothing(water: Path) -> None:
    assert Drive(water).run(typed("0.112")).document.queue[FIRST].readings == (Decimal("0.112"),)
