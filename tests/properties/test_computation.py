"""What must hold of the computation whatever the figures: inverses, order, scale, findings that stay."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet import evaluate
from runsheet.compute.curve import fit
from runsheet.report.as_json import as_data
from tests.make import NOW, SLOPE, Table, at, examples, findings, row, rows, run, standards

if TYPE_CHECKING:
    from collections.abc import Sequence

quick = examples(100)
FIGURES = ("drift", "net", "extract", "u_extract", "factor", "result", "U", "detection", "reporting")
NOISY = standards(ys=[0.024, 0.065, 0.124, 0.251, 0.499])
LIMITS = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}


def sheet(queue: Sequence[Table], now: str = NOW, **tables: Any) -> Table:
    return as_data(evaluate(run(queue, **tables), datetime.fromisoformat(now)))


# --- the inverse of a fit -------------------------------------------------------------------------------------

levels = st.lists(st.floats(1, 1000), min_size=6, max_size=10, unique_by=lambda x: round(x, 1))
noise = st.lists(st.floats(-1e-3, 1e-3), min_size=10, max_size=10)


@given(
    st.sampled_from(["line", "line-through-zero", "mean-factor", "quadratic"]),
    st.sampled_from(["none", "1/x", "1/x2"]),
    levels,
    noise,
    st.floats(-0.3, 0.3),
    st.floats(0, 1),
)
@quick
def test_inverse_of_fit_is_x(
    model: str, weighting: str, xs: list[float], off: list[float], bend: float, part: float
) -> None:
    top = max(xs)
    points = tuple((x, x / top * (1 + bend * x / top) * (1 + e)) for x, e in zip(xs, off, strict=False))
    curve = fit(model, weighting, points)
    assert curve is not None
    if not curve.rises:
        return
    x = curve.low + part * (curve.high - curve.low)
    steepness = curve.slope(x) * top
    assert curve.concentration(curve.signal(x)) == pytest.approx(x, rel=1e-9 / min(1, steepness), abs=1e-12)


# --- order ----------------------------------------------------------------------------------------------------

KINDS = ["sample", "method-blank", "control", "detection-spike"]
block = st.lists(st.tuples(st.sampled_from(KINDS), st.integers(-5, 600)), min_size=2, max_size=6)


@st.composite
def permuted(draw: st.DrawFn) -> tuple[list[Table], list[Table]]:
    """Make a day of blocks of rows between blanks, and the same day with each block in another order."""
    day, other = [], []
    for n, rows_ in enumerate(draw(st.lists(block, min_size=1, max_size=3))):
        made = [
            row(f"R{n}.{i}", reading / 1000, kind=kind, **({"added_mg": 10} if kind in KINDS[2:] else {}))
            for i, (kind, reading) in enumerate(rows_)
        ]
        ends = [
            row(f"B{n}", draw(st.integers(-8, 8)) / 1000, kind="blank"),
            row(f"K{n}", draw(st.integers(200, 300)) / 1000, kind="check", expected=100),
        ]
        day += [*made, *ends]
        other += [*draw(st.permutations(made)), *ends]
    return day, other


@given(permuted())
@quick
def test_order_of_rows_between_two_events_changes_no_figure(days: tuple[list[Table], list[Table]]) -> None:
    """Carry-over, repeats and the naming of rows read too late are about order; everything else is not."""
    method = {
        "limits": LIMITS,
        "blank": {"absorbance": 0.005, "every_readings": 4},
        "check": {"recovery_percent": [90, 110], "every_readings": 4, "closing": True},
        "batch": {"samples": 2, "control_percent": [70, 130]},
    }
    one, other = (sheet(day, method=method, standard=NOISY) for day in days)
    assert figures(one) == figures(other)
    assert [one[name] for name in ("calibrations", "fractions", "due")] == [
        other[name] for name in ("calibrations", "fractions", "due")
    ]
    assert said(one) == said(other)


def figures(result: Table) -> Table:
    """The rows without the flag that what is about order may give."""
    return {name: row | {"flags": [f for f in row["flags"] if f != "Q"]} for name, row in rows(result).items()}


def said(result: Table) -> list[Any]:
    about_order = ("carry-over", "opening", "blank-interval", "check-interval", "repeated-until-pass")
    kept = [
        (f["rule"], f["state"], sorted(f["rows"]), f["value"])
        for f in result["quality"]
        if f["rule"] not in about_order
    ]
    gaps = [(f["rule"], f["state"], f["value"]) for f in result["quality"] if f["rule"].endswith("-interval")]
    return [sorted(map(repr, kept)), gaps]


# --- scale ----------------------------------------------------------------------------------------------------

readings = st.lists(st.integers(-10, 900).map(lambda n: n / 1000), min_size=1, max_size=3)
scales = st.sampled_from([0.001, 0.125, 0.3, 1.0, 7.0, 1000.0])


@given(readings, scales, st.sampled_from(["extract_ml", "amount", "dilution", "solids_percent"]))
@quick
def test_scaling_volumes_scales_results(reads: list[float], scale: float, what: str) -> None:
    """Result, U and both limits go with the factor; what is in the extract does not move."""
    plain: Table = {"matrix": "solid", "amount": 20, "extract_ml": 100, "dilution": 1000, "solids_percent": 0.1}
    if what == "solids_percent":
        scale = min(scale, 1000)
    tables: Table = {
        "method": {"unit": "mg/kg", "limits": LIMITS, "uncertainty": {"volumes_percent": 1, "precision_percent": 3}},
        "standard": NOISY,
    }
    one = rows(sheet([row("A", *reads, **plain)], **tables))["A"]
    other = rows(sheet([row("A", *reads, **plain | {what: plain[what] * scale})], **tables))["A"]
    by = scale if what in ("extract_ml", "dilution") else 1 / scale
    for name in FIGURES:
        factor = by if name in ("factor", "result", "U", "detection", "reporting") else 1
        assert other[name] == pytest.approx(one[name] * factor, rel=1e-12), name
    assert [flag for flag in other["flags"] if flag != "D"] == [flag for flag in one["flags"] if flag != "D"]


@given(st.lists(st.integers(5, 2000), min_size=5, max_size=8, unique=True), scales, st.integers(1, 500))
@quick
def test_scaling_the_standards_scales_the_extract(xs: list[int], scale: float, reading: int) -> None:
    one, other = (
        rows(
            sheet(
                [row("A", reading / 1000)],
                standard=standards([x * k for x in xs], [SLOPE * x + (-1) ** x * 1e-3 for x in xs]),
            )
        )["A"]
        for k in (1, scale)
    )
    for name in ("extract", "u_extract", "result", "U"):
        if one[name] is not None:
            assert other[name] == pytest.approx(one[name] * scale, rel=1e-9, abs=1e-9 * scale), name


# --- findings that stay ---------------------------------------------------------------------------------------

steps = st.lists(
    st.tuples(st.sampled_from(["sample", "sample", "sample", "blank", "check"]), st.integers(1, 3), st.integers(0, 50)),
    max_size=12,
)


@given(steps, st.sampled_from(["planned", "as it comes"]), st.integers(0, 3))
@quick
def test_reading_added_never_removes_a_finding_of_an_overrun_blank(
    day: list[tuple[str, int, int]],
    to_come: str,
    again: int,
) -> None:
    """The day is read row by row, with or without the rows to come planned, then rows are read once more."""
    queue, minutes = [], 60
    for n, (kind, many, wait) in enumerate(day):
        minutes += wait
        expected = {"expected": 100} if kind == "check" else {}
        queue.append(row(f"R{n}", *[0.1] * (1 if kind == "blank" else many), kind=kind, at=at(minutes), **expected))
    days = [
        queue[:n] + ([unread(made) for made in queue[n:]] if to_come == "planned" else [])
        for n in range(len(queue) + 1)
    ]
    for n in range(again if queue else 0):
        last = [dict(made) for made in days[-1]]
        place = (n * 7) % len(last)
        last[place]["readings"] = [*last[place]["readings"], 0.1]
        days.append(last)
    method = {"blank": {"every_readings": 4, "every_minutes": 60}, "check": {"every_readings": 4}}
    before: list[set[str]] = []
    for each in days:
        found = overruns(sheet(each, now=at(minutes + 30).isoformat(), method=method))
        for earlier in before:
            assert any(earlier <= later for later in found), (earlier, found)
        before = found


def unread(made: Table) -> Table:
    return {key: value for key, value in made.items() if key != "at"} | {"readings": []}


def overruns(result: Table) -> list[set[str]]:
    """The rows of each overrun: a failure, or a warning where it is late by minutes only and by at most a quarter."""
    found = findings(result, "blank-interval")
    for finding in found:
        little = finding["unit"] == "min" and 60 < finding["value"] <= 75
        assert finding["state"] == "fail" or (finding["state"] == "warn" and little)
    return [set(finding["rows"]) for finding in found]
