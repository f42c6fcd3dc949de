"""The draws of a run beside its first-order uncertainty: where both must agree, and where they must not."""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import evaluate
from runsheet.compute.statistics import monte_carlo
from runsheet.show import drawn
from tests.make import NOW, at, command, document, extract, row, run, standards

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.compute.statistics.monte_carlo import Propagated

N = 200_000


def propagated(queue: list[dict[str, Any]], **tables: Any) -> dict[str, Propagated]:
    sheet = evaluate(run(queue, **tables), datetime.fromisoformat(NOW))
    return {made.id: made for made in monte_carlo.propagate(sheet, N)}


# Miller & Miller, Statistics and Chemometrics for Analytical Chemistry, fluorescence calibration (book, from memory).
XS, YS = (2.0, 4, 6, 8, 10, 12), (5.0, 9.0, 12.6, 17.3, 21.0, 24.7)


def fluorescence(queue: list[dict[str, Any]]) -> dict[str, Propagated]:
    zero = standards((0.0,), (2.1,), name="Z", first=10)
    return propagated(
        queue,
        method={"unit": "mg/L extract"},
        instrument={"reads": "absorbance", "step": 1e-12},
        standard=[*zero, *standards(XS, YS)],
        calibration={"zero_standard": "point", "drift": "none"},
    )


@pytest.mark.parametrize(("y", "x", "half"), [(2.9, 0.72, 0.68), (13.5, 6.21, 0.62), (23.0, 11.13, 0.68)])
def test_a_published_calibration_with_its_95_percent_intervals(y: float, x: float, half: float) -> None:
    made = fluorescence([extract("A", y)])["A"]
    assert made.mean == pytest.approx(x, abs=0.01)
    assert (made.high - made.low) / 2 == pytest.approx(half, abs=0.015)
    assert made.validated


def test_the_mean_of_four_readings_is_narrower() -> None:
    one, four = (fluorescence([extract("A", *[13.5] * m)])["A"] for m in (1, 4))
    assert (four.high - four.low) / (one.high - one.low) == pytest.approx(0.14 / 0.24, abs=0.04)


def test_a_relative_part_that_dominates_is_normal_and_its_factor_is_196() -> None:
    """With k = 2 for a normal quantity the first-order interval is 2 % wider than 95 % asks."""
    method = {"unit": "mg/L extract", "uncertainty": {"volumes_percent": 10, "coverage": 2}}
    made = propagated([extract("A", 0.25)], method=method)["A"]
    assert made.u == pytest.approx(10.0, rel=0.01)
    assert (made.high - made.low) / 2 == pytest.approx(19.6, rel=0.01)


def test_a_displayed_concentration_of_one_reading_is_a_rectangle() -> None:
    made = propagated(
        [extract("A", 100.0)],
        method={"unit": "mg/L extract"},
        instrument={"reads": "concentration", "step": 1.0},
        calibration={"model": "direct"},
        standard=[],
    )["A"]
    assert made.u == pytest.approx(1 / 12**0.5, rel=0.01)
    assert (made.high - made.low) / 2 == pytest.approx(0.95 / 2, rel=0.01)


DISPLAYED: dict[str, Any] = {
    "method": {"unit": "mg/L extract"},
    "instrument": {"reads": "concentration", "step": 0.1},
    "calibration": {"model": "direct"},
    "standard": [],
}


def test_two_displayed_figures_have_no_u_and_validate_none() -> None:
    """Their t of one degree of freedom has no standard deviation: by that of the draws, any U was validated."""
    made = propagated(
        [extract("A", 45.2, 47.9), extract("B", 45.2, 47.9, 46), extract("C", 45, 47, 46, 48)], **DISPLAYED
    )
    assert (made["A"].mean, made["A"].u, made["A"].validated) == (None, None, False)
    assert (made["B"].mean is None, made["B"].u, made["B"].validated) == (False, None, False)
    assert made["C"].u == pytest.approx(3**0.5 * (5 / 3 / 4) ** 0.5, rel=0.1)
    assert made["A"].tolerance == pytest.approx(0.5)  # of 1.35


