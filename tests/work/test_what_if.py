"""How far results move under another model, treatment, level or blank."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given

from runsheet import evaluate, read
from runsheet.run.text import write
from runsheet.work import what_if
from tests.make import LEVELS, NOW, SLOPE, at, examples, row, run, standards
from tests.properties.runs import readable

if TYPE_CHECKING:
    from runsheet.run.model import Run

CLOCK = datetime.fromisoformat(NOW)
# A little bent at the top, as stray light does.
BENT = standards(ys=[SLOPE * x * (1 - x / 4000) for x in LEVELS])
LIMITS = {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100}


def day(**tables: Any) -> Run:
    queue = [
        row("SB1", 0.001, kind="blank", at=at(60)),
        row("LOW", 0.051, at=at(61)),
        row("MID", 0.25, at=at(62)),
        row("SB2", 0.013, kind="blank", at=at(63)),
        row("OLD", 0.3, report=False, reason="spilled", at=at(64)),
        row("TOP", 0.45, at=at(65)),
        row("NEXT", at=None),
    ]
    method = {"limits": LIMITS, "blank": {"absorbance": 0.005}}
    zero = {"id": "Z", "concentration": 0, "readings": [0.001], "at": at(20)}
    return run(queue, **{"method": method, "standard": [zero, *BENT]} | tables)


def found(made: Run) -> dict[str, what_if.Alternative]:
    return {each.what: each for each in what_if.alternatives(made, CLOCK)}


def moves(alternative: what_if.Alternative) -> dict[str, what_if.Move]:
    return {move.id: move for move in alternative.moves}


def test_each_thing_that_could_be_otherwise_is_tried_once() -> None:
    whats = list(found(day()))
    assert whats == [
        "without blank SB2",
        *("C1 with drift none", "C1 with drift interpolate"),
        *("C1 with its zero standard: point", "C1 with its zero standard: ignore"),
        *("C1 without its level of 10 mg/L", "C1 without its level of 200 mg/L"),
        "C1 as mean factor",
        *(f"C1 as line through zero, {w}" for w in ("unweighted", "1/x", "1/x2")),
        *(f"C1 as line, {w}" for w in ("1/x", "1/x2")),
        *(f"C1 as quadratic, {w}" for w in ("unweighted", "1/x", "1/x2")),
        "without blank SB1",
    ]


def test_a_move_is_the_result_of_the_document_changed_by_hand() -> None:
    made = day()
    other = replace(made, calibration=(replace(made.calibration[0], model="quadratic"),))
    base, changed = ({r.id: r for r in evaluate(each, CLOCK).rows} for each in (made, other))
    got = found(made)["C1 as quadratic, unweighted"]
    assert list(moves(got)) == ["LOW", "MID", "TOP"]
    for name, move in moves(got).items():
        assert (move.result, move.other) == (base[name].result, changed[name].result)
        one, two, u = base[name].result, changed[name].result, base[name].expanded
        assert one is not None
        assert two is not None
        assert u is not None
        assert move.percent == pytest.approx(100 * (two - one) / one)
        assert move.beyond == (abs(two - one) > u)
    (curve,) = evaluate(other, CLOCK).calibrations
    assert curve.curve is not None
    assert (got.r, got.rse_percent, got.curve_state) == (curve.curve.r, curve.rse_percent, "pass")
    assert got.lowest_error_percent == next(s.error_percent for s in curve.standards if s.x == 10)


def test_a_blank_left_out_moves_the_rows_after_it_only() -> None:
    got = moves(found(day())["without blank SB2"])
    assert (got["LOW"].difference, got["MID"].difference) == (0, 0)
    # 0.012 A more net signal at 0.0025 A per mg/L of extract and a factor of 0.1.
    assert got["TOP"].difference == pytest.approx(0.48, rel=0.06)
    made = day()
    assert evaluate(made, CLOCK).quality != ()
    assert [r.void for r in made.queue] == [None] * 7


def test_an_immaterial_change_is_stated_with_its_largest_move() -> None:
    got = found(day())["C1 as line, 1/x"]
    largest = max(abs(move.percent or 0) for move in got.moves)
    said = what_if.material(got)
    stated = float(
        said.removeprefix("no matter: no result moves by more than ").removesuffix(" % and none beyond its U")
    )
    # Rounded up, so that what is said holds.
    assert largest <= stated < 1.1 * largest
    none = found(day(calibration={"drift": "none"}))["without blank SB1"]
    assert what_if.material(none) == "no matter: no result moves"


def test_a_move_in_the_last_digits_of_a_float_is_none() -> None:
    move = what_if.Move("A", 0.1 + 0.2, 0.3, beyond=False, flags="", other_flags="", crosses=False)
    assert (move.difference, move.percent) == (0, 0)


def test_a_material_change_names_the_result_that_moves_most() -> None:
    exact = day(standard=standards())
    got = found(exact)["without blank SB2"]
    # 12 mA of 0.437 A net.
    assert what_if.material(got) == "matters: 1 of 3 results moves by more than its U, most TOP by 2.7 %"
    assert "TOP" in [line.split()[0] for line in what_if.lines(got) if "beyond U" in line]


def test_a_flag_that_changes_is_material_although_the_result_stays_within_u() -> None:
    queue = [row("A", 0.4875, at=at(60))]
    got = found(run(queue, method={"limits": LIMITS}, standard=BENT))["C1 without its level of 200 mg/L"]
    move = moves(got)["A"]
    assert (move.flags, move.other_flags) == ("E", "E")
    queue = [row("A", 0.4, at=at(60))]
    got = found(run(queue, method={"limits": LIMITS}, standard=BENT))["C1 without its level of 200 mg/L"]
    assert (moves(got)["A"].flags, moves(got)["A"].other_flags, moves(got)["A"].beyond) == ("", "E", False)
    assert what_if.material(got) == "matters: none moves beyond its U, but A goes from no flag to E"
    printed = found(run(queue, method={"limits": LIMITS, "flags": {"E": "over"}}, standard=BENT))
    told = what_if.material(printed["C1 without its level of 200 mg/L"])
    assert told == "matters: none moves beyond its U, but A goes from no flag to over"


def test_a_result_that_crosses_the_reporting_limit_is_material() -> None:
    queue = [row("SB1", 0.0005, kind="blank", at=at(59)), row("A", 0.0512, at=at(60))]
    limits = {key: value for key, value in LIMITS.items() if key != "detection"}
    got = found(run(queue, method={"limits": limits}, standard=BENT))["without blank SB1"]
    move = moves(got)["A"]
    assert (move.result or 0) < 2 < (move.other or 0)
    assert (move.crosses, move.beyond, move.flags, move.other_flags) == (True, False, "U", "")
    assert what_if.material(got) == "matters: none moves beyond its U, but A goes from U to no flag"


def test_without_u_nothing_is_judged_immaterial() -> None:
    two = standards((10, 200), (0.026, 0.5))
    queue = [row("SB1", 0.0005, kind="blank", at=at(59)), row("A", 0.2, at=at(60))]
    got = found(run(queue, standard=two))["C1 with drift none"]
    assert what_if.material(got).startswith("not judged: no result moves by more than ")
    assert what_if.material(got).endswith("but not every result has a U")


def test_nothing_reported_says_so() -> None:
    got = found(run([]))["C1 as mean factor"]
    assert what_if.material(got) == "no result is reported yet"
    assert what_if.alternatives(run([], standard=[], calibration=[]), CLOCK) == []


def test_there_are_never_more_than_forty_and_failing_blanks_come_first() -> None:
    blanks = [row(f"SB{n}", 0.0 if n != 50 else 0.02, kind="blank", at=at(60 + n)) for n in range(60)]
    got = what_if.alternatives(run([*blanks, row("A", 0.2)], method={"blank": {"absorbance": 0.005}}), CLOCK)
    assert len(got) == what_if.MOST == 40
    assert got[0].what == "without blank SB50"


def test_a_direct_run_has_no_other_models() -> None:
    levels = standards((100,), (100.5,))
    direct = run(
        [row("SB1", 1, kind="blank", at=at(60)), row("A", 50, at=at(61))],
        instrument={"reads": "concentration", "step": 0.1},
        calibration={"model": "direct"},
        standard=levels,
    )
    assert list(found(direct)) == ["C1 with drift none", "C1 with drift interpolate", "without blank SB1"]
    assert what_if.compare_models(direct, CLOCK) == []
    assert what_if.table(direct, CLOCK) == ["there is no curve to fit"]


def test_models_side_by_side() -> None:
    # Identity check of the trade's own figures: r, RSE and the error at the lowest level of the line.
    levels = standards((2, 5, 10, 20, 40), (0.043, 0.101, 0.203, 0.398, 0.801))
    made = run([], standard=levels, method={"calibration": {"rse_percent": 3}})
    fits = {(fit.model, fit.weighting): fit for fit in what_if.compare_models(made, CLOCK)}
    assert len(fits) == 10
    assert [key for key, fit in fits.items() if fit.present] == [("line", "none")]
    line = fits["line", "none"]
    assert line.r == pytest.approx(0.9999813465508748, rel=1e-12)
    assert line.rse_percent == pytest.approx(1.72430506996, rel=1e-9)
    assert line.lowest_error_percent == pytest.approx(2.68171332, rel=1e-8)
    assert fits["mean-factor", "1/x2"].rse_percent == pytest.approx(3.15018057, rel=1e-8)
    assert fits["line", "1/x"].rse_percent == pytest.approx(1.10758556, rel=1e-8)
    assert line.verdict == "passes"
    assert fits["line-through-zero", "none"].verdict == "RSE 3.8 %, at most 3"
    assert "a quadratic needs 6 levels" in fits["quadratic", "none"].verdict
    lines = what_if.table(made, CLOCK)
    assert [line for line in lines if line.startswith("* C1")] == [
        "* C1   line, unweighted                0.99998    1.7      2.7  passes"
    ]


@given(readable())
@examples(60)
def test_any_readable_run_can_be_asked_and_stays_as_it_is(made: Run) -> None:
    text = write(made)
    whole, problems = read(text)
    if whole is None or any(problem.level == "error" for problem in problems):
        return
    got = what_if.alternatives(whole, CLOCK + timedelta(days=1))
    assert len({each.what for each in got}) == len(got) <= what_if.MOST
    for each in got:
        assert what_if.material(each)
        assert len(what_if.lines(each)) == 3 + len(each.moves)
    assert what_if.table(whole, CLOCK)
    assert write(whole) == text


# --- findings ---------------------------------------------------------------------------------------------------


def told(queue: list[Any], **tables: Any) -> list[str]:
    return what_if.of_findings(evaluate(run(queue, **tables), CLOCK))


def test_a_failing_blank_says_how_far_the_results_that_hang_on_it_would_move() -> None:
    method = {"blank": {"absorbance": 0.005}}
    queue = [row("B1", 0.02, kind="blank", at=at(59)), row("A", 0.2, at=at(60))]
    (said,) = told(queue, method=method, standard=standards(lot="L"))
    assert said == "blank B1: affects 1: A; without it A moves most, by 11 %, beyond its U"


def test_a_failing_check_is_a_verdict_and_no_figure_hangs_on_it() -> None:
    method = {"check": {"recovery_percent": [90, 110]}}
    queue = [row("A", 0.2, at=at(60)), row("K", 0.2, kind="check", expected=100, at=at(61))]
    assert told(queue, method=method) == ["check K: affects 1: A; a verdict, no figure hangs on it"]


def test_a_finding_that_affects_nothing_says_so() -> None:
    method = {"check": {"recovery_percent": [90, 110]}}
    assert told([row("K", 0.2, kind="check", expected=100, at=at(61))], method=method) == [
        "check K: affects no reported result"
    ]


def test_a_move_is_within_no_u_that_is_not_there() -> None:
    method = {"blank": {"absorbance": 0.005}}
    queue = [row("B1", 0.02, kind="blank", at=at(59)), row("A", 0.2, at=at(60))]
    said = told(queue, method=method, standard=standards((10, 200), lot="L"))
    assert "blank B1: affects 1: A; without it A moves most, by 11 %" in said


def test_the_run_is_told_in_the_words_of_its_state_with_its_numbers() -> None:
    """`qualified` alone reads as fit."""
    noted = {"taken": "noted", "by": "M. Tarn", "at": at(90)}
    done = [noted | {"rule": "second-source", "rows": ["C1"]}, noted | {"rule": "opening", "rows": ["A"]}]
    method = {"check": {"second_source_percent": [90, 110]}}
    made = run([row("A", 0.2, at=at(60))], method=method, standard=standards(lot="L"), action=done)
    first = what_if.alternatives(made, CLOCK)[0]
    assert first.state == "qualified"
    assert "; the run: with reservations: 1 of 1" in what_if.lines(first)[1]


def test_the_figures_of_results_hang_on_a_calibration_that_fails() -> None:
    """The first page of a report said of it that no figure hangs on it."""
    bad = {"standard": standards(ys=[0.025, 0.0625, 0.125, 0.25, 0.9])}
    assert told([row("A", 0.2, at=at(40))], method={"calibration": {"r": 0.995}}, **bad) == [
        "calibration C1: affects 1: A; computed from C1"
    ]
    named = row("C1", 0.05, kind="control", added_mg=10)  # a row of that name is no calibration
    method = {"batch": {"control_percent": [70, 130]}}
    assert told([named, row("A", 0.2)], method=method)[0].endswith("a verdict, no figure hangs on it")


def test_what_moves_without_a_blank_is_told_where_the_finding_does_not_affect_it() -> None:
    """It holds what was read before it; what is subtracted after it moves a row it does not hold, and none was told."""
    rezeroed = row("SB", 0.02, kind="blank", rezeroed=True, as_left=0.004)
    method = {"blank": {"absorbance": 0.005}}
    queue = [row("A", 0.2), rezeroed, row("B", 0.1), row("C", 0.1, amount=None)]
    said = told(queue, method=method)
    assert said[0] == "blank SB: affects 1: A; without it B moves most, by 4.2 %, beyond its U"
    none = told(queue[:2], method=method)
    assert none == ["blank SB: affects 1: A; without it none moves"]
