"""What is next, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from runsheet import evaluate
from runsheet.run import edit
from runsheet.screen.panes import shown_findings
from runsheet.show import state
from runsheet.work import next_step
from tests.make import Table, at, row, standards
from tests.make import run as made
from tests.review.test_signing import NOW, day, noted

if TYPE_CHECKING:
    from runsheet.run.model import Run


def test_when_all_is_done_the_state_is_said_in_the_words_of_every_page() -> None:
    sheet = evaluate(noted(), NOW)
    step = next_step.next_step(sheet)
    assert step.words == "all read and closed: review and report"
    assert step.why == state.words(sheet)
    assert "1 failure acted on" in step.why


def test_no_blank_closes_a_superseded_row_alone() -> None:
    """The state counted no row to close, and NEXT asked for a blank that one row waits for."""
    method = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "closing": True}}
    gone = row("A", 0.1, report=False, reason="spilt", at=at(60))
    step = next_step.next_step(evaluate(made([gone], method=method), NOW))
    assert "close the batch" not in step.words


def cut_off() -> Run:
    """The soil day as it stood when its third check had failed and nothing was read again."""
    at = next(at for at, row in enumerate(day().queue) if row.id == "SB5")
    rows = (replace(row, report=None, reason=None) if row.id.endswith("T") else row for row in day().queue[: at + 1])
    return replace(day(), queue=tuple(rows))


def answered(run: Run) -> Run:
    for number, finding in enumerate((f for f in evaluate(run, NOW).quality if f.state == "fail"), 1):
        made = {"rule": finding.rule, "rows": list(finding.rows), "taken": "noted", "by": "M. Tarn", "at": NOW}
        run = edit.apply(run, edit.insert_row(run, "action", number, made))
    return run


def test_a_check_that_fails_and_what_it_holds_are_told_until_that_is_answered() -> None:
    held = evaluate(cut_off(), NOW)
    assert any(row.state == "held" and row.kind == "sample" for row in held.rows)
    assert "samples are held" in next_step.next_step(held).words
    after = evaluate(answered(cut_off()), NOW)
    words = next_step.next_step(after).words
    assert any(row.state == "held" for row in after.rows)
    assert ("CCV3" in words, "held" in words) == (False, False)


def test_the_finding_next_speaks_of_is_where_it_points() -> None:
    run = day()
    made = {"rule": "check", "rows": ["CCV3"], "taken": "noted", "by": "M. Tarn", "at": NOW}
    run = edit.apply(run, edit.insert_row(run, "action", 1, made))
    run = edit.apply(run, edit.set_value(run, "method.batch.control_percent", [99, 101]))
    sheet = evaluate(run, NOW)
    step = next_step.next_step(sheet)
    pointed = shown_findings(sheet)[step.row]
    assert (step.pane, pointed.acted_on, pointed.why) == ("quality", False, step.why)
    assert [f.acted_on for f in shown_findings(sheet) if f.state == "fail"][-1]


BOTH = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110]}}
A = row("A", 0.25, at=at(40))


def told(queue: list[Table], **tables: object) -> tuple[str, str]:
    step = next_step.next_step(evaluate(made(queue, **tables), NOW))
    return step.words, step.why


def test_a_blank_that_was_put_right_is_not_to_be_read_again() -> None:
    blank = row("SB", 0.01, kind="blank", at=at(41))
    assert told([A, blank, row("B")], method=BOTH)[0] == "SB fails: put it right and read it again with r"
    assert told([A, blank | {"rezeroed": True}, row("B")], method=BOTH) == ("read B", "1 row left")
    again = {"rezeroed": True, "as_left": 0.01}
    assert told([A, blank | again, row("B")], method=BOTH)[0] == "SB fails: put it right and read it again with r"


def test_why_samples_are_held_is_what_holds_them() -> None:
    bad = standards(ys=[0.9, 0.1, 0.5, 0.2, 0.3])
    words = "1 sample is held: H plans the shortest way to read it again"
    assert told([A], standard=bad) == (words, "calibration C1 fails")
    check = row("CCV", 0.1, kind="check", expected=100, at=at(41))
    again = row("CCV2", 0.25, kind="check", expected=100, at=at(42))
    assert told([A, check, again], method={"check": BOTH["check"]}) == (words, "a blank or check standard failed")


def test_what_waits_for_a_calibration_to_be_finished_is_not_read_again() -> None:
    assert told([A], standard=standards((10,))) == ("finish calibration C1", "line needs 2 levels or more, 1 so far")


def test_nothing_is_closed_while_a_standard_is_to_be_read() -> None:
    more = [{"id": f"T{x}", "calibration": "C2", "concentration": x} for x in (10, 20)]
    first = [each | {"calibration": "C1"} for each in standards()]
    both = [{"id": name, "model": "line"} for name in ("C1", "C2")]
    assert told([A], calibration=both, standard=[*first, *more]) == ("read standard T10, 10 mg/L", "2 to read for C2")


def test_a_calibration_that_fails_comes_before_what_would_be_read_on_it() -> None:
    """Twenty samples read on it would all be held."""
    failing = {"standard": standards(ys=[0.025, 0.0625, 0.125, 0.25, 0.9]), "method": {"calibration": {"r": 0.995}}}
    for queue in ([], [row("A")], [row("A", 0.2), row("B")]):
        words, why = told(queue, **failing)
        assert words == "calibration C1 fails: put it right, or N begins another"
        assert why.startswith("r 0.9")
    assert told([row("A", 0.2)], **failing)[0] == "1 sample is held: H plans the shortest way to read it again"
    acted = [{"rule": "calibration", "rows": ["C1"], "taken": "reported with it", "by": "M. Tarn", "at": at(90)}]
    assert told([row("A")], **failing, action=acted)[0] == "read A"
    assert told([row("A")])[0] == "read A"


def test_another_calibration_that_was_begun_is_read_before_rows_on_one_that_fails() -> None:
    first = [each | {"calibration": "C1"} for each in standards(ys=[0.025, 0.0625, 0.125, 0.25, 0.9])]
    more = [{"id": f"T{x}", "calibration": "C2", "concentration": x} for x in (10, 20)]
    two = {"calibration": [{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}], "standard": [*first, *more]}
    queue = [row("A", 0.2, at=at(40)), row("B")]
    limits = {"calibration": {"r": 0.995}}
    assert told(queue, **two, method=limits) == ("read standard T10, 10 mg/L", "2 to read for C2")
    two["calibration"][1]["cell_mm"] = 50  # of another cell: no row would be read on it
    assert told(queue, **two, method=limits)[0] == "calibration C1 fails: put it right, or N begins another"


def test_next_points_at_the_standard_that_spoils_a_calibration() -> None:
    failing = {"standard": standards(ys=[0.025, 0.0625, 0.125, 0.25, 0.9]), "method": {"calibration": {"r": 0.995}}}
    step = next_step.next_step(evaluate(made([row("A")], **failing), NOW))
    assert (step.pane, step.row) == ("standards", 4)


def test_a_check_standard_that_falls_due_is_called_that() -> None:
    """A check alone might be a setup check."""
    method = {"check": {"recovery_percent": [90, 110], "expected": 100, "every_readings": 1}}
    rows = [row("CCV1", 0.25, kind="check", expected=100, at=at(30)), row("A", 0.1, at=at(31)), row("B")]
    sheet = evaluate(made(rows, method=method), at(32))
    assert next_step.next_step(sheet).words == "insert a check standard"


def test_a_lamp_put_on_again_waits_for_no_standards_that_are_read() -> None:
    warm_ups = [{"check": "warm-up", "started": at(minute)} for minute in (-60, 40)]
    method = {"setup": {"warm_up_minutes": 30}}
    run = made([row("A", 0.1, at=at(31)), row("B")], setup=warm_ups, method=method)
    assert next_step.next_step(evaluate(run, at(50))).why == "everything waits for it"
    cold = made([row("B")], setup=warm_ups[1:], method=method, standard=[{"id": "S1", "concentration": 0}])
    assert next_step.next_step(evaluate(cold, at(50))).why == "then the standards"


def test_a_blank_that_fails_is_not_forgotten_for_a_check_that_passes() -> None:
    """Each row read next would be held by it, and NEXT went on to read them."""
    blank, check = row("SB", 0.02, kind="blank", at=at(30)), row("CCV", 0.27, kind="check", expected=100, at=at(31))
    words = "SB fails: put it right and read it again with r"
    assert told([blank, check, row("A")], method=BOTH)[0] == words
    assert told([blank, check, row("SB2", kind="blank"), row("A")], method=BOTH)[0] == "read SB2, blank"
    right = row("SB2", 0.02, kind="blank", at=at(33))  # as SB was left
    assert told([blank, check, right, row("A")], method=BOTH)[0] == "read A"
    off = row("CCV", 0.35, kind="check", expected=100, at=at(30))
    clean = row("SB", 0.0, kind="blank", at=at(31))
    assert told([off, clean, row("A")], method=BOTH)[0] == "CCV fails: put it right and read it again with r"


def test_a_check_that_is_planned_behind_a_blank_is_not_to_be_read_again_first() -> None:
    off = row("CCV", 0.35, kind="check", expected=100, at=at(30))
    planned = [row("SB2", kind="blank"), row("CCV2", kind="check", expected=100), row("A")]
    assert told([off, *planned], method=BOTH)[0] == "read SB2, blank"


def test_an_event_that_fails_on_another_calibration_holds_nothing_read_next() -> None:
    both = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in (("C1", 10), ("C2", 50))]
    two = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=50)]
    off = row("SB", 0.02, kind="blank", at=at(30), calibration="C1")
    assert told([off, row("A")], calibration=both, standard=two, method=BOTH)[0] == "read A"
    on_c1 = row("A", calibration="C1")
    assert told([off, on_c1], calibration=both, standard=two, method=BOTH)[0].startswith("SB fails")


def test_what_closes_a_row_is_read_on_its_calibration() -> None:
    """A blank on the one read last closes nothing, and NEXT asked for another, and another."""
    both = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in (("C1", 10), ("C2", 50))]
    two = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=50)]
    method = BOTH | {"check": {"recovery_percent": [90, 110], "closing": True}}

    def events(n: int, minute: int, curve: str) -> list[Table]:
        check = row(f"CCV{n}", 0.25, kind="check", expected=100, at=at(minute + 1), calibration=curve)
        return [row(f"SB{n}", 0.0, kind="blank", at=at(minute), calibration=curve), check]

    queue = [*events(1, 30, "C1"), A | {"calibration": "C1"}]
    later = [*events(2, 60, "C2"), row("B", 0.1, at=at(62), calibration="C2"), *events(3, 63, "C2")]
    step = next_step.next_step(evaluate(made([*queue, *later], calibration=both, standard=two, method=method), NOW))
    said = ("close the batch: insert a blank on C1", "1 row waits for it", "blank", "C1")
    assert (step.words, step.why, step.offer, step.on) == said
    closed = [*queue, *later, *events(4, 70, "C1")]
    run = made(closed[:-1], calibration=both, standard=two, method=method)
    assert next_step.next_step(evaluate(run, NOW)).words == "close the batch: insert a check standard on C1"
    run = made(closed, calibration=both, standard=two, method=method)
    assert "close the batch" not in next_step.next_step(evaluate(run, NOW)).words
    run = made(queue, calibration=both, standard=two, method=method)
    assert next_step.next_step(evaluate(run, at(45))).on == "C1"
    alone = made(
        [*events(1, 30, "C1"), A | {"calibration": "C1"}], calibration=both[:1], standard=two[:5], method=method
    )
    assert next_step.next_step(evaluate(alone, NOW)).words == "close the batch: insert a blank"


def test_a_row_that_would_be_held_for_want_of_a_calibration_is_not_read_next() -> None:
    """NEXT said to read it, and it was held."""
    begin = ("there is no calibration: i in the standard table begins one", "what is read without one is held")
    assert told([row("A")], calibration=[], standard=[]) == begin
    assert told([], calibration=[], standard=[]) == begin
    few = ("finish calibration C1", "line needs 2 levels or more, 1 so far")
    assert told([row("A")], standard=standards((10,))) == few
    none = ("finish calibration C1", "line needs 2 levels or more, 0 so far")
    assert told([row("A")], standard=[]) == none
    assert told([row("A")], standard=standards(use=False, reason="clouded")) == none


def test_a_row_of_a_cell_without_a_calibration_asks_for_one() -> None:
    cell = {"calibration": {"cell_mm": 10}}
    words = "no calibration has the cell of A, 50 mm: N begins another"
    assert told([row("A", cell_mm=50)], **cell) == (words, "what is read without one is held")
    both = [{"id": name, "model": "line", "cell_mm": mm} for name, mm in (("C1", 10), ("C2", 50))]
    more = [{"id": f"T{x}", "calibration": "C2", "concentration": x} for x in (10, 20)]
    first = standards(calibration="C1")
    queue = [row("Z", 0.1, at=at(40), cell_mm=10), row("A", cell_mm=50)]
    assert told(queue, calibration=both, standard=[*first, *more]) == ("read standard T10, 10 mg/L", "2 to read for C2")
    assert told([row("A")], calibration=[{"id": "D", "model": "direct"}], standard=[], instrument=SHOWN)[0] == "read A"


SHOWN = {"reads": "concentration", "step": 1}


def zero(reading: float, minute: int) -> Table:
    return {"check": "zero", "readings": [reading], "at": at(minute)}


ZERO = {"setup": {"zero_absorbance": 0.001}}


def test_a_setup_check_that_fails_comes_before_what_would_be_read_on_it() -> None:
    """Six standards and twenty samples were asked for after a zero of 0.02, and each result carried Q."""
    unread = [each | {"readings": []} for each in standards()]
    bad = ("zero fails: put it right; i inserts it again", "off 0 A by 0.02 A, limit 0.001")
    assert told([row("A")], setup=[zero(0.02, 5)], method=ZERO, standard=unread) == bad
    assert told([A, row("B")], setup=[zero(0.02, 50)], method=ZERO) == bad
    twice = [zero(0.02, 50), zero(0.03, 51)]
    assert told([A, row("B")], setup=twice, method=ZERO) == (bad[0], "off 0 A by 0.03 A, limit 0.001")
    pointed = next_step.next_step(evaluate(made([A, row("B")], setup=twice, method=ZERO), NOW))
    assert (pointed.pane, pointed.row) == ("setup", 1)


def test_a_setup_check_is_not_asked_for_again_where_that_is_answered_or_too_late() -> None:
    read_b = ("read B", "1 row left")
    assert told([A, row("B")], setup=[zero(0.02, 50), zero(0, 51)], method=ZERO) == read_b
    assert told([A, row("B")], setup=[zero(0.02, 39)], method=ZERO) == read_b  # A was read on it: a finding by now
    acted = [{"rule": "setup", "rows": ["zero"], "taken": "lamp reseated", "by": "M. Tarn", "at": at(55)}]
    assert told([A, row("B")], setup=[zero(0.02, 50)], method=ZERO, action=acted) == read_b
    again = [zero(0.02, 50), {"check": "zero"}]
    assert told([A, row("B")], setup=again, method=ZERO) == ("setup check: zero", "not read yet")


ICV = row("ICV", 0.3, kind="second-source", expected=100, lot="V-2", at=at(39))
SECOND = {"check": {"recovery_percent": [90, 110], "second_source_percent": [90, 110]}}


def test_a_second_source_that_fails_comes_before_what_would_be_read_on_its_curve() -> None:
    """Its curve is not verified: all that is read on it carries Q."""
    words, why = told([ICV, row("B")], method=SECOND)
    assert words == "ICV fails: put it right and read it again with r"
    assert why == "recovers 120.0 %, limits 90-110"
    again = row("ICV2", kind="second-source", expected=100, lot="V-2")
    assert told([ICV, again, row("B")], method=SECOND) == ("read ICV2, second source", f"ICV fails: {why}")
    good = {**again, "readings": [0.25], "at": at(40)}
    assert told([ICV, good, row("B")], method=SECOND)[0] == "read B"
    acted = [{"rule": "second-source", "rows": ["ICV"], "taken": "old ampoule", "by": "M. Tarn", "at": at(55)}]
    assert told([ICV, row("B")], method=SECOND, action=acted)[0] == "read B"


def test_a_certified_value_that_is_missing_is_asked_for_and_no_other_reading() -> None:
    """It said to put the standard right and to read it again, which would have failed as well."""
    unknown = {k: v for k, v in ICV.items() if k != "expected"}
    limits = {"check": {"recovery_percent": [90, 110]}}
    check = row("CCV", 0.25, kind="check", at=at(40))
    for queue, method, name in (([unknown], SECOND, "ICV"), ([check], limits, "CCV")):
        step = next_step.next_step(evaluate(made([*queue, row("B")], method=method), NOW))
        told_ = (step.pane, step.row, step.words, step.why)
        assert told_ == ("queue", 0, f"give the expected value of {name}", "it is missing, so that it fails")


def test_a_second_source_of_another_calibration_holds_nothing_up() -> None:
    first = [each | {"calibration": "C1"} for each in standards()]
    later = [{**each, "id": f"T{each['id']}", "calibration": "C2", "at": at(45)} for each in standards()]
    both = {"calibration": [{"id": "C1", "model": "line"}, {"id": "C2", "model": "line"}], "standard": [*first, *later]}
    old = {**ICV, "calibration": "C1"}
    assert told([old, row("B")], method=SECOND, **both)[0] == "read B"
    assert told([old, row("B", calibration="C1")], method=SECOND, **both)[0].startswith("ICV fails")


def test_nothing_waits_for_a_lamp_once_all_is_read() -> None:
    """Enter, as NEXT asked, would have put down that the lamp was put on at the end of the day."""
    setup = {"setup": [{"check": "warm-up"}], "method": {"setup": {"warm_up_minutes": 15}}}
    lamp = ("lamp on: press Enter to start the warm-up", "everything waits for it")
    assert told([A, row("B")], **setup) == lamp
    assert told([], **setup) == lamp
    assert told([A], **setup, standard=[*standards(), {"id": "S9", "concentration": 300}]) == lamp
    note = ("note when the lamp was put on, or remove the row", "all is read, nothing waits for a warm-up")
    assert told([A], **setup) == note
    assert told([A], setup=[{"check": "warm-up"}, {"check": "zero"}], method=setup["method"]) == note  # never kept


def test_setup_checks_added_when_all_is_read_wait_for_their_lamp() -> None:
    """The lamp was off at noon, before the afternoon's rows were planned: nothing, it said, waits for it."""
    limits = {"setup": {"warm_up_minutes": 15, "zero_absorbance": 0.001}}
    lamp, morning = {"check": "warm-up"}, zero(0, 20)
    why = "2 setup checks wait for it; all rows are read"
    later = [morning, lamp, {"check": "zero"}, {"check": "dark"}]
    assert told([A], setup=later, method=limits) == ("lamp on: press Enter to start the warm-up", why)
    bad = [{**lamp, "started": at(60)}, zero(0.02, 80), {"check": "dark"}]
    assert told([A], setup=[morning, *bad], method=limits)[0] == "zero fails: put it right; i inserts it again"
    assert "zero" not in told([A], setup=[morning, *bad[:2]], method=limits)[0]  # nothing more is to come


