"""Numbers at the ends of a float's range: what a readable run holds is computed, or is absent, and never raises."""

from __future__ import annotations

import pytest

from tests.make import Table, extract, results, row, rows, standards

DIRECT: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
XS = [10, 25, 50, 100, 200]
REPORTS: dict[str, tuple[list[Table], Table]] = {
    "direct readings far apart": ([row("A", -1e300, 0.0)], DIRECT),
    "response factors far apart": (
        [],
        {"standard": standards([1, 2], [1e300, 1]), "calibration": {"model": "mean-factor"}},
    ),
    "transmittance of almost nothing": ([row("A", 5e-324)], {"instrument": {"reads": "transmittance"}}),
    "solids of almost nothing": ([row("A", 0.2, solids_percent=5e-324)], {"method": {"unit": "mg/kg"}}),
    "confidence of almost nothing": ([row("A", 0.2)], {"calibration": {"confidence": 1e-17}}),
    "uncertainty without end": ([row("A", 0.2)], {"method": {"uncertainty": {"volumes_percent": 1e300}}}),
    "unused level whose square overflows": (
        [],
        {
            "standard": [
                *standards(ys=[0.024, 0.065, 0.124, 0.251, 0.499]),
                *standards([1e300], [1], name="X", use=False),
            ],
            "calibration": {"model": "quadratic"},
        },
    ),
    "weight that underflows in both fractions": (
        [row("OG", 1e200, sample="W"), row("HC", 2e200, sample="W", silica_gel=True)],
        {"standard": standards(XS, [0.024, 0.065, 0.124, 0.251, 0.499]), "calibration": {"weighting": "1/x2"}},
    ),
    "levels close to nothing": ([row("A", 0.2)], {"standard": standards([x * 1e-300 for x in XS])}),
    "amounts far apart": ([row("A", 0.2, amount=1e-300, extract_ml=1e300)], {}),
    "dilution without end": ([row("A", 0.6, dilution=1.7e308)], {}),
    "reading without end": ([row("A", 1.7e308)], {}),
    "reading without end of %T": ([row("A", 1.7e308)], {"instrument": {"reads": "transmittance"}}),
    "readings whose sum overflows": ([row("A", 1.7e308, 1.7e308)], {}),
    "levels without end": ([row("A", 0.2)], {"standard": standards([x * 1e300 for x in XS])}),
    "weights of levels close to nothing": (
        [row("A", 0.2)],
        {"standard": standards([x * 1e-300 for x in XS]), "calibration": {"weighting": "1/x2"}},
    ),
    "control of almost nothing": ([row("L", 0.2, kind="control", added_mg=5e-324)], {}),
    "check of almost nothing": ([row("K", 0.2, kind="check", expected=5e-324)], {}),
    "limits far apart": (
        [row("A", 0.2)],
        {
            "method": {
                "limits": {
                    "detection": 1.7e308,
                    "reporting": 5e-324,
                    "nominal_amount": 1e300,
                    "nominal_extract_ml": 1e-300,
                }
            }
        },
    ),
    "extract close to nothing": ([extract("A", 5e-324)], {"method": {"unit": "mg/L extract"}}),
}
RAISES = list(REPORTS)[:9]


@pytest.mark.parametrize(
    "name",
    [
        pytest.param(name, marks=[pytest.mark.xfail(strict=True, reason="raises")] if name in RAISES else [])
        for name in REPORTS
    ],
)
def test_is_reported_or_absent(name: str) -> None:
    """The output is JSON without NaN or infinity, or `results` would raise; each row is there."""
    queue, tables = REPORTS[name]
    assert list(rows(results(queue, **tables))) == [made["id"] for made in queue]
