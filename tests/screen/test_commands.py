"""Commands without a running screen, and the session they work on: the run afterwards is looked at."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from runsheet.run import edit, text
from runsheet.run.disk import store
from runsheet.screen import pages
from runsheet.screen.read_only import READ_ONLY, ReadOnlyStore
from runsheet.screen.session import Session
from runsheet.work import next_step
from tests.make import at, document, row, standards
from tests.review.test_signing import NOW as SIGNED
from tests.review.test_signing import noted
from tests.screen.scripted import NOW, Scripted

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from runsheet.run.edit import Edit
    from runsheet.work.step import PaneName


@pytest.fixture
def day(water: Path) -> Iterator[Scripted]:
    made = Scripted(water)
    yield made
    made.session.store.close()


def reading(session: Session, place: int, value: str) -> list[Edit]:
    return [edit.set_value(session.run, f"queue[{place + 1}].readings", [edit.untyped(value)])]


def test_a_session_needs_no_screen() -> None:
    code = "import runsheet.screen.session, runsheet.screen.context, sys; print('textual' in sys.modules)"
    made = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert made.stdout == "False\n"


def test_void_asks_why_and_is_taken_back(day: Scripted) -> None:
    day.go(17)
    day.run("void", " ")
    assert day.prompt is not None
    assert (day.session.run.queue[17].void, day.prompt.trouble) == (None, "a reason is needed")
    assert day.run("void", "spilt").session.run.queue[17].void == "spilt"
    assert day.run("undo").session.run.queue[17].void is None
    assert day.said[-1] == "undone: OS-07 void"


def test_a_row_is_inserted_after_the_present_one_and_asked_about(day: Scripted) -> None:
    day.run("insert", "DUP", "OS-01", "970")
    row = day.session.run.queue[19]
    assert (row.kind, row.of, row.amount, day.place) == ("duplicate", "OS-01", 970, 19)


def test_rows_are_moved_and_removed_after_a_question(day: Scripted) -> None:
    day.run("move_down")
    assert [row.id for row in day.session.run.queue[18:20]] == ["OS-09", "OS-08"]
    assert day.place == 19
    day.run("remove", "no")
    assert len(day.session.run.queue) == 22
    day.run("remove", "yes")
    assert "OS-08" not in [row.id for row in day.session.run.queue]


def test_a_standard_is_left_out_with_a_reason(day: Scripted) -> None:
    day.activate("standards")
    day.go(5)
    day.run("toggle_use", "bubble in the cell")
    assert (day.session.run.standard[5].use, day.session.run.standard[5].reason) == (False, "bubble in the cell")
    assert day.session.sheet.calibrations[0].state == "fail"


def test_a_standard_that_is_used_again_has_no_reason_to_be_left_out(day: Scripted) -> None:
    """The table showed it as used, with the reason beside it."""
    day.activate("standards")
    day.go(5)
    day.run("toggle_use", "bubble in the cell").run("toggle_use")
    if day.prompt is not None:
        day._answer("the next flask")  # noqa: SLF001
    assert (day.session.run.standard[5].use, day.session.run.standard[5].reason) == (True, None)


def test_a_blank_whose_reading_is_taken_out_was_not_zeroed_on_it(day: Scripted) -> None:
    """What is read next on its row was re-zeroed without anyone's doing."""
    place = next(at for at, row in enumerate(day.session.run.queue) if row.id == "SB2")
    assert day.session.run.queue[place].rezeroed
    day.session.commit(day.session.writing("queue", place, "readings", []), "read on another row")
    row = day.session.run.queue[place]
    assert (row.readings, row.at, row.rezeroed, row.as_left) == ((), None, None, None)


def test_a_limit_is_changed_on_its_form(day: Scripted) -> None:
    day.run("limits", "check.recovery_percent", "80 120")
    check = day.session.run.method.check
    assert check is not None
    assert check.recovery_percent == (80, 120)


