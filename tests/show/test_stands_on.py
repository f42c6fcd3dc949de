"""What a result stands on, and why it carries its flags."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from runsheet import demo, evaluate, read
from runsheet.show import explain, findings, stands_on, state
from tests.make import NOW, SLOPE, Table, at, row, run, standards

if TYPE_CHECKING:
    from runsheet.compute.results import RowResult, Sheet

METHOD: Table = {
    "blank": {"absorbance": 0.005},
    "check": {"recovery_percent": [90, 110], "second_source_percent": [90, 110]},
    "batch": {"control_percent": [70, 130]},
    "receipt": {"temperature_c": [0, 6]},
    "holding": {"collection_to_analysis_days": 1},
    "limits": {"detection": 0.5, "reporting": 2, "nominal_amount": 1000, "nominal_extract_ml": 100},
}


def check(name: str, percent: float, minutes: float) -> Table:
    return row(name, SLOPE * percent, kind="check", expected=100, at=at(minutes), lot="K-1")


def made(*queue: Table, **tables: Any) -> tuple[RowResult, Sheet]:
    given: Table = {"method": METHOD, "standard": standards(lot="S-1")} | tables
    sheet = evaluate(run(queue, **given), datetime.fromisoformat(NOW))
    return next(each for each in sheet.rows if each.id == "A"), sheet


CHECK = "continuing calibration verification (check standard)"
SAMPLE = row("A", 0.25, at=at(60))


def words(*queue: Table, **tables: Any) -> list[str]:
    row_, sheet = made(*queue, **tables)
    return [support.words for support in stands_on.supports(row_, sheet)]


def test_every_support_is_named_with_its_verdict_or_said_to_be_missing() -> None:
    queue = [
        row("I", 0.25, kind="second-source", expected=100, lot="I-1", at=at(30)), check("K0", 99, 40),
        row("B0", 0.001, kind="blank", at=at(41)), row("L", 0.1, kind="control", added_mg=10, at=at(50)), SAMPLE,
        check("K1", 80, 70),
    ]  # fmt: skip
    assert words(*queue) == [
        "calibration: C1 r 1.000000, lot S-1, pass",
        "second source: I 100 %, lot I-1, pass",
        "solvent blank before: B0 0.001 A, pass",
        f"{CHECK} before: K0 99 %, lot K-1, pass",
        "solvent blank after: none",
        f"{CHECK} after: K1 79.6 %, lot K-1, fail: recovers 79.6 %, limits 90-110",
        "method blank: none",
        "laboratory control sample: L 39.6 %, fail: recovers 39.6 %, limits 70-130",
        "duplicate: none",
        "matrix spike: none",
        "detection study: 0.5 mg/L, not judged: no date, instrument, cell and solvent not given",
    ]


PAIRED = METHOD | {"batch": {"control_percent": [70, 130], "spike_percent": [70, 130], "pair_rpd_percent": 20,
                             "duplicate_rpd_percent": 20}}  # fmt: skip


def shorts(*queue: Table, **tables: Any) -> list[str]:
    row_, sheet = made(*queue, method=PAIRED, **tables)
    return [support.short for support in stands_on.supports(row_, sheet)]


def test_a_pair_that_fails_is_told_beside_recoveries_that_pass() -> None:
    """It was 120 % fail, of limits 70 to 130: the verdict was the pair's."""
    first = row("L", 0.2, kind="control", added_mg=10, at=at(50))
    second = row("LD", 0.3, kind="control-duplicate", added_mg=10, at=at(51))
    said = shorts(first, second, SAMPLE)
    assert [each for each in said if each.startswith("L")] == ["L 80 % pass", "LD 120 % pass", "LD 40 % RPD fail"]
    alone = shorts(second, SAMPLE)
    assert [each for each in alone if each.startswith("L")] == ["LD 120 % pass", "LD RPD warn"]


def test_a_duplicate_has_the_figure_it_is_judged_by() -> None:
    """Near the reporting limit that is the difference: 45 % RPD and a pass at 20 % cannot both be read."""
    near = row("D", 0.05, kind="duplicate", of="A", at=at(61))
    assert "D 0.8 mg/L difference pass" in shorts(row("A", 0.07, at=at(60)), near)
    assert "D 22.22 % RPD fail" in shorts(SAMPLE | {"readings": [0.5]}, near | {"readings": [0.4]})