def test_a_sample_that_lost_its_result_is_told_when_all_is_read() -> None:
    """Its reading was superseded by one made void later: all was said to be read, and the run passes."""
    old = A | {"report": False, "reason": "read again as A-1"}
    gone = row("A-1", 0.2, sample="A", at=at(42), void="spilt")
    other = row("B", 0.2, at=at(43))
    words = "all read and closed: review and report"
    assert told([old, gone, other]) == (words, "A has no result; pass, 1 warning")
    assert told([old, row("A-1", 0.2, sample="A", at=at(42)), other])[1] == "pass, 1 warning"
    assert told([old, gone, row("C", 0.2, at=at(44), void="x")])[1].startswith("A C have no result; ")
    part = row("BT", 0.1, sample="B", silica_gel=True, at=at(44), void="gel spilt")
    assert told([old, gone, other, part])[1].startswith("A has no result; no petroleum hydrocarbons of B; ")
    assert told([other, part])[1].startswith("no petroleum hydrocarbons of B; ")


@pytest.mark.parametrize("few_or_falling", [standards((10,)), standards(ys=[0.5, 0.4, 0.3, 0.2, 0.1])])
def test_a_row_of_no_curve_that_rises_is_not_said_to_be_off_one(few_or_falling: list[Table]) -> None:
    limits = {"calibration": {"max_absorbance": 0.8}}
    queue = [row("A", 0.9, calibration="C1", at=at(40))]
    sheet = evaluate(made(queue, standard=few_or_falling, method=limits), NOW)
    assert sheet.rows[0].over == "above the absorbance allowed"
    why = {f.rule: f.why for f in sheet.quality}
    assert why["over-range"] == "reads 0.9 A, above the 0.8 A the method allows, and reported"