def test_a_finding_names_its_row_and_takes_an_action(day: Scripted) -> None:
    day.activate("quality")
    named = day.item.rows
    day.run("action", "told the client")
    assert day.session.run.action[0].rows == named
    day.run("jump")
    assert (day.active, day.item.id) == ("queue", named[0])


def test_a_signed_run_is_changed_with_a_reason_only_and_keeps_it(day: Scripted) -> None:
    from runsheet.review import signing

    session = day.session
    session.begin_log()
    assert session.commit([signing.sign(session.run, "A. Person", NOW)]) == ""
    edits = reading(session, 18, "0.112")
    assert session.question(edits) == "This run is signed. Why is it changed?"
    assert session.commit(edits) == "nothing changed: this needs a reason, in words"
    assert session.run.queue[18].readings == ()
    assert session.commit(edits, "read after all") == ""
    assert [each.reason for each in session.run.amendment] == ["read after all"]
    further = reading(session, 18, "0.113")  # no signature stands any more
    assert session.question(further) == "This run was signed, and no signature stands. Why is it changed?"


def test_what_does_not_fit_is_said_and_changes_nothing(day: Scripted) -> None:
    before = day.session.run
    assert "OS-01" in day.session.commit([edit.set_value(before, "queue[19].id", "OS-01")])
    assert day.session.run == before


def test_a_run_that_is_only_looked_at_refuses_everything(water: Path) -> None:
    follower = store.read_only(water)
    assert follower.found.run is not None
    session = Session(ReadOnlyStore(follower, follower.found.run), water, lambda: NOW)
    assert session.commit(reading(session, 18, "0.112")) == READ_ONLY
    assert session.undo() is None
    assert session.settle("ours") == READ_ONLY
    assert session.question(reading(session, 18, "0.112")) == ""


def test_a_check_whose_value_nobody_has_said_is_asked_for(day: Scripted) -> None:
    run = day.session.run
    checks = [at for at, row in enumerate(run.queue, 1) if row.kind == "check"]
    assert (
        day.session.commit([edit.set_value(run, f"queue[{at}].expected", None) for at in checks], "as delivered") == ""
    )
    blank = len(day.session.run.queue)
    day.run("insert_due").run("insert_due")
    made = next(row for row in day.session.run.queue if row.kind == "check" and not row.readings)
    assert (len(day.session.run.queue), made.expected) == (blank + 2, None)
    assert day.prompt is not None
    assert day.prompt.label == f"{made.id}, its certified mg/L:"
    day.prompt.answer("100")
    assert next(row.expected for row in day.session.run.queue if row.id == made.id) == 100


def opened(folder: Path, text: str) -> Scripted:
    path = folder / "run.toml"
    path.write_text(text, encoding="utf-8")
    return Scripted(path)


def signed_day(folder: Path) -> Scripted:
    blanks = [row(name, 0, kind="blank", at=at(minute)) for name, minute in (("BLK1", 30), ("BLK2", 33))]
    rows = [row("A", 0.1, at=at(31)), row("B", 0.1, at=at(32), void="spilt")]
    return opened(folder, document([blanks[0], *rows, blanks[1]])).run("sign", "A. Lyst")


@pytest.mark.parametrize(("command", "place"), [("reread", 1), ("void", 2)])
def test_a_signed_run_is_not_reopened_with_a_reason_nobody_gave(command: str, place: int, tmp_path: Path) -> None:
    day = signed_day(tmp_path)
    day.activate("queue")
    day.go(place)
    run = day.run(command).session.run
    assert run.amendment == ()
    assert day.prompt is not None
    assert day.prompt.label.startswith("This run is signed")
    day._answer("the client asked")  # noqa: SLF001
    assert [each.reason for each in day.session.run.amendment] == ["the client asked"]
    assert day.session.run.queue != run.queue


