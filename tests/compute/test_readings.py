"""From readings to extracts: which calibration, what is subtracted, roots, uncertainty."""

from __future__ import annotations

import math
from typing import Any

import pytest
import scipy

from runsheet import read
from tests.make import LEVELS, SLOPE, Table, at, document, extract, near, results, row, rows, standards

case = pytest.param

# --- which calibration ----------------------------------------------------------------------------------------

THREE = [{"id": "C1", "cell_mm": 10}, {"id": "C2", "cell_mm": 50}, {"id": "C3", "cell_mm": 10}]
"""Read in full at 08:25, 08:45 and 09:25."""
STANDARDS = [
    *standards(calibration="C1", name="S", first=20),
    *standards(calibration="C2", name="T", first=40),
    *standards(calibration="C3", name="U", first=80),
]


def used(made: Table, standard: list[Table] | None = None, calibration: list[Table] | None = None) -> Table:
    return rows(results([made], calibration=calibration or THREE, standard=standard or STANDARDS))["A"]


@pytest.mark.parametrize(
    ("minutes", "fields", "calibration"),
    [
        case(25, {}, "C1", id="at the minute of its last standard"),
        case(30, {}, "C1", id="the only one read by then"),
        case(50, {}, "C2", id="the last one read by then"),
        case(50, {"cell_mm": 10}, "C1", id="of its cell"),
        case(50, {"cell_mm": 10.0}, "C1", id="of its cell, typed another way"),
        case(90, {}, "C3", id="the last one"),
        case(90, {"cell_mm": 50}, "C2", id="of its cell later"),
        case(None, {}, "C3", id="without a time after everything"),
        case(90, {"calibration": "C1"}, "C1", id="the one it names"),
        case(30, {"calibration": "C3"}, "C3", id="the one it names, read later"),
    ],
)
def test_row_uses(minutes: int | None, fields: Table, calibration: str) -> None:
    assert used(row("A", 0.25, at=None if minutes is None else at(minutes), **fields))["calibration"] == calibration


@pytest.mark.parametrize(("minutes", "fields"), [(24, {}), (90, {"cell_mm": 100})])
def test_none_found_gives_nulls_and_held(minutes: int, fields: Table) -> None:
    made = used(row("A", 0.25, at=at(minutes), **fields))
    assert [made[name] for name in ("calibration", "drift", "net", "extract", "u_extract", "result", "U")] == [None] * 7
    assert (made["state"], made["reported"]) == ("held", None)


@pytest.mark.parametrize(
    ("change", "calibration"),
    [
        case({"readings": []}, "C2", id="an unread standard"),
        case({"readings": [], "use": False, "reason": "x"}, "C3", id="an unused one unread"),
        case({"at": at(200)}, "C2", id="read later"),
        case({"at": at(200), "use": False, "reason": "x"}, "C3", id="an unused one later"),
    ],
)
def test_calibration_is_used_once_its_used_standards_are_read(change: Table, calibration: str) -> None:
    made = [*STANDARDS[:-1], STANDARDS[-1] | change]
    assert used(row("A", 0.25, at=at(90)), made)["calibration"] == calibration


def test_standards_without_a_time_are_before_everything() -> None:
    bare = [{key: value for key, value in made.items() if key != "at"} for made in STANDARDS]
    assert used(row("A", 0.25, at=at(-60)), bare)["calibration"] == "C3"


def test_calibration_without_a_read_standard_is_not_considered() -> None:
    assert used(row("A", 0.25, at=at(90)), STANDARDS[:5], THREE[:2])["calibration"] == "C1"


def test_direct_calibration_needs_no_standard() -> None:
    result = results(
        [row("A", 12)], standard=[], calibration={"model": "direct"}, instrument={"reads": "concentration"}
    )
    assert (rows(result)["A"]["calibration"], rows(result)["A"]["extract"]) == ("C1", 12)


def test_naming_a_calibration_of_another_cell_is_an_error() -> None:
    made = document(
        [row("A", 0.25, calibration="C1", cell_mm=50)], calibration=[each | {"model": "line"} for each in THREE]
    )
    _, problems = read(made)
    assert [(each.level, each.path) for each in problems if "queue" in each.path] == [("error", "queue[1].cell_mm")]


# --- what is subtracted ---------------------------------------------------------------------------------------