def test_a_row_within_the_range_is_not_said_to_be_above_it() -> None:
    """It reads more than the method allows, on standards that go farther."""
    queue = [row("A", 0.85, at=at(40)), row("B", 0.0, at=at(41)), row("D", 0.9, kind="duplicate", of="A", at=at(42))]
    limits = {"calibration": {"max_absorbance": 0.8}, "batch": {"duplicate_rpd_percent": 20}}
    sheet = evaluate(made(queue, standard=standards((10, 50, 100, 200, 400)), method=limits), NOW)
    assert next_step.next_step(sheet).words == "A is above the absorbance allowed: d reads it again diluted 2x"
    why = {f.rule: f.why for f in sheet.quality}
    assert why["carry-over"].startswith("read right after A, which is above the absorbance allowed, with no blank")
    assert why["duplicate"] == "A and D above the absorbance allowed: not judged"
    far = made([row("A", 1.2, at=at(40)), queue[2]], standard=standards((10, 50, 100, 200, 400)), method=limits)
    sheet = evaluate(far, NOW)
    assert next_step.next_step(sheet).words == "A is above the range: d reads it again diluted 3x"
    (why_not,) = (f.why for f in sheet.quality if f.rule == "duplicate")
    assert why_not == "A above the range and D above the absorbance allowed: not judged"


