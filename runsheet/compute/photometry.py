"""Transmittance and absorbance.

Owns: what a reading means. Invariant: everything after this module is in absorbance, or in mg/L for an instrument
that displays concentration.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.tables import Number


def absorbance(percent: float) -> float:
    """The absorbance of a transmittance in percent: A = -log10(T / 100).

    Raises ValueError at or below 0, which is no reading.
    """
    return 2 - math.log10(percent)


def transmittance(absorbance: float) -> float:
    """The transmittance in percent of an absorbance."""
    return 100 * 10**-absorbance


def signals(readings: Iterable[Number], reads: str | None) -> tuple[float, ...]:
    """Turn readings as typed into absorbances, or leave them as mg/L where the instrument displays that."""
    if reads == "transmittance":
        return tuple(absorbance(float(reading)) for reading in readings)
    return tuple(map(float, readings))


def step_signal(step: float, reads: str | None, mean: float) -> float:
    """The display step as absorbance at a mean absorbance: for %T, step / (T ln 10)."""
    if reads != "transmittance":
        return step
    try:
        return step / (transmittance(mean) * math.log(10))
    except (OverflowError, ZeroDivisionError):
        return math.inf
