"""Detection studies over runs: 40 CFR 136 Appendix B, revision 2; the figures are those of the worked example there."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import pytest

from runsheet.history.studies import Capability, Detection, capabilities, detections
from tests.history.folder import opened, put, reading
from tests.make import START, command, row

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

SPIKES = (2.1, 1.9, 2.4, 2.0, 1.7, 2.2, 2.3)
BLANKS = (0.1, -0.05, 0.2, 0.0, 0.15, 0.05, 0.1)
"""Made up; MDL_S 0.757475912724473 and MDL_b 0.34856583 computed with a reference library."""
NOW = START + timedelta(days=60)


def spike(name: str, result: float, **fields: Any) -> dict[str, Any]:
    return row(name, reading(result), kind="detection-spike", added_mg=2, **fields)


def blank(name: str, result: float, **fields: Any) -> dict[str, Any]:
    return row(name, reading(result), kind="method-blank", **fields)


def study(
    folder: Path, spikes: Sequence[float] = SPIKES, blanks: Sequence[float] = BLANKS, days: int = 3, **tables: Any
) -> None:
    """Spread spikes and blanks over some runs."""
    for day in range(days):
        rows = [spike(f"DS{n}", value) for n, value in enumerate(spikes) if n % days == day]
        rows += [blank(f"MB{n}", value) for n, value in enumerate(blanks) if n % days == day]
        put(folder, day, rows, **tables)


def made(folder: Path, now: datetime = NOW) -> list[Detection]:
    with opened(folder) as tables:
        return detections(tables, now)


def test_seven_spikes_and_blanks_in_three_runs(tmp_path: Path) -> None:
    study(tmp_path)
    (found,) = made(tmp_path)
    assert found.study.mdl_s == pytest.approx(0.757475912724473, rel=1e-9)
    assert found.study.mdl_b == pytest.approx(0.34856583, rel=1e-7)
    assert found.study.level == pytest.approx(2.0)
    assert found.study.missing == ()
    assert found.offered == "0.76"


def test_what_is_missing_is_said_and_no_figure_is_offered(tmp_path: Path) -> None:
    study(tmp_path, SPIKES[:5], BLANKS, days=2)
    (found,) = made(tmp_path)
    assert found.offered is None
    assert any("5 of 7 spikes" in line for line in found.study.missing)
    assert any("2 of 3" in line and "spike" in line for line in found.study.missing)


def test_a_held_or_superseded_result_is_left_out_with_why(tmp_path: Path) -> None:
    study(tmp_path)
    rows = [
        spike("DS8", 9.0, report=False, reason="flask cracked"),
        row("CCV1", 0.5, kind="check", expected=100),
        spike("DS9", 9.0),
    ]
    put(tmp_path, 5, rows, method={"check": {"recovery_percent": [90, 110], "closing": False}})
    (found,) = made(tmp_path)
    assert found.study.mdl_s == pytest.approx(0.757475912724473, rel=1e-9)
    assert [(row, why) for _, row, why in found.left_out] == [
        ("DS8", "superseded: flask cracked"),
        ("DS9", "held: a calibration, blank or check standard about it failed"),
    ]


def test_instruments_cells_solvents_and_fractions_have_studies_of_their_own(tmp_path: Path) -> None:
    study(tmp_path)
    put(tmp_path, 10, [spike("DS1", 3), spike("DS2", 3, silica_gel=True)])
    put(tmp_path, 11, [spike("DS1", 3)], solvent={"name": "S-316"})
    put(tmp_path, 12, [spike("DS1", 3)], instrument={"name": "another", "step": 0.001})
    assert len(made(tmp_path)) == 4


def test_a_limit_in_use_is_verified_by_the_latest_runs(tmp_path: Path) -> None:
    studied = START.date() - timedelta(days=300)
    limits = {"detection": 0.5, "reporting": 2.0, "studied": studied, "nominal_amount": 1000, "nominal_extract_ml": 100}
    study(tmp_path, method={"limits": limits})
    (found,) = made(tmp_path)
    verified = found.study.verification
    assert verified is not None
    assert (verified.existing, verified.ratio) == pytest.approx((0.5, 0.757475912724473 / 0.5))
    assert verified.may_keep is True
    assert found.study.overdue is False
    (later,) = made(tmp_path, START + timedelta(days=200))
    assert later.study.overdue is True


def test_a_limit_without_the_day_of_its_study_is_not_verified(tmp_path: Path) -> None:
    study(tmp_path, method={"limits": {"detection": 0.5, "reporting": 2.0}})
    assert made(tmp_path)[0].study.verification is None


def test_the_limit_in_use_and_the_day_of_its_study_are_of_one_run(tmp_path: Path) -> None:
    """A new limit whose study has no day is not the old one's, and is not overdue by it."""
    study(tmp_path, name="", method={"limits": {"detection": 0.5, "studied": START.date() - timedelta(days=600)}})
    put(tmp_path, 5, [spike("DS8", 2.0)], method={"limits": {"detection": 0.8}})
    (found,) = made(tmp_path)
    assert (found.study.verification, found.study.due) == (None, None)