def test_a_row_left_above_the_range_for_a_reason_is_let_go_of() -> None:
    """Its extract was used up, that was noted and the run signed: NEXT still asked to dilute it, not to issue."""
    noted = {"rule": "over-range", "rows": ["A"], "taken": "no extract left", "by": "I. Varga", "at": at(50)}
    queue = [row("A", 0.9, at=at(40)), row("B", 0.8, at=at(41)), row("C", 0.2, at=at(42))]
    assert told(queue)[0] == "A is above the range: d reads it again diluted 4x"
    assert told(queue, action=[noted])[0] == "B is above the range: d reads it again diluted 4x"
    assert told([queue[0], queue[2]], action=[noted])[0] == "all read and closed: review and report"
    assert told([queue[0], row("D")], action=[noted])[0] == "read D"


def test_a_direct_analyser_is_spanned_on_the_highest_standard_used() -> None:
    """That one was left out, and the span was never asked for."""
    left = {"id": "S3", "concentration": 300, "use": False, "reason": "clouded"}
    shown = [{"id": "S1", "concentration": 0, "readings": [0]}, {"id": "S2", "concentration": 200}, left]
    direct = {"calibration": {"model": "direct"}, "instrument": SHOWN, "standard": shown}
    assert told([row("A")], **direct)[0] == "span on and read S2, 200 mg/L"


