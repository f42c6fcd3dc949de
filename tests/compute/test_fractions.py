"""Oil and grease less petroleum hydrocarbons: the polar part and its uncertainty."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.make import LEVELS, Table, results, row, standards

YS = [0.024, 0.065, 0.124, 0.251, 0.499]
PARTS = {"volumes_percent": 1, "standards_percent": 2, "precision_percent": 3, "bias_percent": 1.5}


def polar(whole: Table, part: Table, uncertainty: Table, **tables: Any) -> Table:
    queue = [{**row("OG", sample="W"), **whole}, {**row("HC", sample="W", silica_gel=True), **part}]
    (found,) = results(queue, method={"uncertainty": uncertainty}, **{"standard": standards(ys=YS)} | tables)[
        "fractions"
    ]
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("parts", [{}, PARTS], ids=["curve and readings", "all"])
@pytest.mark.parametrize(("m", "dilution"), [(1, 1), (3, 1), (2, 4)])
def test_what_both_share_cancels(parts: Table, m: int, dilution: float) -> None:
    """One curve, one bottle: the difference is differentiated as a whole, by readings and by coefficients."""
    import statsmodels.api as sm

    fit = sm.OLS(YS, sm.add_constant(np.array(LEVELS, dtype=float))).fit()
    (a, b), y1, y2, f1, f2 = fit.params, 0.30, 0.20, 0.1 * dilution, 0.1
    difference = f1 * (y1 - a) / b - f2 * (y2 - a) / b
    gradient = np.array([-(f1 - f2) / b, -difference / b])
    variance = fit.mse_resid / b**2 * (f1**2 + f2**2 / m) + gradient @ fit.cov_params() @ gradient
    variance += difference**2 * sum((percent / 100) ** 2 for percent in parts.values())
    found = polar({"readings": [y1], "dilution": dilution}, {"readings": [y2] * m}, parts | {"coverage": 2})
    assert found["polar"] == pytest.approx(difference, rel=1e-10)
    assert found["polar"] == pytest.approx(found["oil_grease"] - found["petroleum"], rel=1e-12)
    assert found["U"] == pytest.approx(2 * variance**0.5, rel=1e-9)


def test_equal_fractions_have_only_the_uncertainty_of_their_readings() -> None:
    import statsmodels.api as sm

    fit = sm.OLS(YS, sm.add_constant(np.array(LEVELS, dtype=float))).fit()
    found = polar({"readings": [0.25]}, {"readings": [0.25]}, PARTS | {"coverage": 2})
    assert found["polar"] == pytest.approx(0, abs=1e-12)
    assert found["U"] == pytest.approx(2 * 0.1 * (2 * fit.mse_resid) ** 0.5 / fit.params[1], rel=1e-9)


@pytest.mark.parametrize(
    "queue",
    [
        [row("HC", 0.2, sample="W", silica_gel=True)],
        [row("OG", 0.2, sample="W")],
        [row("OG", 0.2, sample="W"), row("HC", 0.2, sample="W", silica_gel=True, void="x")],
        [row("OG", 0.2, sample="W"), row("HC", 0.2, sample="W", silica_gel=True, report=False, reason="x")],
        [row("OG", 0.2, sample="W"), row("HC", sample="W", silica_gel=True)],
        [row("OG", 0.2, sample="W"), row("HC", 0.2, sample="V", silica_gel=True)],
    ],
    ids=["petroleum alone", "oil alone", "void", "superseded", "unread", "other sample"],
)
def test_no_polar_part_without_both_reported(queue: list[Table]) -> None:
    assert results(queue)["fractions"] == []


def test_reported_rows_are_the_ones_compared() -> None:
    queue = [
        row("OG", 0.5, sample="W", report=False, reason="diluted"),
        row("OG2", 0.15, sample="W", dilution=4),
        row("HC", 0.2, sample="W", silica_gel=True),
    ]
    (found,) = results(queue)["fractions"]
    assert [found[name] for name in ("oil_grease", "petroleum", "polar")] == pytest.approx([24, 8, 16])


def test_the_wider_coverage_of_the_two_curves_is_taken() -> None:
    """t of 3 degrees of freedom is 3.18, of 1 it is 12.7 (two-sided, 95 %)."""
    few = standards((10, 100, 200), (0.024, 0.251, 0.499), name="T", calibration="C2", first=30)
    tables: Table = {
        "calibration": [{"id": "C1"}, {"id": "C2"}],
        "standard": [*standards(ys=YS, calibration="C1"), *few],
    }
    one, two = {"readings": [0.30], "calibration": "C1"}, {"readings": [0.20], "calibration": "C2"}
    plain = polar(one, two, {"coverage": 1}, **tables)["U"]
    assert polar(one, two, {}, **tables)["U"] == pytest.approx(12.7062 * plain, rel=1e-5)


def test_each_dilution_counts_for_its_own_row() -> None:
    diluted = {"dilution": 2, "readings": [0.15]}
    plain, both = ({"coverage": 1}, {"coverage": 1, "dilution_percent": 10})
    one = polar(diluted, {"readings": [0.2]}, plain)
    other = polar(diluted, {"readings": [0.2]}, both)
    expected = (one["U"] ** 2 + (0.10 * one["oil_grease"]) ** 2) ** 0.5
    assert other["U"] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("whole", "part", "printed", "flags"),
    [
        (0.30, 0.20, "4.0", []),
        (0.30, 0.27, "1.2", ["J"]),
        (0.30, 0.295, "< 2.0", ["U"]),
        (0.30, 0.31, "< 2.0", ["Q", "U"]),
    ],
)
def test_the_polar_part_is_limited_as_a_result_is(whole: float, part: float, printed: str, flags: list[str]) -> None:
    limits = {"detection": 0.5, "reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100}
    queue = [row("OG", whole, sample="W"), row("HC", part, sample="W", silica_gel=True)]
    (found,) = results(queue, method={"limits": limits}, standard=standards(lot="L"))["fractions"]
    assert (found["reported"]["polar"], found["flags"]) == (printed, flags)
    assert found["reported"]["oil_grease"] == "12.0"
