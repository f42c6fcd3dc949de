"""What is read again after something failed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet import evaluate
from runsheet.compute.readings import as_left
from runsheet.run import edit
from runsheet.work import reread
from tests.make import NOW, SLOPE, Table, at, examples, row, run, standards

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.compute.results import Sheet
    from runsheet.run.model import Row, Run

CLOCK = datetime.fromisoformat(NOW)
METHOD = {
    "blank": {"every_readings": 20, "absorbance": 0.005},
    "check": {"every_readings": 10, "recovery_percent": [90, 110], "closing": True},
    "holding": {"collection_to_analysis_days": 28, "extraction_to_analysis_days": 40},
    "batch": {"samples": 20, "control_percent": [70, 130]},
}


def blank(name: str, reading: float = 0.0, **fields: Any) -> Table:
    return row(name, reading, kind="blank", **fields)


def check(name: str, reading: float = 0.25) -> Table:
    return row(name, reading, kind="check", expected=100)


def made(queue: Sequence[Table], **tables: Any) -> Sheet:
    timed = [each | {"at": at(60 + n)} if each["readings"] else each for n, each in enumerate(queue)]
    return evaluate(run(timed, **{"method": METHOD} | tables), CLOCK)


def found(queue: Sequence[Table], **tables: Any) -> reread.Rereading:
    got = reread.plan_rereading(made(queue, **tables))
    assert got is not None
    return got


def order(got: reread.Rereading) -> str:
    return " ".join(step.row.id for step in got.steps)


def held(sheet: Sheet) -> list[str]:
    """Name the rows that report and are held."""
    return [r.id for r in sheet.rows if r.reports and r.state == "held" and r.kind not in ("blank", "check")]


def mended(sheet: Sheet, got: reread.Rereading) -> Sheet:
    """Insert what is to be read again, and read everything unread on a photometer that stays where it is."""
    step = reread.edits(sheet.run, got)
    whole = edit.apply_all(sheet.run, step)
    back = whole
    for each in reversed(step):
        back = edit.apply(back, edit.inverse(each))
    assert back == sheet.run
    return evaluate(read(whole), CLOCK + timedelta(days=1))


def read(day: Run) -> Run:
    clock = max([CLOCK, *(each.at for each in day.queue if each.at), *(each.at for each in day.standard if each.at)])
    rows: list[Row] = []
    for each in day.queue:
        clock += timedelta(minutes=1)
        value = _clean(day, rows) + (SLOPE * float(each.expected) if each.expected is not None else 0)
        value += 0 if each.kind in ("blank", "check", "second-source") else 0.2
        rows.append(each if each.readings else replace(each, readings=(Decimal(f"{value:.4f}"),), at=clock))
    return replace(day, queue=tuple(rows))


def _clean(day: Run, rows: list[Row]) -> float:
    """What a clean cell reads now: as the last blank was left."""
    last = [r for r in evaluate(replace(day, queue=tuple(rows)), CLOCK).rows if r.kind == "blank" and r.counted]
    return as_left(last[-1], "absorbance") if last else 0.0


OPEN = [blank("SB1"), check("CCV1")]
CLOSE = [blank("SB2"), check("CCV2")]


def test_nothing_is_read_again_on_a_good_day() -> None:
    assert reread.plan_rereading(made([*OPEN, row("A", 0.2), *CLOSE])) is None
    assert reread.plan_rereading(made([*OPEN, row("A", 0.2)])) is None
    assert reread.plan_rereading(made([])) is None


def test_rows_before_a_failed_check_are_read_again_between_good_ones() -> None:
    day = [*OPEN, row("A", 0.2), row("B", 0.1), blank("SB2"), check("CCV2", 0.2)]
    got = found(day)
    # SB2 passes and nothing was read since but the check that fails: it opens the new rows too.
    assert order(got) == "CCV3 A-1 B-1 SB3 CCV4"
    assert got.superseded == (("A", "A-1"), ("B", "B-1"))
    assert [step.why for step in got.steps[:3]] == [
        "opens the readings",
        *["held: check standard CCV2 beside it fails"] * 2,
    ]
    assert got.steps[3].why == "closes the readings"
    after = mended(made(day), got)
    assert held(after) == []
    assert [r.reported for r in after.rows if r.id in ("A", "A-1", "B-1")] == [None, "8.0", "8.0"]
    assert [r.row.reason for r in after.rows if r.id == "A"] == ["read again as A-1"]


def test_only_what_the_failure_holds_is_read_again() -> None:
    day = [*OPEN, row("A", 0.2), *CLOSE, row("B", 0.2), blank("SB3", 0.02, rezeroed=True), check("CCV3")]
    # SB3 was left clean and CCV3 passes: both stand right before the new rows and open them.
    assert order(found(day)) == "B-1 SB4 CCV4"
    left = [*day[:-2], blank("SB3", 0.02), check("CCV3", 0.27)]
    assert order(found(left)) == "SB4 B-1 SB5 CCV4"


def test_new_rows_go_before_the_unread_ones_and_share_their_events() -> None:
    day = [*OPEN, row("A", 0.2), check("CCV2", 0.2), row("B"), row("C")]
    got = found(day)
    assert (got.at, order(got)) == (5, "SB2 CCV3 A-1 SB3 CCV4")
    day = [*OPEN, row("A", 0.2), check("CCV2", 0.2), row("SB2", kind="blank"), row("CCV3", kind="check", expected=100)]
    assert order(found(day)) == "SB3 CCV4 A-1"
    assert held(mended(made(day), found(day))) == []


def test_the_least_holding_time_comes_first() -> None:
    samples = [{"id": name, "collected": date(2026, 2, day)} for name, day in (("A", 20), ("B", 11), ("C", 15))]
    day = [*OPEN, *(row(name, 0.2) for name in "DABC"), check("CCV2", 0.2)]
    got = found(day, sample=samples, run={"id": "T", "offset": "+01:00"})
    assert order(got) == "SB2 CCV3 B-1 C-1 A-1 D-1 SB3 CCV4"
    # Collected on 11 February at 00:00, 28 days are over on 11 March at 00:00, twelve hours before now.
    assert [*got.steps[2].clocks] == [("collection to analysis", -12)]
    assert got.steps[3].hours == pytest.approx(84)
    assert reread.lines(got)[2].startswith("B-1        12 h over, collection to analysis; held: ")


def test_both_holding_clocks_are_told() -> None:
    extracted = {"id": "B1", "finished": at(-60)}
    day = [*OPEN, row("A", 0.2), check("CCV2", 0.2)]
    got = found(day, batch=[extracted], sample=[{"id": "A", "collected": at(-24 * 60)}])
    # Extracted at 07:00 of the day, five hours ago; collected 28 hours ago.
    assert [*got.steps[2].clocks] == [
        ("collection to analysis", 28 * 24 - 28),
        ("extraction to analysis", 40 * 24 - 5),
    ]


def test_what_is_above_the_range_is_diluted_as_advised() -> None:
    day = [*OPEN, row("A", 0.7, dilution=2), check("CCV2", 0.2)]
    got = found(day)
    (step,) = (step for step in got.steps if step.row.id == "A-1")
    assert step.row.dilution == 6
    after = mended(made(day), got)
    assert [r.row.reason for r in after.rows if r.id == "A"] == ["read again as A-1"]


def test_a_sample_is_read_again_once_a_fraction() -> None:
    day = [
        *OPEN,
        row("A", 0.2),
        row("A2", 0.2, sample="A"),
        row("AT", 0.1, sample="A", silica_gel=True),
        check("CCV2", 0.2),
    ]
    got = found(day)
    assert order(got) == "SB2 CCV3 A-1 A-2 SB3 CCV4"
    assert got.superseded == (("A", "A-1"), ("A2", "A-1"), ("AT", "A-2"))
    after = mended(made(day), got)
    assert [finding.why for finding in after.quality if finding.rule == "one-result"] == []


def test_a_reading_that_was_passed_over_is_none_to_come() -> None:
    day = [*OPEN, row("A", 0.2), row("A2", sample="A"), row("B", 0.2), check("CCV2", 0.2), row("B2", sample="B")]
    got = found(day)
    assert (order(got), got.superseded) == ("SB2 CCV3 A-1 SB3 CCV4", (("A", "A-1"), ("B", "B2")))


def test_what_was_read_again_already_only_stops_reporting() -> None:
    day = [*OPEN, row("A", 0.2), check("CCV2", 0.2), blank("SB2"), check("CCV3"), row("A9", 0.2, sample="A")]
    got = found(day)
    assert (got.steps, got.superseded) == ((), (("A", "A9"),))
    assert reread.lines(got) == ["A          superseded by A9"]
    assert held(mended(made(day), got)) == []


def test_held_qc_rows_are_read_again_after_the_samples() -> None:
    day = [
        row("ICV1", 0.25, kind="second-source", expected=100),
        *OPEN,
        row("MB1", 0.0, kind="method-blank"),
        row("LCS1", 0.2, kind="control", added_mg=8),
        row("A", 0.2),
        row("D1", 0.2, kind="duplicate", of="A"),
        check("CCV2", 0.2),
        row("OLD", 0.2, report=False, reason="spilled"),
    ]
    got = found(day)
    assert order(got) == "SB2 CCV3 MB2 LCS2 A-1 DUP1 SB3 CCV4"
    by = {step.row.id: step.row for step in got.steps}
    assert (by["LCS2"].sample, by["LCS2"].added_mg, by["DUP1"].of) == ("LCS1", 8, "A")
    after = mended(made(day), got)
    assert held(after) == []
    assert [f.why for f in after.quality if f.rule == "batch" and f.state == "fail"] == []


def test_a_failed_curve_is_said_first_and_its_rows_move_to_the_next() -> None:
    bent = standards(ys=[0.025, 0.02, 0.3, 0.25, 0.5])
    method = {**METHOD, "calibration": {"r": 0.995}}
    day = [*OPEN, row("A", 0.2, calibration="C1"), *CLOSE]
    sheet = made(day, method=method, standard=bent)
    got = reread.plan_rereading(sheet)
    assert got is not None
    assert got.first == "calibrate again first: C1 does not pass"
    assert order(got) == "SB3 CCV3 A-1 SB4 CCV4"
    assert got.steps[2].row.calibration is None
    assert got.steps[2].why == "held: calibration C1 fails"
    whole = edit.apply_all(sheet.run, reread.edits(sheet.run, got))
    again = run(
        [], standard=standards(name="N", first=180, calibration="C2"), calibration=[{"id": "C2", "model": "line"}]
    )
    old = tuple(replace(standard, calibration="C1") for standard in whole.standard)
    two = replace(whole, calibration=(*whole.calibration, *again.calibration), standard=(*old, *again.standard))
    assert held(evaluate(read(two), CLOCK + timedelta(days=1))) == []


def test_a_row_stays_on_its_good_curve_where_the_latest_fails() -> None:
    bent = standards(ys=[0.025, 0.02, 0.3, 0.25, 0.5], calibration="C2", name="N", first=80)
    tables: Table = {
        "method": {**METHOD, "calibration": {"r": 0.995}},
        "calibration": [{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}],
        "standard": [*standards(calibration="C1"), *bent],
    }
    sheet = made([*OPEN, row("A", 0.2), check("CCV2", 0.2)], **tables)
    got = reread.plan_rereading(sheet)
    assert got is not None
    assert (got.first, {step.row.calibration for step in got.steps}) == ("", {"C1"})
    assert held(mended(sheet, got)) == []


def test_a_curve_still_to_be_finished_is_not_read_again() -> None:
    unfinished = [*standards(), {"id": "S9", "concentration": 400}]
    assert reread.plan_rereading(made([*OPEN, row("A", 0.2, calibration="C1"), *CLOSE], standard=unfinished)) is None


def test_a_failed_event_before_unread_rows_is_repeated_at_once() -> None:
    got = found([blank("SB1"), check("CCV1", 0.2), row("A")])
    assert (order(got), got.at, got.superseded) == ("CCV2", 3, ())
    assert got.steps[0].why == "CCV1 failed: what is read next would be held"
    assert reread.plan_rereading(made([blank("SB1"), check("CCV1", 0.2)])) is None
    repeated = [blank("SB1"), check("CCV1", 0.2), row("CCV2", kind="check", expected=100), row("A")]
    assert reread.plan_rereading(made(repeated)) is None


def test_a_reading_to_come_that_replaces_a_held_one_is_opened_too() -> None:
    got = found([*OPEN, row("A", 0.2), check("CCV2", 0.2), row("A9", sample="A")])
    assert (order(got), got.superseded) == ("CCV3", (("A", "A9"),))
    day = [*OPEN, row("A", 0.2), check("CCV2", 0.2), row("A9", sample="A")]
    assert held(mended(made(day), got)) == []


def test_rows_of_two_cells_are_read_between_events_of_their_own() -> None:
    both = [{"id": "C1", "model": "line", "cell_mm": 10}, {"id": "C2", "model": "line", "cell_mm": 50}]
    levels = [*standards(calibration="C1"), *standards(calibration="C2", name="L")]
    cells = [
        *(each | {"cell_mm": mm, "id": f"{each['id']}.{mm}"} for mm in (10, 50) for each in OPEN),
        row("A", 0.2, cell_mm=10),
        row("B", 0.2, cell_mm=50),
        check("CCV8", 0.2) | {"cell_mm": 10},
        check("CCV9", 0.2) | {"cell_mm": 50},
    ]
    sheet = made(cells, calibration=both, standard=levels)
    got = reread.plan_rereading(sheet)
    assert got is not None
    assert [(step.row.id, step.row.cell_mm) for step in got.steps] == [
        *(("SB1", 10), ("CCV1", 10), ("A-1", 10), ("SB2", 10), ("CCV2", 10)),
        *(("SB3", 50), ("CCV3", 50), ("B-1", 50), ("SB4", 50), ("CCV4", 50)),
    ]
    assert held(mended(sheet, got)) == []


# --- any day ----------------------------------------------------------------------------------------------------

KINDS = ["sample", "sample", "sample", "blank", "check", "method-blank", "control", "duplicate"]


@st.composite
def days(draw: st.DrawFn) -> list[Table]:
    rows: list[Table] = [row("A", 0.2)]
    for n, kind in enumerate(draw(st.lists(st.sampled_from(KINDS), max_size=25))):
        fields: Table = {"kind": kind}
        if kind == "check":
            fields["expected"] = 100
        if kind == "blank" and draw(st.booleans()):
            fields["rezeroed"] = True
        if kind == "duplicate":
            fields["of"] = "A"
        if kind == "sample":
            fields |= {"sample": draw(st.sampled_from("ABC")), "silica_gel": draw(st.booleans())}
        good = draw(st.booleans())
        value = {"blank": 0.0 if good else 0.02, "check": 0.25 if good else 0.2}.get(kind, 0.2 if good else 0.7)
        rows.append(row(f"{kind[:2]}{n}", value, **fields))
    return [each | {"readings": []} if n > draw(st.integers(3, 30)) else each for n, each in enumerate(rows)]


@given(days(), st.sampled_from([1, 2, 5, 10]), st.booleans())
@examples(150)
def test_once_read_again_nothing_reported_is_held(day: list[Table], every: int, closing: bool) -> None:  # noqa: FBT001 - drawn
    check_limits = {"every_readings": every, "recovery_percent": [90, 110], "closing": closing, "expected": 100}
    method = {**METHOD, "blank": {"every_readings": every + 1, "absorbance": 0.005}, "check": check_limits}
    sheet = made(day, method=method)
    got = reread.plan_rereading(sheet)
    if got is None:
        assert held(sheet) == []
        return
    ids = [step.row.id for step in got.steps]
    assert len({*ids, *(r.id for r in sheet.rows)}) == len(ids) + len(sheet.rows)
    assert {old for old, _ in got.superseded} == set(held(sheet))
    after = mended(sheet, got)
    passed_over = {r.id for r in sheet.rows[: got.at - 1] if r.state == "unread"}
    assert set(held(after)) <= passed_over
    assert [f for f in after.quality if f.rule.endswith("-interval") and set(ids) & set(f.rows)] == []


@pytest.mark.parametrize(
    ("hours", "said"), [(23.6, "23 h left"), (0.4, "0 h left"), (-0.4, "1 h over"), (-12.0, "12 h over")]
)
def test_hours_are_told_so_that_none_is_promised_that_is_not_left(hours: float, said: str) -> None:
    """24 h left of 23.6, and 0 h over of a time that had run out."""
    step = reread.Step(run([row("A")]).queue[0], "held", "B", (reread.Clock("collection to analysis", hours),))
    told = reread.lines(reread.Rereading((step,), (), 1))
    assert told == [f"A          {said}, collection to analysis; held"]
