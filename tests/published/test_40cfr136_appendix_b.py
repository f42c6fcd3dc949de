"""40 CFR 136 Appendix B, revision 2: t(0.99, one-sided) for n replicates, and MDL_S of made-up spikes (computed)."""

from __future__ import annotations

import statistics

import pytest

from runsheet.compute.student_t import one_sided

TABLE = {7: 3.143, 8: 2.998, 9: 2.896, 10: 2.821, 11: 2.764, 16: 2.602, 21: 2.528, 31: 2.457, 61: 2.390, 100: 2.365}


@pytest.mark.parametrize(("n", "t"), TABLE.items())
def test_t_as_printed(n: int, t: float) -> None:
    assert round(one_sided(0.99, n - 1), 3) == pytest.approx(t, abs=1e-12)


def test_detection_limit_of_seven_spikes_and_seven_blanks() -> None:
    spikes, blanks = [2.1, 1.9, 2.4, 2.0, 1.7, 2.2, 2.3], [0.1, -0.05, 0.2, 0.0, 0.15, 0.05, 0.1]
    assert one_sided(0.99, 6) * statistics.stdev(spikes) == pytest.approx(0.757475912724473, rel=1e-13)
    from_blanks = max(0.0, statistics.mean(blanks)) + one_sided(0.99, 6) * statistics.stdev(blanks)
    assert from_blanks == pytest.approx(0.34856583, rel=1e-8)
