"""Plots as text.

Owns: `draw`, from points and lines to characters, with braille dots or in ASCII. Invariant: pure; the same plot at the
same size gives the same lines, each exactly `width` characters.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from datetime import date

_DOTS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
"""Bits of a braille cell, by row and column of its dots (Unicode chapter on Braille Patterns)."""


@dataclass(frozen=True, slots=True)
class Plot:
    """Points over a curve."""

    points: tuple[tuple[float, float, str], ...]
    """x, y and the mark of each."""
    curve: tuple[tuple[float, float], ...] = ()
    """A line through these, in order."""
    levels: tuple[float, ...] = ()
    """Horizontal lines, as limits or zero."""
    x_title: str = ""
    y_title: str = ""
    changes: tuple[float, ...] = ()
    """Vertical lines, where something changed."""
    day_zero: date | None = None
    """x is in days from this one, and the axis shows dates; None: it shows numbers."""

    def drawable(self) -> Plot:
        """The plot without what is no number, or too far out to share a scale with anything."""
        points = tuple(point for point in self.points if _plain(*point[:2]))
        curve = tuple(point for point in self.curve if _plain(*point))
        return replace(self, points=points, curve=curve, levels=tuple(level for level in self.levels if _plain(level)))

    def x_label(self, x: float, digits: int = 3) -> str:
        """What an axis shows at x."""
        if self.day_zero is None or not math.isfinite(x):
            return _label(x, digits)
        day = self.day_zero.toordinal() + math.floor(x)
        return date.fromordinal(min(max(day, 1), date.max.toordinal())).isoformat()

    def bounds(self, margin: float) -> tuple[Range, Range] | None:
        """The ranges of x and y, widened a little so that no point sits on the frame; None where nothing is."""
        xs = [x for x, _, _ in self.points] + [x for x, _ in self.curve]
        ys = [y for _, y, _ in self.points] + [y for _, y in self.curve] + list(self.levels)
        return (_spread(xs, margin), _spread(ys, margin)) if xs else None


def draw(plot: Plot, width: int, height: int, *, ascii_only: bool = False) -> list[str]:
    """Draw a plot as `height` lines of `width` characters, axes and titles included."""
    plot = plot.drawable()
    bounds = plot.bounds(0.04)
    if width < 20 or height < 5 or bounds is None:
        return [" " * width] * height
    frame = _Frame(*bounds, width, height, ascii_only=ascii_only)
    for level in plot.levels:
        frame.level(level)
    for change in plot.changes:
        frame.change(change)
    frame.line(plot.curve)
    for x, y, mark in plot.points:
        frame.point(x, y, mark)
    return frame.lines(plot)


FARTHEST = 1e150
"""Numbers beyond are not drawn: their differences and ratios leave a float."""
Range = tuple[float, float]


def _plain(*numbers: float) -> bool:
    return all(abs(number) < FARTHEST for number in numbers)  # a comparison with nan is false


def _spread(values: list[float], margin: float) -> Range:
    low, high = min(values), max(values)
    wide = (high - low) * margin
    if wide < 1e-150:  # one place, or as good as one
        wide = abs(high) * 0.1 if abs(high) > 1e-140 else 1.0
    return low - wide, high + wide


class _Frame:
    """A grid of characters with axes; dots go below the marks."""

    def __init__(
        self, xs: tuple[float, float], ys: tuple[float, float], width: int, height: int, *, ascii_only: bool
    ) -> None:
        self._xs, self._ys, self._ascii, self._width = xs, ys, ascii_only, width
        self._ticks = [_label(ys[1]), _label((ys[0] + ys[1]) / 2), _label(ys[0])]
        self._gutter = max(map(len, self._ticks)) + 1
        self._columns, self._rows = width - self._gutter - 1, height - 2
        self._dots = [[0] * self._columns for _ in range(self._rows)]
        self._marks: dict[tuple[int, int], str] = {}

    def _place(self, x: float, y: float, across: int, down: int) -> tuple[int, int] | None:
        (x0, x1), (y0, y1) = self._xs, self._ys
        column = round((x - x0) / (x1 - x0) * (self._columns * across - 1))
        row = round((y1 - y) / (y1 - y0) * (self._rows * down - 1))
        inside = 0 <= column < self._columns * across and 0 <= row < self._rows * down
        return (row, column) if inside else None

    def _dot(self, x: float, y: float) -> None:
        if place := self._place(x, y, 2, 4):
            row, column = place
            self._dots[row // 4][column // 2] |= _DOTS[row % 4][column % 2]

    def line(self, points: tuple[tuple[float, float], ...]) -> None:
        """Dot a line through points."""
        for (x0, y0), (x1, y1) in itertools.pairwise(points):
            steps = self._columns * 2
            for step in range(steps + 1):
                part = step / steps
                self._dot(x0 + (x1 - x0) * part, y0 + (y1 - y0) * part)

    def level(self, y: float) -> None:
        """Draw a horizontal line."""
        if place := self._place(self._xs[0], y, 1, 1):
            for column in range(self._columns):
                self._marks.setdefault((place[0], column), "-" if self._ascii else "╌")

    def change(self, x: float) -> None:
        """Draw a vertical line, below marks."""
        if place := self._place(x, self._ys[0], 1, 1):
            for row in range(self._rows):
                self._marks.setdefault((row, place[1]), "!" if self._ascii else "┆")

    def point(self, x: float, y: float, mark: str) -> None:
        """Put a mark."""
        if place := self._place(x, y, 1, 1):
            self._marks[place] = mark

    def lines(self, plot: Plot) -> list[str]:
        """Write it out, with the plot's titles."""
        x_title, y_title = plot.x_title, plot.y_title
        side, corner, floor = ("|", "+", "-") if self._ascii else ("│", "└", "─")
        labels = {0: self._ticks[0], (self._rows - 1) // 2: self._ticks[1], self._rows - 1: self._ticks[2]}
        body = [
            labels.get(row, "").rjust(self._gutter - 1) + " " + side + self._characters(row)
            for row in range(self._rows)
        ]
        low, high = map(plot.x_label, self._xs)
        middle = f"{y_title} against {x_title}" if x_title and y_title else x_title or y_title
        room = self._columns - len(low) - len(high)
        foot = low + (middle[: max(0, room - 2)]).center(max(0, room)) + high
        return [
            *body,
            " " * self._gutter + corner + floor * self._columns,
            (" " * (self._gutter + 1) + foot)[: self._width].ljust(self._width),
        ]

    def _characters(self, row: int) -> str:
        return "".join(self._character(row, column) for column in range(self._columns))

    def _character(self, row: int, column: int) -> str:
        if mark := self._marks.get((row, column)):
            return mark
        bits = self._dots[row][column]
        if not bits:
            return " "
        return "." if self._ascii else chr(0x2800 + bits)


def _label(value: float, digits: int = 3) -> str:
    return f"{value:.{digits}g}" if math.isfinite(value) else "?"
