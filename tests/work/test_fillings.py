"""What goes with a reading when two rows are exchanged."""

from __future__ import annotations

from runsheet.run.edit import apply_all
from runsheet.work import fillings
from tests.make import at, row, run

BLANK = row("SB1", 0.009, kind="blank", at=at(40), rezeroed=True, as_left=0.001)


def test_a_sample_exchanged_with_a_blank_is_not_re_zeroed_on() -> None:
    made = run([BLANK, row("A", 0.002, at=at(41))])
    after = apply_all(made, fillings.exchange(made, "queue", 0, 1)).queue
    assert [(each.id, str(each.readings[0]), each.at, each.rezeroed) for each in after] == [
        ("SB1", "0.002", at(41), True),
        ("A", "0.009", at(40), None),
    ]
    assert [each.as_left is None for each in after] == [False, True]


def test_between_two_blanks_what_was_re_zeroed_goes_with_the_reading() -> None:
    made = run([BLANK, row("SB2", 0.002, kind="blank", at=at(41))])
    after = apply_all(made, fillings.exchange(made, "queue", 0, 1)).queue
    assert [(each.rezeroed, str(each.readings[0])) for each in after] == [(None, "0.002"), (True, "0.009")]
