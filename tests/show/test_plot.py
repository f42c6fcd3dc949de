"""Plots as text and as shapes, also of what no curve should be."""

from __future__ import annotations

import math
from datetime import date

import pytest

from runsheet.report import svg
from runsheet.show.plot import Plot, draw

PLOT = Plot(
    ((0.0, 0.0, "o"), (50.0, 0.125, "o"), (100.0, 0.25, "x")), ((0.0, 0.0), (100.0, 0.25)), x_title="x", y_title="y"
)
ODD = (
    ((-1.7e308, 0.0, "o"), (1.7e308, 1.0, "o")),
    ((0.0, math.inf, "o"), (1.0, math.nan, "x")),
    ((1.0, 1e-320, "o"), (1.0, 1e-320, "o")),
    ((5e-324, -1.7e308, "o"), (1e300, 1.7e308, "o")),
)


def test_each_line_is_as_wide_as_asked() -> None:
    for size in ((80, 16), (40, 8), (20, 5)):
        lines = draw(PLOT, *size)
        assert [len(line) for line in lines] == [size[0]] * size[1]


def test_points_stand_over_the_curve_from_corner_to_corner() -> None:
    lines = draw(PLOT, 60, 12)
    marked = [(at, line.index(mark)) for at, line in enumerate(lines[:10]) for mark in "ox" if mark in line]
    rows, columns = zip(*marked, strict=True)
    assert list(rows) == sorted(rows)
    assert list(columns) == sorted(columns, reverse=True)
    assert any("\u2800" < character < "\u28ff" for line in lines for character in line)


def test_ascii_is_ascii() -> None:
    assert "\n".join(draw(PLOT, 60, 12, ascii_only=True)).isascii()


@pytest.mark.parametrize("points", ODD)
def test_what_cannot_be_drawn_is_left_out(points: tuple[tuple[float, float, str], ...]) -> None:
    plot = Plot(points, ((0.0, 0.0), (math.inf, 1.0)), (math.nan,))
    assert [len(line) for line in draw(plot, 60, 12)] == [60] * 12
    assert "nan" not in svg.draw(plot)
    assert "inf" not in svg.draw(plot)


def test_nothing_is_a_blank_plot() -> None:
    assert draw(Plot(()), 40, 8) == [" " * 40] * 8
    assert svg.draw(Plot(())) == ""


def test_an_axis_of_days_shows_dates_and_a_change_is_an_upright_line() -> None:
    points = ((0.4, 1.0, "o"), (30.4, 2.0, "o"))
    plot = Plot(points, changes=(15.0,), day_zero=date(2026, 3, 11))
    lines = draw(plot, 60, 10, ascii_only=True)
    assert "2026-03-10" in lines[-1]  # the frame is a little wider than its points
    assert "2026-04-11" in lines[-1]
    column = lines[0].index("!")
    assert all(line[column] == "!" for line in lines[:-2])
    drawn = svg.draw(plot)
    assert "2026-03-21" in drawn
    assert 'stroke-dasharray="1 3"' in drawn


@pytest.mark.parametrize("zero", [date.min, date.max])
def test_an_axis_at_the_end_of_the_calendar_is_no_other_case(zero: date) -> None:
    plot = Plot(((0.0, 1.0, "o"), (1.0, 2.0, "o")), day_zero=zero)
    assert zero.isoformat() in draw(plot, 60, 10)[-1]