@pytest.mark.parametrize(
    ("pane", "said"),
    [
        ("queue", "Remove A? What was read is better made void (v). y/n:"),
        ("standards", "Remove S1? What was read is better left out (o). y/n:"),
        ("setup", "Remove dark? y/n:"),
    ],
)
def test_a_removal_names_what_the_table_has_instead(pane: PaneName, said: str, tmp_path: Path) -> None:
    setup = [{"check": "dark", "readings": [0], "at": at(5)}]
    day = opened(tmp_path, document([row("A", 0.1, at=at(31))], setup=setup))
    day.activate(pane)
    prompt = day.run("remove").prompt
    assert prompt is not None
    assert prompt.label == said


@pytest.mark.parametrize(
    ("pane", "place", "said"),
    [
        ("queue", 0, "only one filling: void the row (v), or read it again (r)"),
        ("queue", 1, "B is not read yet"),
        ("standards", 0, "only one filling: leave the standard out (o)"),
    ],
)
def test_what_can_be_done_with_the_only_filling_is_done_by_keys_of_that_table(
    pane: PaneName, place: int, said: str, tmp_path: Path
) -> None:
    day = opened(tmp_path, document([row("A", 0.1, at=at(31)), row("B")]))
    day.activate(pane)
    day.go(place)
    assert day.run("strike").said == [said]


def test_a_blank_that_is_not_read_is_not_re_zeroed(tmp_path: Path) -> None:
    day = opened(tmp_path, document([row("BLK1", kind="blank"), row("A")]))
    day.activate("queue")
    day.go(0)
    run = day.run("rezero").session.run
    assert (day.said, day.prompt, run.queue[0].rezeroed) == (["BLK1 is not read yet"], None, None)


def test_a_void_row_is_not_said_to_be_not_read(tmp_path: Path) -> None:
    day = opened(tmp_path, document([row("A", 0.1, at=at(31), void="spilt"), row("B")]))
    day.activate("queue")
    told: list[str] = []
    for place in (0, 1):
        day.go(place)
        page = day.run("stands_on").page
        assert page is not None
        told += page.texts
    assert told == ["it is void, and stands on nothing", "it is not read, and stands on nothing"]


def test_the_help_explains_the_letters_that_the_tables_print(tmp_path: Path) -> None:
    day = opened(tmp_path, document([row("A", 0.1, dilution=2)], method={"flags": {"D": "dil"}}))
    assert "  dil   diluted" in pages.help_texts(day)


def second_reading(folder: Path) -> Scripted:
    rows = [row("A", 0.1, at=at(31)), row("D", kind="duplicate", of="A"), row("A-1", sample="A")]
    day = opened(folder, document(rows, sample=[{"id": "A", "site": "ditch"}]))
    day.activate("queue")
    day.go(0)
    return day


def test_a_row_renamed_on_its_form_keeps_its_sample_and_says_why(tmp_path: Path) -> None:
    day = second_reading(tmp_path).run("row_form", "A name", "OF-1")
    assert day.prompt is not None
    assert day.prompt.label == "Rename A: A -> OF-1. Why?"
    day._answer("read from the bottle")  # noqa: SLF001
    run = day.session.run
    assert [(each.id, each.of, each.sample) for each in run.queue] == [
        ("OF-1", None, None),
        ("D", "OF-1", None),
        ("A-1", None, "OF-1"),
    ]
    assert [(each.id, each.site) for each in run.sample] == [("OF-1", "ditch")]


def test_a_sample_is_renamed_by_its_row_alone(tmp_path: Path) -> None:
    page = second_reading(tmp_path).run("row_form").page
    assert page is not None
    assert [text.split()[-1] for text in page.texts if text.split()[-1].endswith(".id")] == ["queue[1].id"]


def test_a_reading_typed_as_a_new_row_s_name_is_refused(tmp_path: Path) -> None:
    day = second_reading(tmp_path).run("insert", "      sample", "0.112")
    assert day.prompt is not None
    assert day.prompt.trouble == "not accepted: a decimal number is no name: it may be a reading"
    assert "0.112" not in [each.id for each in day.session.run.queue]


