"""The definition of absorbance, A = -log10(T), and the drift between two blanks (computed).

That a reading between two blanks is corrected by time is common practice, no source.
"""

from __future__ import annotations

import math

import pytest

from tests.make import LEVELS, SLOPE, Table, at, results, row, rows, standards

PAIRS = [(100, 0), (79.43282347242815, 0.1), (50, 0.3010299956639812), (10, 1), (110, -0.04139268515822508)]
PERCENT: Table = {
    "instrument": {"reads": "transmittance", "step": 0.1},
    "standard": standards(ys=[100 * 10 ** (-SLOPE * x) for x in LEVELS]),
}


@pytest.mark.parametrize(("percent", "absorbance"), PAIRS)
def test_transmittance_becomes_absorbance(percent: float, absorbance: float) -> None:
    found = rows(results([row("A", percent)], **PERCENT))["A"]
    assert found["net"] == pytest.approx(absorbance, abs=1e-14)
    assert found["extract"] == pytest.approx(absorbance / SLOPE, abs=1e-9)


def test_replicates_are_averaged_as_absorbances() -> None:
    """The mean of 100 and 10 %T is 0.5 A, not that of 55 %T."""
    assert rows(results([row("A", 100, 10)], **PERCENT))["A"]["net"] == pytest.approx(0.5, abs=1e-14)


@pytest.mark.parametrize("percent", [100, 50, 10])
def test_display_step_in_percent_as_absorbance(percent: float) -> None:
    """|dA/dT| = 1 / (T ln 10); with standards on a line the step is all there is to a reading's uncertainty."""
    found = rows(results([row("A", percent)], **PERCENT))["A"]
    assert found["u_extract"] == pytest.approx(0.1 / (percent * math.log(10)) / math.sqrt(12) / SLOPE, rel=1e-8)


@pytest.mark.parametrize(("minutes", "reading", "net"), [(20, 0.350, 0.346), (45, 0.420, 0.4135)])
def test_drift_between_two_blanks(minutes: int, reading: float, net: float) -> None:
    """0.002 at 0 min to 0.008 at 60 min."""
    queue = [
        row("B1", 0.002, kind="blank", at=at(60)),
        row("A", reading, at=at(60 + minutes)),
        row("B2", 0.008, kind="blank", at=at(120)),
    ]
    found = rows(results(queue, calibration={"drift": "interpolate"}))["A"]
    assert found["net"] == pytest.approx(net, abs=1e-15)
    assert found["drift"] == pytest.approx(reading - net, abs=1e-15)


def test_display_step_of_a_thousandth() -> None:
    """u = q / sqrt(12): 0.001 -> 0.000289 (computed), also for two readings that agree."""
    found = rows(results([row("A", 0.25, 0.25)]))["A"]
    assert round(found["u_extract"] * SLOPE, 6) == 0.000289


def test_water_result() -> None:
    """120 mg/L of extract, 100 mL, diluted 5 times, from 950 mL -> 63.15789 mg/L (computed)."""
    found = rows(results([row("A", SLOPE * 120, amount=950, dilution=5)]))["A"]
    assert found["result"] == pytest.approx(63.1578947368421, rel=1e-12)