def test_a_line_of_three_levels_has_no_u() -> None:
    made = propagated([extract("A", 0.1)], standard=standards((10, 100, 200), (0.025, 0.25, 0.505)))["A"]
    assert (made.mean, made.u) == (None, None)
    assert made.tolerance < 0.1


def test_what_is_drawn_is_said_as_it_was(tmp_path: Path) -> None:
    file = tmp_path / "run.toml"
    file.write_text(document([extract("A", 45.2)], **DISPLAYED), encoding="utf-8")
    words = ("results", str(file), "--now", NOW, "--monte-carlo", "1000")
    assert "1000 draws; shortest interval" in command(*words)
    file.write_text(document([extract("A", 0.1)], standard=standards((10, 200))), encoding="utf-8")
    told = command(*words)
    assert "Nothing is drawn: no reported result has an uncertainty." in told
    assert "0 draws" not in told


def test_dilution_counts_in_a_diluted_row_only() -> None:
    method = {"unit": "mg/L extract", "uncertainty": {"dilution_percent": 5}}
    made = propagated([extract("A", 0.25), extract("B", 0.25, dilution=2)], method=method)
    assert made["A"].u is not None
    assert made["A"].u < 0.5
    assert made["B"].u == pytest.approx(10.0, rel=0.02)


def test_a_quadratic_keeps_the_root_in_its_range() -> None:
    xs = (10, 25, 50, 100, 150, 200)
    ys = [0.0025 * x - 2e-6 * x * x + (0.0004 if n % 2 else -0.0004) for n, x in enumerate(xs)]
    made = propagated(
        [extract("A", 0.2)],
        method={"unit": "mg/L extract"},
        standard=standards(xs, ys),
        calibration={"model": "quadratic"},
    )["A"]
    assert made.mean is not None
    assert made.low < made.mean < made.high
    assert made.mean == pytest.approx(85.9, abs=1.0)


def test_the_same_run_gives_the_same_draws() -> None:
    noisy = standards(ys=[0.026, 0.062, 0.1251, 0.2497, 0.4998])
    one, other = (propagated([row("A", 0.2, at=at(60))], standard=noisy) for _ in range(2))
    assert one == other


def test_what_is_said_of_a_u_that_is_too_wide(tmp_path: Path) -> None:
    noisy = standards(ys=[0.026, 0.062, 0.1251, 0.2497, 0.4998])
    text = document([row("A", 0.4, at=at(60))], method={"uncertainty": {"volumes_percent": 5}}, standard=noisy)
    file = tmp_path / "run.toml"
    file.write_text(text, encoding="utf-8")
    words = ("results", str(file), "--now", NOW, "--monte-carlo", "20000")
    told = " ".join(command(*words).split())
    assert "20000 draws, curve fitted anew in each" in told
    assert "not validated: " in told
    assert "wider" in told  # t of three degrees of freedom is taken for a part that is known otherwise
    (made,) = json.loads(command(*words, "--as", "json"))["monte_carlo"]
    assert (made["id"], made["draws"], made["validated"]) == ("A", 20000, False)


def test_a_result_without_u_is_not_validated() -> None:
    made = propagated([row("A", 0.2, at=at(60))], standard=standards((10, 200), (0.026, 0.5)))
    assert made == {}


@pytest.mark.parametrize(("confidence", "outside"), [(0.999, True), (0.9995, False), (0.999999, False)])
def test_too_few_draws_for_a_confidence_judge_no_u(confidence: float, *, outside: bool, tmp_path: Path) -> None:
    """Of 1000 draws none lies outside such an interval: the program ended with an error."""
    noisy = standards(ys=[0.026, 0.062, 0.1251, 0.2497, 0.4998])
    file = tmp_path / "run.toml"
    text = document([row("A", 0.4, at=at(60))], calibration={"confidence": confidence}, standard=noisy)
    file.write_text(text, encoding="utf-8")
    words = ("results", str(file), "--now", NOW, "--monte-carlo", "1000")
    (made,) = json.loads(command(*words, "--as", "json"))["monte_carlo"]
    assert made["validated"] is None
    assert made["low"] < made["mean"] < made["high"]
    told = " ".join(command(*words).split())
    assert f"not judged: too few draws {'to tell' if outside else f'for {confidence * 100:g} %'}" in told


