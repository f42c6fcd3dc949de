"""40 CFR 136 Appendix B, revision 2: t(0.99, one-sided) for n replicates, its 164 blanks, made-up data (computed)."""

from __future__ import annotations

import statistics
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
import scipy

from runsheet.compute.statistics.detection_limits import Measured
from runsheet.compute.statistics.detection_study import study
from runsheet.compute.statistics.student_t import one_sided

if TYPE_CHECKING:
    from collections.abc import Sequence

TABLE = {7: 3.143, 8: 2.998, 9: 2.896, 10: 2.821, 11: 2.764, 16: 2.602, 21: 2.528, 31: 2.457, 61: 2.390, 100: 2.365}
NOW = datetime(2026, 6, 30, 12, tzinfo=UTC)
SPIKES = [2.1, 1.9, 2.4, 2.0, 1.7, 2.2, 2.3]
BLANKS = [0.1, -0.05, 0.2, 0.0, 0.15, 0.05, 0.1]


def measured(values: Sequence[float | None], spiked: float | None = None) -> list[Measured]:
    """Spread results over three runs on three days of the last month."""
    return [
        Measured(value, NOW - timedelta(days=1 + i % 3), "B1", f"run {i % 3}", f"row {i}", spiked)
        for i, value in enumerate(values)
    ]


@pytest.mark.parametrize(("n", "t"), TABLE.items())
def test_t_as_printed(n: int, t: float) -> None:
    assert round(one_sided(0.99, n - 1), 3) == pytest.approx(t, abs=1e-12)
    made = study(measured([1.0 + i / n for i in range(n)], 1), [], NOW)
    assert made.spikes.t == pytest.approx(t, abs=5e-4)


def test_detection_limit_of_seven_spikes_and_seven_blanks() -> None:
    assert one_sided(0.99, 6) * statistics.stdev(SPIKES) == pytest.approx(0.757475912724473, rel=1e-13)
    from_blanks = max(0.0, statistics.mean(BLANKS)) + one_sided(0.99, 6) * statistics.stdev(BLANKS)
    assert from_blanks == pytest.approx(0.34856583, rel=1e-8)

    made = study(measured(SPIKES, 2), measured(BLANKS), NOW)
    assert made.spikes.s == pytest.approx(0.24102953780654787, rel=1e-14)
    assert made.mdl_s == pytest.approx(0.757475912724473, rel=1e-13)
    assert made.mdl_b == pytest.approx(0.34856583, rel=1e-8)
    assert made.mdl == made.mdl_s
    assert made.complete


def test_limits_against_scipy() -> None:
    for n in (7, 12, 40):
        spikes = [2 + ((7 * i) % 11) / 13 for i in range(n)]
        blanks = [((5 * i) % 9) / 40 for i in range(n)]
        made = study(measured(spikes, 2), measured(blanks), NOW)
        t = float(scipy.stats.t.ppf(0.99, n - 1))
        assert made.mdl_s == pytest.approx(t * float(scipy.stats.tstd(spikes)), rel=1e-10)
        assert made.mdl_b == pytest.approx(
            float(scipy.stats.tmean(blanks)) + t * float(scipy.stats.tstd(blanks)), rel=1e-10
        )


@pytest.mark.parametrize("numeric", [True, False])
def test_the_164_blanks_of_the_procedure(numeric: bool) -> None:  # noqa: FBT001 - a case, not a switch
    """The 162nd of 164 whose highest are 1.5, 1.7, 1.9, 5.0 and 10 (from memory); those without a number come first."""
    lowest: list[float | None] = [None] * 159 if not numeric else [None, *(i / 200 for i in range(158))]
    made = study(measured(SPIKES, 2), measured([5.0, 1.5, *lowest, 10, 1.9, 1.7]), NOW)
    assert (made.mdl_b, made.blanks.way) == (1.9, "rank")
    assert made.blanks.words == "the 99th percentile: rank 162 of 164"
    assert made.mdl == 1.9