def test_a_blank_and_a_check_that_are_both_due_are_each_inserted_once() -> None:
    """NEXT asked for a blank before the check and for a check before the blank, for ever."""
    limits = {"blank": {"every_readings": 2}, "check": {"recovery_percent": [90, 110], "every_readings": 2}}
    queue = [row("A", 0.1, at=at(40)), row("B", 0.1, at=at(41)), row("C")]
    blank, check = row("SB", kind="blank"), row("CCV", kind="check", expected=100)
    assert told(queue, method=limits)[0] == "insert a blank"
    assert told([*queue[:2], blank, queue[2]], method=limits)[0] == "insert a check standard"
    assert told([*queue[:2], check, blank, queue[2]], method=limits)[0] == "read CCV, check standard"


def test_what_falls_due_goes_below_what_was_read_although_a_row_was_passed_over() -> None:
    """It went before the row passed over, above what it was to close, and stayed due: one more, and one more."""
    limits = {"check": {"recovery_percent": [90, 110], "every_readings": 2}}
    queue = [row("A"), row("B", 0.1, at=at(40)), row("C", 0.1, at=at(41)), row("D")]
    step = next_step.next_step(evaluate(made(queue, method=limits), NOW))
    assert (step.words, step.row) == ("insert a check standard", 3)
    check = row("CCV", kind="check", expected=100)
    step = next_step.next_step(evaluate(made([*queue[:3], check, queue[3]], method=limits), NOW))
    assert (step.words, step.why, step.row) == ("read CCV, check standard", "check due, 2 of 2 readings", 3)
    read = row("CCV", 0.25, kind="check", expected=100, at=at(42))
    assert told([*queue[:3], read, queue[3]], method=limits)[0] == "read A"