def test_a_blank_that_is_not_judged_is_told_so_as_among_the_verdicts() -> None:
    """Its limit is in mg/L, of a displayed concentration, and it was read in absorbance."""
    blank = row("B", 0.001, kind="blank", at=at(59))
    method = {"blank": {"concentration": 2}}
    row_, sheet = made(blank, SAMPLE, method=method)
    assert [f.state for f in sheet.quality if f.rule == "blank"] == ["warn"]
    assert "B 0.001 A not judged" in [support.short for support in stands_on.supports(row_, sheet)]


def test_a_figure_just_beyond_its_limit_is_seen_beyond_it() -> None:
    over = row("K1", 0.2750002, kind="check", expected=100, at=at(70))
    assert "K1 110.0001 % fail" in shorts(SAMPLE, over)


def test_a_blank_speaks_by_the_side_it_turns_to_the_row() -> None:
    left_clean = row("B0", 0.02, kind="blank", at=at(41), rezeroed=True)
    found_off = row("B1", 0.02, kind="blank", at=at(70), rezeroed=True)
    said = words(left_clean, SAMPLE, found_off)
    assert any(line.startswith("solvent blank before: B0") and line.endswith(", pass: re-zeroed") for line in said)
    assert any(line.startswith("solvent blank after: B1") and ", fail: found off" in line for line in said)


def test_verified_elsewhere_is_said() -> None:
    said = words(SAMPLE, calibration={"verified": "OS-0310 ICV2"})
    assert "second source: none: verified: OS-0310 ICV2" in said


def test_the_findings_that_affect_it_are_listed() -> None:
    row_, sheet = made(check("K0", 100, 40), SAMPLE, check("K1", 80, 70))
    told = stands_on.lines(row_, sheet)
    at_head = told.index("Findings that affect it:")
    assert any(line.startswith("fail: check K1: recovers 80.0 %") for line in told[at_head:])
    clean, plain = made(row("A", 0.25, at=at(60)), method={})
    assert "No finding affects it." not in stands_on.lines(row_, sheet)
    assert "No finding affects it." in stands_on.lines(clean, plain)


def test_of_a_row_that_reports_nothing_to_the_client_the_findings_that_name_it_are_listed() -> None:
    """A spike at -44 % stood on a page that ended in "No finding affects it.": they affect results alone."""
    low = row("MS", 0.20, kind="spike", of="A", added_mg=10, at=at(62))
    _, sheet = made(SAMPLE, low, method=METHOD | {"batch": {"spike_percent": [70, 130]}})
    spike = next(each for each in sheet.rows if each.id == "MS")
    told = stands_on.lines(spike, sheet)
    assert "No finding affects it." not in told
    named = told[told.index("Findings that name it:") + 1 :]
    assert any(line.startswith("fail: spike MS: recovers ") for line in named)
    row_, plain = made(SAMPLE | {"report": False, "reason": "spilt"}, method={})
    assert "No finding names it." in stands_on.lines(row_, plain)


def test_every_flag_says_what_gave_it() -> None:
    sample = [{"id": "A", "collected": at(-3 * 1440), "received_c": 12}]
    row_, sheet = made(check("K0", 100, 40), SAMPLE, check("K1", 80, 70), sample=sample)
    assert row_.flags == ("H", "Q", "Y")
    told = explain.lines(row_, sheet, "flags")
    assert any("collection to analysis" in line for line in told)
    assert any("check K1: recovers 80.0 %" in line for line in told)
    assert any("received at 12 C" in line for line in told)
    assert "  held by K1" in told


def test_a_method_prints_letters_of_its_own() -> None:
    method = METHOD | {"flags": {"Q": "R", "H": "HT"}}
    row_, sheet = made(check("K0", 100, 40), SAMPLE, check("K1", 80, 70), method=method)
    assert (row_.flags, row_.letters) == (("Q",), "R")
    assert explain.lines(row_, sheet, "flags")[0].startswith("Q, printed R: ")
    assert state.reservations(sheet) == "1 of 1 results carry R"


def test_voiding_what_is_off_is_told_before_it_is_done() -> None:
    _, sheet = made(check("K0", 86.9, 40), SAMPLE)
    by_id = {each.id: each for each in sheet.rows}
    assert findings.if_voided(by_id["K0"], sheet) == "recovers 86.9 %, limits 90-110"
    assert findings.if_voided(by_id["A"], sheet) == ""


def test_every_row_of_the_demo_days_can_be_asked() -> None:
    for name in demo.NAMES:
        day, _ = read(demo.text(name))
        assert day is not None
        sheet = evaluate(day, demo.NOW[name])
        for each in sheet.rows:
            assert bool(stands_on.supports(each, sheet)) == (each.counted and not each.void)