ZERO = 0.001
QUEUE = [
    row("before", 0.2, at=at(50)),
    row("B1", 0.004, kind="blank", at=at(60)),
    row("unread", kind="blank", at=at(65)),
    row("void", 0.3, kind="blank", at=at(66), void="dirty"),
    row("between", 0.2, at=at(70)),
    row("timeless", 0.2),
    row("B2", 0.010, kind="blank", at=at(90), rezeroed=True, as_left=0.002),
    row("after", 0.2, at=at(100)),
    row("B3", 0.003, kind="blank", at=at(110), rezeroed=True),
    row("end", 0.2, at=at(120)),
]
LAST = {
    "before": ZERO,
    "B1": ZERO,
    "between": 0.004,
    "timeless": 0.004,
    "B2": 0.004,
    "after": 0.002,
    "B3": 0.002,
    "end": 0,
}
"""The baseline at each row by the last blank as it was left; before any it is the calibration's zero."""
BASELINES: dict[str, dict[str, float]] = {
    "none": dict.fromkeys(LAST, ZERO),
    "last": LAST,
    "interpolate": LAST | {"between": 0.004 + 0.006 / 3, "after": 0.002 + 0.001 / 2},
}


@pytest.mark.parametrize("treatment", ["subtract", "ignore", "point"])
@pytest.mark.parametrize("drift", BASELINES)
def test_drift(drift: str, treatment: str) -> None:
    """Under `subtract` what is subtracted is the baseline, otherwise its way from the zero."""
    zero = {"id": "Z", "concentration": 0, "readings": [ZERO]}
    result = results(QUEUE, standard=[zero, *standards()], calibration={"drift": drift, "zero_standard": treatment})
    found = {name: made for name, made in rows(result).items() if made["net"] is not None}
    subtracted = 0 if treatment == "subtract" else ZERO
    assert {name: made["drift"] for name, made in found.items()} == {
        name: near(baseline - subtracted) for name, baseline in BASELINES[drift].items()
    }
    for name, made in found.items():
        assert made["net"] == near(next(each["readings"][0] for each in QUEUE if each["id"] == name) - made["drift"])


@pytest.mark.parametrize(
    ("fields", "subtracted"), [({}, 0.0), ({"as_left": 0.002}, 0.002), ({"rezeroed": False, "as_left": 9}, 0.05)]
)
def test_as_left_is_what_a_re_zeroed_blank_read_then_else_0(fields: Table, subtracted: float) -> None:
    queue = [row("B", 0.05, kind="blank", **{"rezeroed": True} | fields), row("A", 0.25)]
    assert rows(results(queue))["A"]["drift"] == subtracted


@pytest.mark.parametrize(("left", "absorbance"), [(None, 0), (10, 1), (100, 0)])
def test_left_is_in_what_the_instrument_reads(left: float | None, absorbance: float) -> None:
    blank = row("B", 50, kind="blank", rezeroed=True, as_left=left)
    result = results(
        [blank, row("A", 10)],
        instrument={"reads": "transmittance"},
        standard=standards(ys=[100 * 10 ** (-SLOPE * x) for x in LEVELS]),
    )
    assert rows(result)["A"]["drift"] == near(absorbance)


def test_blanks_of_another_calibration_say_nothing() -> None:
    calibrations = [{"id": "C1", "drift": "interpolate"}, {"id": "C2", "drift": "interpolate"}]
    made = [*standards(calibration="C1"), *standards(calibration="C2", name="T")]
    queue = [
        row("B1", 0.004, kind="blank", calibration="C1", at=at(60)),
        row("B2", 0.1, kind="blank", calibration="C2", at=at(70)),
        row("A", 0.2, calibration="C1", at=at(80)),
        row("B3", 0.1, kind="blank", calibration="C2", at=at(90)),
        row("B4", 0.008, kind="blank", calibration="C1", at=at(100)),
    ]
    assert rows(results(queue, standard=made, calibration=calibrations))["A"]["drift"] == near(0.006)


@pytest.mark.parametrize(
    ("minutes", "baseline"),
    [
        ([60, 60, 60], 0.004),
        ([60, 50, 70], 0.004),
        ([60, 80, 70], 0.004),
        ([60, 70, None], 0.004),
        ([None, 70, 80], 0.004),
        ([60, 60, 80], 0.004),
        ([60, 80, 80], 0.01),
        ([60, 65, 80], 0.0055),
    ],
)
def test_interpolation_needs_the_row_between_two_times(minutes: list[int | None], baseline: float) -> None:
    times = [None if each is None else at(each) for each in minutes]
    queue = [
        row("B1", 0.004, kind="blank", at=times[0]),
        row("A", 0.2, at=times[1]),
        row("B2", 0.010, kind="blank", at=times[2]),
    ]
    assert rows(results(queue, calibration={"drift": "interpolate"}))["A"]["drift"] == near(baseline)


