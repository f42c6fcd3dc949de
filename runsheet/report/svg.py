"""A plot as inline SVG.

Owns: the drawing of a `Plot` in shapes. Invariant: readable in black and white; every text is escaped.
"""

from __future__ import annotations

import html
import math
from typing import TYPE_CHECKING

from runsheet.figures import figure

if TYPE_CHECKING:
    from runsheet.show.plot import Plot

WIDTH, HEIGHT, LEFT, FOOT = 640, 260, 76, 36
TICKS = 6
"""At most, on an axis."""


def draw(plot: Plot) -> str:
    """Draw a plot as an `svg` element."""
    plot = plot.drawable()
    bounds = plot.bounds(0.05)
    if bounds is None:
        return ""
    (x0, x1), (y0, y1) = bounds

    def at(x: float, y: float) -> tuple[float, float]:
        across = LEFT + (x - x0) / (x1 - x0) * (WIDTH - LEFT - 12)
        return round(across, 1), round((y1 - y) / (y1 - y0) * (HEIGHT - FOOT - 12) + 12, 1)

    parts = [_axes(plot, (x0, x1), (y0, y1))]
    parts += [_line(at(x0, level), at(x1, level), 'stroke-dasharray="4 3"') for level in plot.levels]
    parts += [_line(at(x, y0), at(x, y1), 'stroke-dasharray="1 3"') for x in plot.changes]
    if plot.curve:
        line = " ".join(f"{a},{b}" for a, b in (at(x, y) for x, y in plot.curve))
        parts.append(f'<polyline points="{line}" fill="none" stroke="#000"/>')
    for x, y, mark in plot.points:
        a, b = at(x, y)
        if mark == "x":
            parts.append(f'<path d="M{a - 4},{b - 4} l8,8 m0,-8 l-8,8" stroke="#000"/>')
        elif mark == ".":
            parts.append(f'<circle cx="{a}" cy="{b}" r="2" fill="#000"/>')
        else:
            parts.append(f'<circle cx="{a}" cy="{b}" r="4" fill="#fff" stroke="#000" stroke-width="1.5"/>')
    return (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" font-size="11" font-family="sans-serif">\n'
        + "\n".join(parts)
        + "\n</svg>"
    )


def ticks(low: float, high: float) -> list[float]:
    """Round numbers within an axis: multiples of 1, 2 or 5 times a power of ten, at most `TICKS` of them."""
    power = 10.0 ** math.floor(math.log10((high - low) / TICKS))
    steps = (power * multiple for multiple in (1, 2, 5, 10))
    step = next(step for step in steps if math.floor(high / step) - math.ceil(low / step) < TICKS)
    return [number * step for number in range(math.ceil(low / step), math.floor(high / step) + 1)]


def _line(start: tuple[float, float], end: tuple[float, float], more: str = "") -> str:
    return f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" stroke="#000" {more}/>'


def _axes(plot: Plot, xs: tuple[float, float], ys: tuple[float, float]) -> str:
    floor, right = HEIGHT - FOOT, WIDTH - 12
    parts = [_line((LEFT, floor), (right, floor)), _line((LEFT, 12), (LEFT, floor))]
    for value in ticks(*xs):
        x = LEFT + (value - xs[0]) / (xs[1] - xs[0]) * (right - LEFT)
        parts += [_line((x, floor), (x, floor + 3)), _text(x, floor + 14, plot.x_label(value, 6), "middle")]
    for value in ticks(*ys):
        y = floor - (value - ys[0]) / (ys[1] - ys[0]) * (floor - 12)
        parts += [_line((LEFT - 3, y), (LEFT, y)), _text(LEFT - 6, y + 4, figure(value, 6), "end")]
    parts.append(_text((LEFT + right) / 2, HEIGHT - 6, plot.x_title, "middle"))
    parts.append(f'<g transform="rotate(-90 12 {floor / 2})">{_text(12, floor / 2, plot.y_title, "middle")}</g>')
    return "\n".join(parts)


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{html.escape(words)}</text>'