@pytest.mark.parametrize("name", ["void", "reason", "struck_reason"])
def test_a_number_is_no_reason_on_a_form_either(name: str, tmp_path: Path) -> None:
    day = second_reading(tmp_path)
    before = day.session.run
    day.run("row_form", f"queue[1].{name}", "12")
    assert day.prompt is not None
    assert day.prompt.trouble == "not accepted: a number is no reason"
    assert day.session.run == before


@pytest.mark.parametrize("command", ["undo", "redo"])
def test_a_run_that_is_only_looked_at_is_not_said_to_have_nothing_to_undo(command: str, day: Scripted) -> None:
    day.run("void", "spilt")
    day.session.store.close()
    follower = store.read_only(day.session.path)
    assert follower.found.run is not None
    day.session = Session(ReadOnlyStore(follower, follower.found.run), day.session.path, lambda: NOW)
    day.said.clear()
    assert day.run(command).said == [READ_ONLY]


def test_another_calibration_is_said_to_have_the_levels_it_has(tmp_path: Path) -> None:
    """Those of the last one, whichever one's standard the cursor is on."""
    both = [*standards(calibration="C1"), *standards([5, 50], calibration="C2", name="T", first=30)]
    day = opened(tmp_path, document(calibration=[{"id": "C1"}, {"id": "C2"}], standard=both))
    day.activate("standards")
    day.go(0)
    day.run("new_calibration", "", "", "")
    made = [each.concentration for each in day.session.run.standard if each.calibration == "C3"]
    assert made == [5, 50]
    title = next(command.title for command in day.commands if command.name == "new_calibration")
    assert title == "another calibration from the last one's levels: other cell, other lots"


def test_a_form_that_is_looked_at_makes_no_table_of_a_sample_and_asks_a_signed_run_nothing(tmp_path: Path) -> None:
    path = tmp_path / "soil.toml"
    path.write_text(text.write(replace(noted(), sample=())), encoding="utf-8")
    day = Scripted(path, SIGNED)
    day.run("sign", "M. Tarn")
    day.place = next(at for at, row in enumerate(day.session.run.queue) if row.id == "G-1")
    day.active = "queue"
    day.run("row_form")
    assert (day.prompt, day.session.run.sample) == (None, ())
    assert day.session.signed == "signed by M. Tarn"
    day.run("row_form", "sample[1].site", "tank 4", "the site was left out")
    made = day.session.run.sample
    assert [(each.id, each.site) for each in made] == [("G-1", "tank 4")]
    day.run("undo")
    assert day.session.run.sample == ()
    day.session.store.close()


def test_no_form_has_the_name_of_the_log(day: Scripted) -> None:
    day.session.begin_log()
    assert day.session.run.run.log
    day.run("facts")
    assert day.page is not None
    assert any(line.endswith("run.note") for line in day.page.texts)
    assert not any(line.endswith("run.log") for line in day.page.texts)


@pytest.mark.parametrize("answer", ["no", "Yes"])
def test_a_no_is_not_what_verified_a_calibration(answer: str, day: Scripted) -> None:
    day.run("facts", "calibration[1].verified", answer)
    assert day.prompt is not None
    assert day.prompt.trouble == "not accepted: name the run and its second source, or leave it empty"
    assert day.session.run.calibration[0].verified is None


@pytest.mark.parametrize(("reads", "model"), [("absorbance", "line"), ("concentration", "direct")])
def test_the_first_standard_of_a_run_without_a_calibration_begins_one(reads: str, model: str, tmp_path: Path) -> None:
    """The table and N both said that i begins one, and it was refused: a standard names a calibration."""
    made = tmp_path / "run.toml"
    instrument = {"reads": reads, "step": 0.001}
    made.write_text(document([row("A")], calibration=[], standard=[], instrument=instrument), encoding="utf-8")
    day = Scripted(made)
    day.activate("standards")
    assert "i in the standard table begins one" in day.run("new_calibration").said[-1]
    day.run("insert")
    assert [(each.id, each.model) for each in day.session.run.calibration] == [("C1", model)]
    assert [each.id for each in day.session.run.standard] == ["S1"]
    assert day.run("undo").session.run.calibration == ()
    day.session.store.close()