def test_a_blank_that_fails_is_put_right_before_the_check_that_is_computed_from_it() -> None:
    """The check was to be read again, and failed again on the same baseline, for ever."""
    limits = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "every_readings": 1}}
    blank = row("SB", 0.06, kind="blank", at=at(40))
    check = row("CCV", 0.25, kind="check", expected=100, at=at(41))
    queue = [blank, check, row("A", 0.1, at=at(42)), row("B")]
    assert told(queue, method=limits)[0] == "SB fails: put it right and read it again with r"
    words, why = told([*queue[:3], row("SB1", kind="blank"), queue[3]], method=limits)
    assert (words, why[:19]) == ("read SB1, blank", "SB fails: found off")  # and the check that is due after it
    good = row("SB1", 0.06, kind="blank", rezeroed=True, at=at(43))
    assert told([*queue[:3], good, queue[3]], method=limits)[0] == "CCV fails: put it right and read it again with r"


def test_what_r_put_below_a_blank_that_fails_is_read_although_rows_above_are_not() -> None:
    """It asked for r again, and for one more blank, for ever."""
    limits = {"blank": {"absorbance": 0.005}}
    queue = [row("A"), row("B"), row("SB", 0.06, kind="blank", at=at(40)), row("SB1", kind="blank"), row("C")]
    step = next_step.next_step(evaluate(made(queue, method=limits), NOW))
    assert (step.words, step.row) == ("read SB1, blank", 3)
    planned = [*queue[:3], row("C"), row("SB9", kind="blank")]  # the one that is to close the day
    assert told(planned, method=limits)[0] == "SB fails: put it right and read it again with r"


