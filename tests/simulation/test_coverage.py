"""Simulated days with a known truth: how often result +- U covers it.

Every trial has its own standards, volumes, extraction and readings, with fixed seeds. What varies is normal; U has the
two-sided t of the fit as its coverage, which is a little more than 95 % where parts with a known deviation weigh in.
"""

from __future__ import annotations

import dataclasses
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from runsheet import evaluate
from tests.effort import tries
from tests.make import NOW, SLOPE, Table, command, document, row, run, standards

if TYPE_CHECKING:
    from pathlib import Path

TRIALS = 1500
LEVELS = [10.0, 20, 35, 50, 75, 100, 125, 150, 175, 200]
INSTRUMENT = {"reads": "absorbance", "step": 1e-6}
BENCH = {"volumes_percent": 1, "standards_percent": 1}
"""Relative standard deviations the simulated bench really has, percent."""
CURVES = [
    ("line", "none", 0.002),
    ("line", "1/x2", 0.012),
    ("mean-factor", "none", 0.012),
    ("quadratic", "none", 0.002),
]
"""Model, weighting and the noise of a reading: of absorbance, or relative to it where the curve is weighted."""
TRIED = CURVES[: tries(len(CURVES))]


def coverage(seed: int, curve: tuple[str, str, float], varies: Table, said: Table) -> float:
    """The part of the trials whose result +- U covers the truth."""
    model, weighting, noise = curve
    rng = np.random.default_rng(seed)
    calibration = {"model": model, "weighting": weighting, "zero_standard": "ignore", "note": "stray light"}
    plain = run(
        [row("A", 0.1)],
        instrument=INSTRUMENT,
        calibration=calibration,
        standard=standards(LEVELS),
        method={"uncertainty": said},
    )

    def read(y: float) -> tuple[Decimal, ...]:
        scale = y if weighting == "1/x2" or model == "mean-factor" else 1.0
        return (Decimal(str(round(y + rng.normal(0, noise * scale), 9))),)

    def off(name: str) -> float:
        return float(1 + rng.normal(0, varies.get(f"{name}_percent", 0) / 100))

    covered = 0
    for _ in range(TRIALS):
        stock, bottle, extraction, x = off("standards"), off("volumes"), off("precision"), rng.uniform(20, 180)
        curve_ = tuple(
            dataclasses.replace(made, readings=read(SLOPE * float(made.concentration or 0) * stock))
            for made in plain.standard
        )
        queue = (dataclasses.replace(plain.queue[0], readings=read(SLOPE * x)),)
        (found,) = evaluate(dataclasses.replace(plain, standard=curve_, queue=queue), datetime.fromisoformat(NOW)).rows
        assert found.result is not None
        assert found.expanded is not None
        # What was in the bottle: the extract's x is what came out of it, through volumes a little off.
        truth = 0.1 * x * bottle / extraction
        covered += abs(found.result - truth) <= found.expanded
    return covered / TRIALS


@pytest.mark.parametrize(
    "curve", CURVES[: tries(len(CURVES))], ids=lambda curve: f"{curve[0]}-{curve[1].replace('/', '-')}"
)
def test_readings_and_standards_alone_are_covered_at_95_percent(curve: tuple[str, str, float]) -> None:
    """Of 1500 trials at 95 % the standard deviation is 0.6 %."""
    assert coverage(1, curve, {}, {}) == pytest.approx(0.95, abs=0.015)


@pytest.mark.parametrize(
    "curve", CURVES[: tries(len(CURVES))], ids=lambda curve: f"{curve[0]}-{curve[1].replace('/', '-')}"
)
def test_readings_standards_and_volumes_are_covered(curve: tuple[str, str, float]) -> None:
    assert 0.94 <= coverage(2, curve, BENCH, BENCH) <= 0.985


def test_extraction_is_covered_when_precision_says_so() -> None:
    varies: dict[str, Any] = BENCH | {"precision_percent": 6}
    assert 0.94 <= coverage(3, CURVES[0], varies, varies) <= 0.985
    assert coverage(4, CURVES[0], varies, varies | {"coverage": 2}) == pytest.approx(0.9545, abs=0.015)


def test_extraction_is_missed_badly_when_nothing_says_so() -> None:
    assert coverage(3, CURVES[0], BENCH | {"precision_percent": 6}, BENCH) < 0.7


@pytest.mark.parametrize(
    ("said", "only"), [(BENCH, True), ({**BENCH, "precision_percent": 6}, False), ({"bias_percent": 1}, False)]
)
def test_the_report_says_what_is_not_in_u(tmp_path: Path, said: Table, only: bool) -> None:  # noqa: FBT001
    file = tmp_path / "run.toml"
    file.write_text(document([row("A", 0.25)], method={"uncertainty": said}), encoding="utf-8")
    text = " ".join(command("report", str(file), "--as", "text", "--now", NOW).split())
    assert ("instrument and volumes only" in text) == only