def test_the_first_standard_of_several_calibrations_is_of_the_last_one(tmp_path: Path) -> None:
    """The empty table says that i inserts one, and it was refused: there are 2 calibrations."""
    made = tmp_path / "run.toml"
    both = [{"id": name, "model": "line"} for name in ("C1", "C2")]
    made.write_text(document(calibration=both, standard=[]), encoding="utf-8")
    day = Scripted(made)
    day.activate("standards")
    day.run("insert")
    assert [each.calibration for each in day.session.run.standard] == ["C2"]
    day.session.store.close()


def test_the_blank_that_closes_a_row_names_its_calibration(tmp_path: Path) -> None:
    """It was read on the calibration made last, which closes nothing."""
    both = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in (("C1", 10), ("C2", 50))]
    two = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=50)]
    method = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "closing": True}}
    made = tmp_path / "run.toml"
    queue = [row("A", 0.1, at=at(30), calibration="C1")]
    made.write_text(document(queue, calibration=both, standard=two, method=method), encoding="utf-8")
    day = Scripted(made)
    day.run("insert_due")
    assert [(each.kind, each.calibration) for each in day.session.run.queue[1:]] == [("blank", "C1")]
    day.session.store.close()


def test_the_mean_response_factor_takes_no_other_weighting(tmp_path: Path) -> None:
    """It said `C1: weighting 1/x` of a calibration that stayed weighted 1/x2."""
    made = tmp_path / "run.toml"
    made.write_text(document(calibration={"model": "mean-factor"}), encoding="utf-8")
    day = Scripted(made)
    day.activate("standards")
    assert day.run("weighting").said[-1] == "the mean response factor has its own weighting, 1/x2"
    assert day.session.run.calibration[0].weighting is None
    assert day.run("model").session.run.calibration[0].model == "line-through-zero"
    assert day.run("weighting").session.run.calibration[0].weighting == "1/x"
    day.session.store.close()


@pytest.mark.parametrize("command", ["reread", "dilute"])
def test_a_field_blank_read_again_reports_once(command: str, tmp_path: Path) -> None:
    """Both its readings were reported, which fails a run and cannot be acted on."""
    made = tmp_path / "run.toml"
    made.write_text(document([row("FB", 0.25, kind="field-blank", at=at(40))]), encoding="utf-8")
    day = Scripted(made)
    day.run(command, *(["2"] if command == "dilute" else []))
    old, new = day.session.run.queue
    assert (old.report, old.reason, new.sample) == (False, f"read again as {new.id}", "FB")
    assert day.run("undo").session.run.queue[0].report is None
    day.session.store.close()


def test_what_was_superseded_read_once_more_takes_the_place_of_what_reports_now(tmp_path: Path) -> None:
    made = tmp_path / "run.toml"
    old = row("A", 0.2, at=at(40), report=False, reason="read again as A-1")
    queue = [old, row("A-1", 0.21, sample="A", at=at(42)), row("T", 0.1, sample="A", silica_gel=True, at=at(44))]
    made.write_text(document(queue), encoding="utf-8")
    day = Scripted(made)
    day.go(0)
    rows = {each.id: each for each in day.run("reread").session.run.queue}
    assert rows["A"].reason == "read again as A-1"
    assert (rows["A-1"].report, rows["A-1"].reason) == (False, "read again as A-2")
    assert (rows["T"].report, rows["A-2"].report) == (None, None)
    day.session.store.close()