def test_blank_has_no_extract_and_no_result() -> None:
    made = rows(results([row("B", 0.25, kind="blank")]))["B"]
    assert [made[name] for name in ("extract", "u_extract", "result", "U", "factor", "reported")] == [None] * 6


def test_below_zero_stays_below_zero() -> None:
    made = rows(results([row("A", -0.005)]))["A"]
    assert [made["extract"], made["result"]] == pytest.approx([-2, -0.2])


# --- roots of a quadratic -------------------------------------------------------------------------------------

XS = [10, 40, 80, 120, 160, 200]
BENT: Table = {
    "standard": standards(XS, [0.004 * x - 5e-6 * x * x for x in XS]),
    "calibration": {"model": "quadratic", "note": "x"},
}


def test_root_nearest_the_middle_of_the_range() -> None:
    for x in (15, 105, 190):
        assert rows(results([extract("A", 0.004 * x - 5e-6 * x * x)], **BENT))["A"]["extract"] == pytest.approx(
            x, rel=1e-9
        )


def test_no_real_root_is_null_and_above_the_range() -> None:
    """The curve turns at 400 mg/L, 0.8 A."""
    made = rows(results([row("A", 0.81)], **BENT))["A"]
    assert [made[name] for name in ("extract", "result", "reported")] == [None] * 3
    assert (made["flags"], made["advice"]) == (["E", "Q"], "")


# --- uncertainty ----------------------------------------------------------------------------------------------

NOISY = standards(ys=[0.024, 0.065, 0.124, 0.251, 0.499])
PARTS = {"volumes_percent": 1, "standards_percent": 2, "precision_percent": 3, "bias_percent": 4}


def one(*readings: float, uncertainty: Table, **tables: Any) -> Table:
    fields = tables.pop("fields", {})
    made = {"standard": NOISY, "method": {"uncertainty": uncertainty}} | tables
    return rows(results([row("A", *readings, **fields)], **made))["A"]


@pytest.mark.parametrize("names", [[], ["volumes_percent"], ["precision_percent", "bias_percent"], list(PARTS)])
def test_expanded_uncertainty(names: list[str]) -> None:
    parts = {name: PARTS[name] for name in names}
    made = one(0.25, uncertainty=parts | {"coverage": 3}, fields={"dilution": 2})
    relative = sum((PARTS[name] / 100) ** 2 for name in names)
    expected = 3 * made["factor"] * math.sqrt(made["u_extract"] ** 2 + made["extract"] ** 2 * relative)
    assert made["U"] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("confidence", [None, 0.9, 0.99])
def test_coverage_is_two_sided_t_at_the_calibration_s_confidence(confidence: float | None) -> None:
    made = one(0.25, uncertainty={}, calibration={"confidence": confidence} if confidence else {})
    k = scipy.stats.t.ppf((1 + (confidence or 0.95)) / 2, 3)
    assert made["U"] == pytest.approx(k * made["factor"] * made["u_extract"], rel=1e-10)


def test_step_is_the_floor_of_the_reading_s_part_only() -> None:
    """max(s^2/m, q^2/12): a fine step changes nothing, a coarse one takes the place of s."""
    fine, finer = (one(0.25, uncertainty={}, instrument={"step": step})["u_extract"] for step in (1e-6, 1e-9))
    coarse, coarser = (one(0.25, uncertainty={}, instrument={"step": step})["u_extract"] for step in (0.1, 0.2))
    assert fine == finer
    slope = scipy.stats.linregress(LEVELS, [made["readings"][0] for made in NOISY]).slope
    assert coarser**2 - coarse**2 == pytest.approx((0.2**2 - 0.1**2) / 12 / slope**2, rel=1e-9)


@pytest.mark.parametrize(
    ("readings", "variance"),
    [([50.0], 0.1**2 / 12), ([50, 50], 0.1**2 / 12), ([50, 52], 2 / 2), ([49, 50, 52], 7 / 3 / 3)],
)
def test_direct_has_the_scatter_of_its_readings_or_the_step(readings: list[float], variance: float) -> None:
    tables = {"instrument": {"reads": "concentration", "step": 0.1}, "calibration": {"model": "direct"}, "standard": []}
    made = one(*readings, uncertainty={}, **tables)
    assert made["u_extract"] == pytest.approx(math.sqrt(variance), rel=1e-12)
    assert made["U"] == pytest.approx(2 * made["factor"] * made["u_extract"], rel=1e-12)
