"""Calibrations: points, states, limits. Fits against references are in test_fit and in tests/published."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.make import LEVELS, SLOPE, Table, extract, near, results, row, rows, standards

case = pytest.param
RAW = (0.031, 0.062, 0.125, 0.252, 0.5)


def calibrated(
    standard: list[Table], limits: Table | None = None, queue: list[Table] | None = None, **fields: Any
) -> Table:
    """The one calibration of a run, with its rows."""
    result = results(queue or [], standard=standard, calibration=fields, method={"calibration": limits or {}})
    (found,) = result["calibrations"]
    made: Table = found | {"rows": rows(result)}
    return made


def without_none(**fields: Any) -> Table:
    return {name: value for name, value in fields.items() if value is not None}


def zeros(*readings: list[float], **fields: Any) -> list[Table]:
    return [{"id": f"Z{n}", "concentration": 0, "readings": values} | fields for n, values in enumerate(readings)]


# --- points ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("treatment", "subtracted"), [("subtract", 0.002), ("point", 0), ("ignore", 0), (None, 0.002)])
def test_zero_is_the_mean_over_the_readings_of_the_used_zero_standards(
    treatment: str | None, subtracted: float
) -> None:
    unused = zeros([0.9], use=False, reason="spilt")[0] | {"id": "unused"}
    made = [*zeros([0.001, 0.003], [0.001, 0.003]), *zeros([0.0, 0.004, 0.002]), unused, *standards(ys=RAW)]
    made[2]["id"] = "Z9"
    found = calibrated(made, model="mean-factor", **without_none(zero_standard=treatment))
    assert found["zero"] == pytest.approx(0.002, rel=1e-12)
    ys = {s["id"]: s["y"] for s in found["standards"]}
    assert [ys[f"S{n}"] for n in range(1, 6)] == pytest.approx([y - subtracted for y in RAW], rel=1e-12)
    assert (found["n"], found["levels"], found["range"]) == (5, 5, [10, 200])


def test_zero_without_a_zero_standard_is_0() -> None:
    assert calibrated(standards(ys=RAW))["zero"] == 0


def test_fillings_are_averaged_and_preparations_are_points() -> None:
    made = standards(ys=RAW)
    made[0]["readings"] = [0.030, 0.031, 0.035]
    made.append({"id": "X", "concentration": 10, "readings": [0.029]})
    found = calibrated(made)
    assert (found["n"], found["levels"]) == (6, 5)
    assert found["standards"][0]["y"] == pytest.approx(0.032)


def test_transmittances_are_averaged_as_absorbances() -> None:
    made = standards(ys=[100 * 10 ** (-SLOPE * x) for x in LEVELS])
    made[0]["readings"] = [100, 10 ** (2 - 2 * SLOPE * 10)]
    (found,) = results(standard=made, instrument={"reads": "transmittance"})["calibrations"]
    assert found["standards"][0]["y"] == pytest.approx(SLOPE * 10, rel=1e-12)


def test_unused_standard_is_shown_and_counts_nowhere() -> None:
    made = standards(ys=RAW)
    made[4] |= {"use": False, "reason": "bubble"}
    found = calibrated(made)
    shown = found["standards"][4]
    assert (shown["used"], found["n"], found["range"]) == (False, 4, [10, 100])
    a, b = found["coefficients"]
    assert shown["back"] == pytest.approx((0.5 - a) / b, rel=1e-12)
    assert shown["error_percent"] == pytest.approx(shown["back"] / 200 * 100 - 100, rel=1e-9)


def test_mean_factor_treats_point_as_ignore() -> None:
    made = [*zeros([0.004]), *standards(ys=RAW)]
    point, ignore = (calibrated(made, model="mean-factor", zero_standard=word) for word in ("point", "ignore"))
    assert point["coefficients"] == ignore["coefficients"]
    assert point["n"] == 5
    assert not any("zero" in why for why in point["why"])


# --- states ---------------------------------------------------------------------------------------------------


def drop(n: int, **fields: Any) -> list[Table]:
    made = standards(ys=RAW)
    made[n] |= fields
    return made


@pytest.mark.parametrize(
    ("standard", "model", "state"),
    [
        case(standards(ys=RAW), "line", "pass", id="line"),
        case(drop(1, readings=[]), "line", "todo", id="a used standard unread"),
        case(drop(1, readings=[], use=False, reason="x"), "line", "pass", id="an unused one unread"),
        case(standards([10], [0.02]), "line", "todo", id="one level for a line"),
        case(standards([10, 10.000000001], [0.02, 0.03]), "line", "todo", id="levels equal to 1e-9"),
        case(
            standards([10, 10, 20, 20], [0.02, 0.03, 0.04, 0.06]), "quadratic", "todo", id="two levels for a quadratic"
        ),
        case(standards([10], [0.02]), "mean-factor", "fail", id="n = p"),
        case(standards([10, 20], [0.02, 0.05]), "line", "fail", id="n = p for a line"),
        case([], "line", "todo", id="nothing"),
        case(standards(ys=[-y for y in RAW]), "line", "fail", id="falling"),
        case(standards([10, 20, 30, 40], [0.1, 0.2, 0.2, 0.1]), "quadratic", "fail", id="turning within the range"),
    ],
)
def test_state(standard: list[Table], model: str, state: str) -> None:
    found = calibrated(standard, model=model, queue=[extract("A", 0.15)])
    assert found["state"] == state
    assert bool(found["why"]) == (state != "pass")
    assert found["rows"]["A"]["state"] == ("accepted" if state == "pass" else "held")


@pytest.mark.parametrize(("xs", "ys", "model"), [([10, 20], [0.02, 0.05], "line"), ([10], [0.02], "line-through-zero")])
def test_as_many_points_as_coefficients(xs: list[float], ys: list[float], model: str) -> None:
    found = calibrated(standards(xs, ys), model=model, queue=[extract("A", 0.02)])
    made = found["rows"]["A"]
    assert [found["s"], found["rse_percent"], made["U"], made["u_extract"]] == [None] * 4
    assert made["extract"] == pytest.approx(10)


@pytest.mark.parametrize(("ys", "model"), [([-y for y in RAW], "line"), ([0.1, 0.2, 0.25, 0.24, 0.05], "quadratic")])
def test_curve_that_does_not_rise_leaves_extracts_null(ys: list[float], model: str) -> None:
    made = calibrated(standards(ys=ys), model=model, queue=[extract("A", 0.15)])["rows"]["A"]
    assert [made[name] for name in ("extract", "u_extract", "result", "U", "reported")] == [None] * 5
    assert made["net"] == 0.15


def test_equal_readings_of_all_levels_have_no_slope() -> None:
    found = calibrated(standards(ys=[0.2] * 5), queue=[extract("A", 0.15)])
    assert (found["state"], found["rows"]["A"]["extract"]) == ("fail", None)


def test_r_has_the_sign_of_the_slope() -> None:
    up, down = (calibrated(standards(ys=[sign * y for y in RAW])) for sign in (1, -1))
    assert up["r"] > 0.99
    assert down["r"] == pytest.approx(-up["r"])
    assert down["r2"] == pytest.approx(up["r"] ** 2)


LINE = [0.030, 0.0625, 0.125, 0.25, 0.5]
"""The lowest of five is off by some 18 %, the next by 3 %."""


@pytest.mark.parametrize("name", ["levels", "r", "rse_percent", "level_error_percent", "lowest_error_percent"])
def test_each_limit_passes_at_its_figure_and_fails_beyond(name: str) -> None:
    free = calibrated(standards(ys=LINE))
    errors = [abs(standard["error_percent"]) for standard in free["standards"]]
    figure = {
        "levels": 5,
        "r": free["r"],
        "rse_percent": free["rse_percent"],
        "level_error_percent": max(errors),
        "lowest_error_percent": errors[0],
    }[name]
    stricter = figure * (1 + 1e-6) if name in ("levels", "r") else figure * (1 - 1e-6)
    if name == "r":
        stricter = math.nextafter(free["r"], 2) + 1e-8
    assert free["state"] == "pass"
    assert calibrated(standards(ys=LINE), {name: figure})["state"] == "pass"
    failed = calibrated(standards(ys=LINE), {name: stricter})
    assert failed["state"] == "fail"
    assert len(failed["why"]) == 1


def test_lowest_level_has_a_limit_of_its_own() -> None:
    limits = {"level_error_percent": 10, "lowest_error_percent": 50}
    assert calibrated(standards(ys=LINE), limits)["state"] == "pass"
    assert calibrated(standards(ys=LINE), {"level_error_percent": 10})["state"] == "fail"


def test_rse_limit_is_the_limit_on_the_rsd_of_the_factors() -> None:
    free = calibrated(standards(ys=LINE), model="mean-factor")
    assert free["rsd_percent"] == pytest.approx(free["rse_percent"])
    assert (
        calibrated(standards(ys=LINE), {"rse_percent": free["rsd_percent"] * 0.999}, model="mean-factor")["state"]
        == "fail"
    )


@pytest.mark.parametrize(
    ("levels", "note", "warned"), [(6, "stray light", False), (6, None, True), (5, "stray light", True)]
)
def test_quadratic_needs_six_levels_and_a_reason(levels: int, note: str | None, warned: bool) -> None:  # noqa: FBT001
    xs = [10 * (n + 1) for n in range(levels)]
    ys = [0.002 * x + 1e-6 * x * x for x in xs]
    found = calibrated(standards(xs, ys), model="quadratic", **without_none(note=note))
    assert bool(found["why"]) == warned
    assert found["state"] == "pass"


def test_point_at_zero_warns_and_does_not_fail() -> None:
    found = calibrated([*zeros([0.001]), *standards(ys=RAW)], zero_standard="point")
    assert (found["state"], len(found["why"])) == ("pass", 1)


# --- direct reading -------------------------------------------------------------------------------------------

DIRECT: Table = {"instrument": {"reads": "concentration", "step": 0.1}}


@pytest.mark.parametrize(
    ("readings", "limits", "state"),
    [
        ([10, 50, 104], {"level_error_percent": 5}, "pass"),
        ([10, 50, 106], {"level_error_percent": 5}, "fail"),
        ([11, 50, 100], {"level_error_percent": 5, "lowest_error_percent": 10}, "pass"),
        ([10, 50, 100], {"levels": 9, "r": 1, "rse_percent": 0}, "pass"),
    ],
)
def test_direct_is_judged_by_its_level_errors_only(readings: list[float], limits: Table, state: str) -> None:
    made = standards([10, 50, 100], readings)
    (found,) = results(standard=made, calibration={"model": "direct"}, method={"calibration": limits}, **DIRECT)[
        "calibrations"
    ]
    assert (found["state"], found["range"], found["coefficients"]) == (state, [10, 100], None)
    assert [s["back"] for s in found["standards"]] == readings
    assert [s["error_percent"] for s in found["standards"]] == pytest.approx(
        [100 * (y - x) / x for x, y in zip([10, 50, 100], readings, strict=True)]
    )


def test_direct_without_standards_has_no_range() -> None:
    result = results([row("A", 900.0)], standard=[], calibration={"model": "direct"}, **DIRECT)
    (found,) = result["calibrations"]
    assert (found["range"], found["state"], rows(result)["A"]["flags"]) == (None, "pass", [])
    assert rows(result)["A"]["extract"] == near(900)


def test_small_signals_rise_too() -> None:
    """What is no rise is judged beside the largest signal, not by its own size."""
    result = results([], standard=standards(ys=[1e-9 * x for x in (10, 25, 50, 100, 200)]))
    assert result["calibrations"][0]["state"] == "pass"
    flat = results([], standard=standards(ys=[0.3] * 5))
    assert "the calibration does not rise" in " ".join(flat["calibrations"][0]["why"]) or flat["state"] == "fail"


def test_detection_at_the_least_confidence_is_no_more_than_the_blank() -> None:
    noisy = standards(ys=[0.026, 0.062, 0.1251, 0.2497, 0.4998])
    for confidence, there in ((0.5, True), (0.49, False)):
        (made,) = results([], standard=noisy, calibration={"confidence": confidence})["calibrations"]
        assert (made["detection"] is not None) is there