def test_a_result_stands_on_its_analysts_and_lots() -> None:
    batch = [{"id": "B", "analyst": "X", "solvent_lot": "T-9", "silica_gel_lot": "G-1"}]
    treated = SAMPLE | {"id": "P", "sample": "A", "silica_gel": True}
    queue = [check("K0", 100, 40), SAMPLE, treated]
    _, sheet = made(*queue, batch=batch, run={"id": "T", "analyst": "Y"})
    untreated, found = stands_on.standings(sheet)
    assert untreated.lots == tuple(lot for lot in found.lots if lot[0] != "silica gel"), "oil and grease met none"
    assert found.analyst == "read by Y; extracted by X"
    assert found.lots == (("solvent", "T-9"), ("silica gel", "G-1"), ("standards", "S-1"), ("K0", "K-1"))


def test_a_blank_before_that_was_re_zeroed_has_what_it_was_left_at() -> None:
    """What it was found at fails towards the rows before it, and is no figure of a pass."""
    off = row("B0", 0.009, kind="blank", rezeroed=True, as_left=0.001, at=at(50))
    first = row("F", 0.25, at=at(45))
    assert "solvent blank before: B0 0.001 A, pass: re-zeroed" in words(first, off, SAMPLE)
    _, sheet = made(first, off, SAMPLE)
    before = [each.words for each in stands_on.supports(sheet.rows[0], sheet)]
    assert any(each.startswith("solvent blank after: B0 0.009 A, fail: ") for each in before)


def test_a_finding_about_more_rows_than_are_named_says_how_many_more() -> None:
    """Six rows that nothing closes: the list of what affects one of them names four."""
    more = [row(f"A{n}", 0.25, at=at(60 + n)) for n in range(5)]
    method = METHOD | {"check": METHOD["check"] | {"closing": True}}
    row_, sheet = made(check("K0", 100, 40), SAMPLE, *more, check("K1", 80, 70), method=method)
    six = next(f for f in sheet.quality if f.state != "pass" and row_.id in (f.affects or ()) and len(f.rows) == 6)
    assert any(f"{six.rule} A A0 A1 A2 and 2 more: " in line for line in stands_on.lines(row_, sheet))


def test_the_qualifier_follows_from_the_findings_that_affect_it() -> None:
    _, sheet = made(check("K0", 100, 40), SAMPLE, check("K1", 80, 70))
    (found,) = stands_on.standings(sheet)
    assert found.qualifier == "Q"
    assert ("check", ("K1",)) in [(finding.rule, finding.rows) for finding in found.findings]


def test_each_of_the_clients_results_of_the_demo_days_stands_once() -> None:
    for name in demo.NAMES:
        day, _ = read(demo.text(name))
        assert day is not None
        sheet = evaluate(day, demo.NOW[name])
        roles = {
            "calibration",
            "second-source",
            "before",
            "after",
            "method-blank",
            "control",
            "duplicate",
            "spike",
            "study",
        }
        found = stands_on.standings(sheet)
        assert [made.row.id for made in found] == [row.id for row in sheet.rows if row.for_client]
        assert all({each.role for each in made.supports} == roles for made in found)


def test_a_flag_is_put_down_only_to_what_gives_it() -> None:
    holding = {"collection_to_analysis_days": 28, "collection_to_extraction_days": 14}
    method = {"holding": holding, "receipt": {"temperature_c": [0, 6], "ph_max": 2}}
    collected = {"id": "A", "collected": datetime.fromisoformat("2026-01-01T00:00:00+01:00"), "pH": 7}
    found, sheet = made(SAMPLE, method=method, sample=[collected])
    assert stands_on.reasons(found, sheet, "H") == ["holding A: collection to analysis 69.4 days, at most 28"]
    assert stands_on.reasons(found, sheet, "Y") == ["receipt A: pH 7 on receipt, at most 2"]


def test_an_open_row_is_not_said_to_stay_open_while_something_is_to_be_read() -> None:
    method = {"check": {"recovery_percent": [90, 110], "closing": True}, "batch": {"samples": 20}}
    found, sheet = made(SAMPLE, row("B"), method=method)
    assert (found.state, found.flags) == ("open", ("Q",))
    assert not any("nothing is left" in each for each in stands_on.reasons(found, sheet, "Q"))
    found, sheet = made(SAMPLE, method=method)
    assert stands_on.reasons(found, sheet, "Q")[-1] == "nothing closes it, and nothing is left to read"