def test_the_ends_of_a_narrow_interval_are_told_apart(tmp_path: Path) -> None:
    """A rectangle of one display step about 1234.5: both ends were told as 1234, and of 260 both as 260."""
    file = tmp_path / "run.toml"
    fine = DISPLAYED | {"instrument": {"reads": "concentration", "step": 0.01}}
    file.write_text(document([extract("A", 1234.5), extract("B", 260)], **fine), encoding="utf-8")
    words = ("results", str(file), "--now", NOW, "--monte-carlo", "20000")
    told = command(*words).partition("Monte Carlo")[2].splitlines()
    for name, value in (("A", 1234.5), ("B", 260.0)):
        line = next(line.split() for line in told if line.startswith(f"{name} "))
        low, high = float(line[5]), float(line[6])
        assert high - low == pytest.approx(0.0095, abs=0.0003)
        assert (low + high) / 2 == pytest.approx(value, abs=0.0005)


def test_the_words_of_a_verdict() -> None:
    made = fluorescence([extract("A", 13.5)])["A"]
    sheet = evaluate(run([extract("A", 0.25)], method={"unit": "mg/L extract"}), datetime.fromisoformat(NOW))
    assert drawn.verdict(made, sheet.rows[0]).startswith("validated")


def test_of_two_roots_the_one_nearest_the_middle_is_taken_in_every_draw() -> None:
    """y = 5e-5 x + 1e-5 x^2 has for 0.105 the roots 100 and -105; the middle of the range is 105."""
    xs = (10, 25, 50, 100, 150, 200)
    ys = [5e-5 * x + 1e-5 * x * x + (1e-4 if n % 2 else -1e-4) for n, x in enumerate(xs)]
    made = propagated(
        [extract("A", 0.105)],
        method={"unit": "mg/L extract"},
        standard=standards(xs, ys),
        calibration={"model": "quadratic"},
    )["A"]
    assert made.mean == pytest.approx(100, abs=1)
    assert made.u is not None
    assert made.u < 1


NOISY = standards(ys=[0.026, 0.062, 0.126, 0.249, 0.501])


@pytest.mark.parametrize("draws", [2000, 20_000])
@pytest.mark.parametrize("seed", range(12))
def test_a_u_that_holds_is_not_said_to_be_off_by_the_luck_of_the_draws(
    seed: int, draws: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A million draws validate it each time; of 20000 eight in twelve said "not validated: 2 % wider" or the like."""
    monkeypatch.setattr(monte_carlo, "SEED", seed)
    made = run([extract("A", 0.1)], standard=NOISY, method={"unit": "mg/L extract"})
    sheet = evaluate(made, datetime.fromisoformat(NOW))
    (found,) = monte_carlo.propagate(sheet, draws)
    assert drawn.verdict(found, sheet.rows[0]) in ("validated", "not judged: too few draws to tell")


def test_a_result_that_is_not_drawn_is_named(tmp_path: Path) -> None:
    """A curve through as many points as it has coefficients has no uncertainty: its results were just not there."""
    two = standards((10, 50), (0.02, 0.12), name="T", calibration="C2")
    levels = [one | {"calibration": "C1"} for one in standards(ys=[0.026, 0.062, 0.126, 0.249, 0.501])]
    queue = [row(name, 0.1, calibration=curve) for name, curve in (("A", "C1"), ("B", "C2"))]
    queue.append(row("C", 0.1, calibration="C2", report=False, reason="spilt"))
    curves = [{"id": name, "model": "line"} for name in ("C1", "C2")]
    file = tmp_path / "run.toml"
    file.write_text(document(queue, calibration=curves, standard=[*levels, *two]), encoding="utf-8")
    told = " ".join(command("results", str(file), "--now", NOW, "--monte-carlo", "1000").split())
    assert told.endswith("Not drawn, without an uncertainty: B.")