@pytest.mark.parametrize("below", [[], [row("A", 0.1, at=at(41))], [row("B")]])
def test_a_blank_that_fails_is_read_again_before_a_check_above_what_r_put_below_it(below: list[Table]) -> None:
    """It said: read CCV, check standard, because SB fails; the check was computed from what failed."""
    unread = [row("CCV", kind="check", expected=100), row("SB1", kind="blank")]
    failed = row("SB", 0.06, kind="blank", at=at(40))
    for queue in ([failed, *unread, *below], [unread[0], failed, unread[1], *below]):
        words, why = told(queue, method=BOTH)
        assert (words, why[:19]) == ("read SB1, blank", "SB fails: found off")


@pytest.mark.parametrize("method", [{}, {"blank": {"every_minutes": 1000000}}])
def test_a_row_passed_over_is_read_where_no_number_of_readings_is_an_interval(method: Table) -> None:
    """The screen ended in a traceback, at each key."""
    assert told([row("A"), row("B", 0.1, at=at(40))], method=method)[0] == "read A"


def test_a_row_read_ahead_leaves_what_falls_due_before_the_others() -> None:
    limits = {"check": {"recovery_percent": [90, 110], "every_readings": 3}}
    queue = [row("A", 0.1, at=at(40)), row("B", 0.1, at=at(41)), *map(row, "CDE"), row("F", 0.1, at=at(42))]
    step = next_step.next_step(evaluate(made(queue, method=limits), NOW))
    assert (step.words, step.row) == ("insert a check standard", 2)


def test_no_other_calibration_helps_a_row_that_names_one_that_fails() -> None:
    """N began another, and another, and the row was read on none of them."""
    both = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in (("C1", 10), ("C2", 50))]
    bad = standards(ys=[0.025, 0.0625, 0.125, 0.25, 0.9], calibration="C1")
    two = {"calibration": both, "standard": [*bad, *standards(calibration="C2", name="T", first=50)]}
    limits = {"calibration": {"r": 0.995}}
    named = told([row("A", calibration="C1")], **two, method=limits)[0]
    assert named == "calibration C1 fails: put it right, or have A name another"
    cell = told([row("A", cell_mm=10)], **two, method=limits)[0]
    assert cell == "calibration C1 fails: put it right, or N begins another of 10 mm"
