"""Measurement uncertainty from a laboratory's own work: controls, duplicates and proficiency rounds.

Owns: the parts and how they combine. Invariant: pure, all relative, in percent; a part that nothing tells is None and
is never taken as zero.

Sources: Nordtest TR 537 and ISO 11352 (both from memory). u(Rw) is the within-laboratory reproducibility: the standard
deviation of a control that goes through the whole procedure, with that of duplicate ranges of real samples where the
control is a synthetic one. u(bias) is the root mean square of the biases with the uncertainty of what they were held
against. U = 2 u_c.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from runsheet.compute.statistics.control_charts import D2, mean_and_s

if TYPE_CHECKING:
    from collections.abc import Sequence

COVERAGE = 2.0
CONTROLS_FROM = 10
"""Controls from which on a standard deviation is taken (common practice, no source; more are better)."""
DUPLICATES_FROM = 8
"""Pairs from which on a mean range is taken (common practice, no source)."""
ROUNDS_FROM = 6
"""Proficiency rounds that should stand behind a bias (TR 537, from memory)."""


def of_controls(recoveries: Sequence[float]) -> float | None:
    """The relative standard deviation of control recoveries, percent; None for fewer than ten, or a mean of 0."""
    if len(recoveries) < CONTROLS_FROM:
        return None
    mean, s = mean_and_s(recoveries)
    return 100 * s / mean if mean > 0 else None


def of_duplicates(rpds: Sequence[float]) -> float | None:
    """The relative standard deviation that relative ranges of pairs, percent, tell; None for fewer than eight."""
    return math.fsum(rpds) / len(rpds) / D2 if len(rpds) >= DUPLICATES_FROM else None


def rms(values: Sequence[float]) -> float:
    """The root mean square of one value or more."""
    return math.hypot(*values) / math.sqrt(len(values))


@dataclass(frozen=True, slots=True)
class Bias:
    """A bias and what it stands on, percent."""

    size: float
    """The root mean square of the biases, or the one bias."""
    reference: float
    """The standard uncertainty of what they were held against."""
    spread: float = 0.0
    """Of one material: s / sqrt n of its results."""

    @property
    def u(self) -> float:
        """The standard uncertainty of the bias."""
        return math.hypot(self.size, self.spread, self.reference)


def bias_of_rounds(biases: Sequence[float], s_r: Sequence[float], laboratories: Sequence[float]) -> Bias:
    """The bias of proficiency rounds.

    `s_r` are the standard deviations between laboratories, percent, `laboratories` their numbers; one each a round.
    """
    n = len(biases)
    return Bias(rms(biases), math.fsum(s_r) / n / math.sqrt(math.fsum(laboratories) / n))


def bias_of_one(recoveries: Sequence[float], reference: float) -> Bias:
    """The bias of one material of a known value, two recoveries or more; `reference` is its uncertainty, percent."""
    mean, s = mean_and_s(recoveries)
    return Bias(mean - 100, reference, s / math.sqrt(len(recoveries)))


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """The parts and their combination, percent."""

    controls: float | None
    duplicates: float | None
    bias: Bias | None

    @property
    def precision(self) -> float | None:
        """u(Rw); None without controls."""
        return None if self.controls is None else math.hypot(self.controls, self.duplicates or 0.0)

    @property
    def combined(self) -> float | None:
        """u_c; None where a part is missing."""
        if self.precision is None or self.bias is None:
            return None
        return math.hypot(self.precision, self.bias.u)

    @property
    def expanded(self) -> float | None:
        """U = 2 u_c."""
        return None if self.combined is None else COVERAGE * self.combined
