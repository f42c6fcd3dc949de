"""Bytes cut into lines: whatever the pieces, the lines are the same, and what is none is told as none."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.port.lines import HALF, LONGEST, Cut, Splitter


def whole(*pieces: bytes) -> list[Cut]:
    splitter = Splitter()
    return [cut for piece in pieces for cut in splitter.take(piece, 0.0)]


@pytest.mark.parametrize("end", [b"\r\n", b"\n", b"\r", b"\n\r", b"\r\n\r\n"])
def test_a_line_ends_with_cr_lf_or_both(end: bytes) -> None:
    assert whole(b"0.112" + end + b"0.2" + end) == [Cut("0.112"), Cut("0.2")]


@given(st.lists(st.binary(max_size=LONGEST), max_size=6), st.data())
def test_pieces_make_no_difference(lines: list[bytes], data: st.DataObject) -> None:
    stream = b"".join(line + b"\r\n" for line in lines)
    at = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    pieces = [stream[a:b] for a, b in zip([0, *at], [*at, len(stream)], strict=True)]
    assert whole(*pieces) == whole(stream)


def test_a_line_without_an_end_is_bounded_and_the_next_is_whole() -> None:
    first, second = whole(*[b"1" * 1000] * 50, b"\n0.112\n")
    assert (len(first.raw), bool(first.why)) == (LONGEST, True)
    assert second == Cut("0.112")


def test_what_is_no_text_is_kept_as_escapes() -> None:
    assert whole(b"\xff\x000.1\n") == [Cut("\\xff\x000.1")]


def test_a_half_line_whose_end_does_not_come_is_joined_to_nothing() -> None:
    splitter = Splitter()
    assert splitter.take(b"0.1", 10.0) == []
    (cut,) = splitter.take(b"", 10.1 + HALF)
    assert (cut.raw, bool(cut.why)) == ("0.1", True)
    assert splitter.take(b"0.23\n", 13.0) == [Cut("0.23")]


def test_halves_that_come_in_time_are_one_line() -> None:
    splitter = Splitter()
    assert splitter.take(b"0.1", 10.0) == []
    assert splitter.take(b"12\n", 10.0 + HALF) == [Cut("0.112")]


def test_the_rest_of_a_line_that_began_before_the_port_was_open_is_none() -> None:
    splitter = Splitter(begun=True)
    first, second = splitter.take(b"23.4\r\n12.5\r\n", 0.0)
    assert (first.raw, bool(first.why)) == ("23.4", True)
    assert second == Cut("12.5")