def test_a_finding_about_one_of_two_zeros_goes_to_that_one(tmp_path: Path) -> None:
    """It went to the last of its kind, which passes."""
    made = tmp_path / "run.toml"
    zeros = [{"check": "zero", "readings": [each], "at": at(minute)} for each, minute in ((0.01, 5), (0.0, 35))]
    method = {"setup": {"zero_absorbance": 0.001}}
    made.write_text(document([row("A", 0.2, at=at(40))], setup=zeros, method=method), encoding="utf-8")
    day = Scripted(made)
    day.activate("quality")
    assert (day.item.rule, day.item.rows, day.item.value) == ("setup", ("zero",), 0.01)
    day.run("jump")
    assert (day.active, day.place) == ("setup", 0)
    day.session.store.close()


def test_no_check_standard_is_inserted_where_the_method_asks_for_none(tmp_path: Path) -> None:
    made = tmp_path / "run.toml"
    made.write_text(document([row("A")], method={"blank": {"absorbance": 0.005}}), encoding="utf-8")
    day = Scripted(made)
    day.run("insert_due").run("insert_due")
    assert [each.kind for each in day.session.run.queue] == ["blank", "blank", "sample"]
    both = {"blank": {"absorbance": 0.005}, "check": {"recovery_percent": [90, 110], "expected": 100}}
    made.with_name("both.toml").write_text(document([row("A")], method=both), encoding="utf-8")
    other = Scripted(made.with_name("both.toml"))
    other.run("insert_due").run("insert_due")
    assert sorted(each.kind for each in other.session.run.queue) == ["blank", "check", "sample"]
    day.session.store.close()
    other.session.store.close()


def test_what_is_inserted_or_read_again_goes_below_what_was_read(tmp_path: Path) -> None:
    """A row passed over took it above what was read before it."""
    made = tmp_path / "run.toml"
    method = {"check": {"recovery_percent": [90, 110], "every_readings": 2, "expected": 100}}
    queue = [row("A"), row("B", 0.1, at=at(40)), row("C", 0.1, at=at(41)), row("D")]
    made.write_text(document(queue, method=method), encoding="utf-8")
    day = Scripted(made)
    assert [each.id for each in day.run("insert_due").session.run.queue] == ["A", "B", "C", "CCV1", "D"]
    day.run("undo").go(1)
    assert [each.id for each in day.run("reread").session.run.queue] == ["A", "B", "C", "B-1", "D"]
    day.session.store.close()


def test_a_check_that_fails_is_read_again_on_its_own_calibration(tmp_path: Path) -> None:
    """r had it read on the one made last, and NEXT asked for r again, for ever."""
    made = tmp_path / "run.toml"
    two = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in (("C1", 10), ("C2", 50))]
    both = [*standards(calibration="C1"), *standards(calibration="C2", name="T", first=45)]
    check = row("CCV", 0.31, kind="check", expected=100, at=at(40))
    method = {"check": {"recovery_percent": [90, 110]}}
    text = document([check, row("A", cell_mm=10)], calibration=two, standard=both, method=method)
    made.write_text(text, encoding="utf-8")
    day = Scripted(made)
    day.go(0)
    assert [(each.id, each.calibration) for each in day.run("reread").session.run.queue] == [
        ("CCV", None), ("CCV1", "C1"), ("A", None),
    ]  # fmt: skip
    day.session.store.close()


def test_a_check_that_fails_is_read_again_below_the_blank_read_since(tmp_path: Path) -> None:
    """It stood above that blank, was computed from the one before, and failed again."""
    made = tmp_path / "run.toml"
    check = row("CCV", 0.31, kind="check", expected=100, at=at(40))
    queue = [check, row("A"), row("B"), row("SB", 0.0, kind="blank", at=at(42))]
    made.write_text(document(queue, method={"check": {"recovery_percent": [90, 110]}}), encoding="utf-8")
    day = Scripted(made)
    day.go(0)
    assert [each.id for each in day.run("reread").session.run.queue] == ["CCV", "A", "B", "SB", "CCV1"]
    day.recompute()
    assert next_step.next_step(day.session.sheet).words == "read CCV1, check standard"
    day.session.store.close()
