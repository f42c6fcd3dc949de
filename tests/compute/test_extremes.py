"""Numbers at the ends of a float's range: what a readable run holds is computed, or is absent, and never raises."""

from __future__ import annotations

import pytest

from tests.make import Table, extract, results, row, rows, standards

DIRECT: Table = {"instrument": {"reads": "concentration"}, "calibration": {"model": "direct"}, "standard": []}
XS = [10, 25, 50, 100, 200]
NEAR: Table = {"method": {"limits": {"reporting": 1.7e308, "nominal_amount": 1000, "nominal_extract_ml": 100}}}
COMPUTED: dict[str, tuple[list[Table], Table]] = {
    "reporting limit far below the lowest level": (
        [row("A", 0.2)],
        {"method": {"limits": {"reporting": 1, "nominal_amount": 1e-200, "nominal_extract_ml": 1e108}}},
    ),
    "replicates far apart": ([row("A", 1.7e308, -1.7e308)], {"method": {"batch": {"replicate_percent": 10}}}),
    "spike far from its sample": (
        [row("A", -4e305, amount=100), row("M", 4e305, amount=100, kind="spike", of="A", added_mg=1)],
        NEAR,
    ),
    "blank far from its zero": (
        [row("B", -1.7e308, kind="blank"), row("C", 1.7e308, kind="blank")],
        {"method": {"blank": {"absorbance": 1}}},
    ),
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
RAISES: dict[str, tuple[list[Table], Table]] = {
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
    "level whose square overflows": ([], {"standard": standards([10, 20, 1e200], [0.1, 0.2, 0.3])}),
    "standard whose sum overflows": (
        [],
        {"standard": [*standards(), {"id": "X", "concentration": 1, "readings": [1.7e308] * 2}]},
    ),
    "stock without end": (
        [],
        {"standard": [{"id": "X", "stock": 1e300, "aliquot_ml": 1e300, "final_ml": 1, "readings": [1]}]},
    ),
    "setup readings far apart": ([], {"setup": [{"check": "stability", "readings": [1.7e308, -1.7e308]}]}),
    "duplicate far apart": (
        [row("A", 4e305, amount=100), row("D", -4e305, amount=100, kind="duplicate", of="A")],
        NEAR,
    ),
    "fractions far apart": (
        [row("OG", -4e305, sample="W", amount=100), row("HC", 4e305, sample="W", silica_gel=True, amount=100)],
        {"instrument": {"step": 1e-9}},
    ),
    "gel for everything": (
        [
            row("OG", 1e300, sample="W", extract_ml=1e10, amount=1),
            row("HC", 1, sample="W", silica_gel=True, silica_gel_g=3),
        ],
        {},
    ),
}


def check(queue: list[Table], tables: Table) -> None:
    """The output is JSON without NaN or infinity, or `results` would raise; each row is there."""
    assert list(rows(results(queue, **tables))) == [made["id"] for made in queue]


@pytest.mark.parametrize("name", COMPUTED)
def test_is_computed_or_absent(name: str) -> None:
    check(*COMPUTED[name])


@pytest.mark.parametrize("name", RAISES)
def test_is_not_yet_computed_or_absent(name: str) -> None:
    check(*RAISES[name])