def test_a_study_of_an_earlier_day_knows_no_later_limit(tmp_path: Path) -> None:
    limits = {"detection": 0.5, "studied": START.date()}
    study(tmp_path, method={"limits": limits})
    put(tmp_path, 90, [spike("DS8", 2.0)], method={"limits": limits | {"detection": 0.8}})
    (found,) = made(tmp_path)
    assert found.study.verification is not None
    assert found.study.verification.existing == 0.5


def test_a_spike_that_is_not_read_yet_is_not_said_to_be_missing_from_the_runs(tmp_path: Path) -> None:
    unread = spike("DS1", 0) | {"readings": []}
    put(tmp_path, 0, [unread, spike("DS2", 2.0, void="spilt")])
    words = " ".join(command("detection", str(tmp_path)).split())
    assert "No detection-spike row is read and not void: a study needs 7 spikes" in words


def judged(folder: Path) -> list[Capability]:
    with opened(folder) as tables:
        return capabilities(tables)


def capability(*recoveries: float, **fields: Any) -> list[dict[str, Any]]:
    """Make controls of 8 mg that recover just so many percent."""
    made = [row(f"IDC{n}", reading(8 * r / 100), kind="capability") for n, r in enumerate(recoveries)]
    return [one | {"added_mg": 8} | fields for one in made]


def demonstrate(folder: Path, day: int, *recoveries: float, **fields: Any) -> None:
    put(folder, day, capability(*recoveries, **fields))


def test_four_controls_of_an_analyst_demonstrate_capability(tmp_path: Path) -> None:
    demonstrate(tmp_path, 0, 92, 98, 101, 95)
    (found,) = judged(tmp_path)
    assert (found.result.mean, found.result.s) == pytest.approx((96.5, 3.872983346207417))
    assert found.result.passes is True
    assert found.analyst == "M. Tarn"


def test_the_latest_four_count_and_each_analyst_for_himself(tmp_path: Path) -> None:
    demonstrate(tmp_path, 0, 20, 20, 20, 20)
    demonstrate(tmp_path, 1, 92, 98, 101, 95)
    demonstrate(tmp_path, 2, 60, 61, 62, 63, analyst="O. Lind")
    demonstrate(tmp_path, 3, 60, 61, analyst="A. New")
    found = {each.analyst: each.result.passes for each in judged(tmp_path)}
    assert found == {"M. Tarn": True, "O. Lind": False, "A. New": None}


def test_a_row_without_what_was_added_is_said_to_lack_just_that(tmp_path: Path) -> None:
    """It is read, not void, and has a result: what it has not is a recovery, and a spike no level."""
    rows = [row("D1", reading(8), kind="capability"), row("DS1", reading(2), kind="detection-spike")]
    put(tmp_path, 0, rows)
    told = " ".join(command("detection", str(tmp_path)).split())
    assert "1 of 1 row without a recovery: no result, or added_mg is not given" in told
    assert "Mean recovery none, limits 70 to 130 % s of recovery none, RSD at most 20 %" in told
    assert "of read batch document row" not in told
    (found,) = json.loads(command("detection", str(tmp_path), "--as", "json"))["detection"]
    assert found["left_out"] == [{"path": "day-000.toml", "row": "DS1", "why": "its spiked concentration is not known"}]


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"material": "hexadecane"}, "hexadecane was added and the standards are reference oil: without a response"),
        ({"report": False, "reason": "spilt"}, "superseded: spilt"),
    ],
)
def test_what_a_demonstration_leaves_out_is_named(fields: dict[str, Any], why: str, tmp_path: Path) -> None:
    """Left out in silence, an analyst of whom nothing counts was not named at all."""
    calibration = {"id": "C1", "model": "line", "material": "reference oil"}
    rows = [*capability(92, 98, 101), *[one | {"id": "IDC9"} for one in capability(170, **fields)]]
    put(tmp_path, 0, rows, calibration=calibration)
    alone = [one | {"id": "IDC9"} for one in capability(170, **fields)]
    put(tmp_path, 1, alone, calibration=calibration, run={"id": "R1", "analyst": "A. New"})
    told = " ".join(command("detection", str(tmp_path)).split())
    assert "Verdict not complete; 3 of 4 results: 1 more" in told
    assert f"Left out: - IDC9 of day-000.toml: {why}" in told
    assert "Initial demonstration: A. New" in told
    found = {
        each["analyst"]: each for each in json.loads(command("detection", str(tmp_path), "--as", "json"))["capability"]
    }
    assert {name: each["n"] for name, each in found.items()} == {"M. Tarn": 3, "A. New": 0}
    for name, path in (("M. Tarn", "day-000.toml"), ("A. New", "day-001.toml")):
        (left,) = found[name]["left_out"]
        assert (left["path"], left["row"]) == (path, "IDC9")
        assert left["why"].startswith(why)
