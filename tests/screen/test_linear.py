"""A run worked on line by line: a recorded day, questions, and lines nobody should type."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, read
from runsheet.run.disk import files, opening, store
from runsheet.screen import start
from runsheet.screen.linear import LONGEST, Linear
from runsheet.screen.session import Session
from tests.make import at, document, row, standards

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.run.model import Row, Run

NOW = datetime.fromisoformat("2026-03-11T10:53:00+01:00")


class Line:
    """A session spoken with in lines, on a clock that goes on a minute a line."""

    def __init__(self, path: Path, now: datetime = NOW) -> None:
        self.path, self.now, self.told = path, now, list[str]()
        opened = store.open_for_writing(path, "tester", now, clock=lambda: self.now)
        self.linear = Linear(Session(opened, path, lambda: self.now, "tester"), self.told.append)
        self.linear.begin()

    def say(self, *lines: str) -> list[str]:
        """Type lines; what was answered to all of them."""
        self.told.clear()
        for line in lines:
            self.now += timedelta(minutes=1)
            self.linear.line(line)
        return list(self.told)

    @property
    def run(self) -> Run:
        return self.linear.session.run

    def row(self, name: str) -> Row:
        return next(row for row in self.run.queue if row.id == name)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "water.toml"
    made.write_text(demo.text("water-day"), encoding="utf-8")
    return made


@pytest.fixture
def line(path: Path) -> Line:
    return Line(path)


def test_it_opens_where_the_work_is(line: Line) -> None:
    assert line.told[0].startswith("OS-0311")
    assert line.told[-1].startswith("NEXT read OS-08: 4 rows left; blank soon")


def test_a_number_is_the_reading_of_what_is_next_with_its_time(line: Line) -> None:
    told = line.say("0,101")
    assert line.row("OS-08").readings == (Decimal("0.101"),)
    assert line.row("OS-08").at == NOW + timedelta(minutes=1)
    assert told[0].startswith("accepted OS-08: 0.101, at 10:54, result 4.0 mg/L, U 0.21 (k = 3.18), open")
    assert told[-1].startswith("NEXT read OS-09")


def test_after_an_empty_line_a_number_is_the_reading_of_what_that_named(line: Line) -> None:
    told = line.say(":row OS-10", "")
    assert told[-1].startswith("NEXT read OS-08")
    line.say("0.101")
    assert (line.row("OS-08").readings, line.row("OS-10").readings) == ((Decimal("0.101"),), ())


def test_where_next_is_no_reading_it_says_whose_a_number_is(line: Line) -> None:
    """A blank that is due, a check that failed: a number would be neither's."""
    line.now += timedelta(hours=1)
    told = line.say("")
    assert any(each.startswith("DUE blank overdue") for each in told)
    assert told[-1].startswith("NEXT insert a blank, :blank: ")
    assert told[-1].endswith("; a number now is OS-08's reading")
    told = line.say(":check", "0.100")
    assert told[-1].startswith("NEXT CCV3 fails: put it right and read it again")
    assert told[-1].endswith("; a number now is OS-08's reading")
    assert line.say("0.101")[0].startswith("accepted OS-08")


def test_the_recorded_day(line: Line, path: Path) -> None:
    """The rest of the demo's day: a void with its reason, what is due, a dilution, the closing pair, an action."""
    line.say("0.101", ":void bubble in the cell", ":again", "0.099", "0.9")
    over = line.say("?")
    assert any(each.startswith(":dilute") for each in over)
    line.say(":dilute 10", ":blank", "0.001", ":check", "0.250", "0.101")
    while line.linear.session.sheet and any(row.state == "unread" for row in line.linear.session.sheet.rows):
        line.say("0.080")
    told = line.say(":blank", "0.001", ":check", "0,251", ":quit")
    assert line.linear.left == 0
    run, problems = read(path.read_text(encoding="utf-8"))
    assert run is not None
    assert not problems
    assert run == line.run
    rows = {row.id: row for row in run.queue}
    assert (rows["OS-08"].void, rows["OS-08"].readings) == ("bubble in the cell", (Decimal("0.101"),))
    assert rows["OS-08-1"].readings == (Decimal("0.099"),)
    assert rows["OS-09"].readings == (Decimal("0.9"),)
    assert (rows["OS-09"].report, rows["OS-09-1"].dilution) == (False, 10)
    assert [row.kind for row in run.queue[-2:]] == ["blank", "check"]
    assert opening.verify(path) == []
    assert [each for each in told if each.startswith("NOT SAVED")] == []


def test_an_answer_tells_what_it_did_to_the_quality_control(line: Line) -> None:
    told = line.say(":check", "0.100")
    assert any(each.startswith("QC fail: check CCV3: recovers ") for each in told), told
    assert any("fails: put it right" in each for each in told)


def test_what_falls_due_is_told(line: Line) -> None:
    line.now += timedelta(minutes=20)
    assert any(each.startswith("DUE blank overdue") for each in line.say("0.101"))


def test_a_correction_asks_why_and_a_number_is_no_reason(line: Line) -> None:
    line.say("0.101", ":correct 0.111")
    assert line.row("OS-08").readings == (Decimal("0.101"),)
    assert line.say("5")[0].startswith("a number is no answer here")
    assert line.say("?")[0].startswith("signs alone are no answer here")
    line.say("typed wrong")
    assert line.row("OS-08").readings == (Decimal("0.111"),)


def test_an_empty_answer_is_no_reason(line: Line) -> None:
    line.say("0.101", ":correct 0.111", "")
    assert line.row("OS-08").readings == (Decimal("0.101"),)
    line.say(":void", "")
    assert line.row("OS-08").void is None


def test_a_question_can_be_left(line: Line) -> None:
    line.say("0.101")
    before = line.run
    assert line.say(":void", ":escape")[-1] == "nothing changed"
    assert line.run is before


def test_what_was_changed_before_a_question_is_left_is_not_said_to_be_unchanged(line: Line) -> None:
    told = line.say(":limits")
    number = next(each.split()[0] for each in told if each.endswith("method.batch.samples"))
    assert line.say(number, "15")[-1].endswith("(:escape leaves it as set in this run)")
    assert "nothing changed" not in line.say(":escape")
    assert line.run.method.batch is not None
    assert line.run.method.batch.samples == 15


def test_a_reading_no_photometer_gives_asks_why(line: Line) -> None:
    told = line.say("9")
    assert told[0].startswith("OS-08: 9 is no usual absorbance. Why is it right?")
    assert line.row("OS-08").readings == ()
    line.say(":escape", "0.101")
    assert line.row("OS-08").readings == (Decimal("0.101"),)


def test_a_row_that_is_read_takes_no_second_reading_by_a_number(line: Line) -> None:
    told = line.say(":row OS-07", "0.5")
    assert told[-1] == "OS-07 is read already: :correct or :add, then the reading; nothing changed"
    assert line.row("OS-07").readings == (Decimal("0.024"), Decimal("0.025"))


def test_a_row_that_a_person_names_is_read_out_of_turn(line: Line) -> None:
    line.say(":row OS-10", "0.05")
    assert line.row("OS-10").readings == (Decimal("0.05"),)
    line.say("0.06")
    assert line.row("OS-08").readings == (Decimal("0.06"),)


def test_undo_and_redo(line: Line) -> None:
    before = line.run.queue
    line.say("0.101")
    after = line.run.queue
    line.say(":undo")
    assert line.run.queue == before
    line.say(":redo")
    assert line.run.queue == after != before


def test_what_is_done_after_an_undo_is_done_to_the_row_it_brought_back(line: Line) -> None:
    line.say(":row OS-07", ":void bubble in the cell", ":row OS-10")
    assert line.say(":undo")[0].startswith("undone: OS-07")
    line.say(":void bubble in the cell")
    assert (line.row("OS-07").void, line.row("OS-10").void) == ("bubble in the cell", None)


def test_a_page_is_told_and_a_list_is_chosen_from_by_number(line: Line) -> None:
    assert any("net = mean - baseline" in each for each in line.say(":row OS-07", ":why"))
    rows = len(line.run.queue)
    told = line.say(":insert")
    assert told[1].startswith("1  ")
    assert line.say("99")[0].startswith("a number from 1 to ")
    line.say("2")
    assert len(line.run.queue) == rows + 1


def test_an_action_is_noted_on_a_finding_chosen_from_those_that_fail(line: Line) -> None:
    line.say(":check", "0.100")
    told = line.say(":action")
    at = next(each.split()[0] for each in told if "check CCV3" in each)
    line.say(at, "cell cleaned, read again")
    assert [action.taken for action in line.run.action][-1] == "cell cleaned, read again"


def test_every_command_that_is_listed_runs_and_none_raises(path: Path) -> None:
    line = Line(path)
    listed = [each.split()[0] for each in line.say("?") if each.startswith(":")]
    assert len(listed) > 40
    for name in listed:
        if name not in (":quit", ":issue"):
            line.say(name, ":escape")
            assert line.linear.left is None


HOSTILE = [
    "hello", "0.1.2", "0x10", "1e5", "nan", "inf", "-", ".", ",", "+", "\u0661\u0662", "0.1 V", ":", ":nonsense",
    ": undo all", ":escape", ":row", ":row nothing", ":row \u202e", "a\x1b[2Jb", "\x00", "0\x080.5", "9" * 5000,
    "x" * (LONGEST + 1),
    "::quit", "?quit", "'; DROP TABLE run", ":__class__", ":correct", ":add", ":start",
    "\udcff0.1", "0.1\u2028", ":correct x",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=ascii)
def test_anything_else_is_told_and_changes_nothing(text: str, line: Line) -> None:
    line.say(":row OS-08" if text.startswith(":correct") else "")
    before = line.run
    told = line.say(text)
    assert line.run is before
    assert told
    assert all(each.isprintable() for each in told)


@pytest.mark.parametrize("seed", range(6))
def test_no_lines_whatever_end_it_and_the_disk_has_all_that_was_taken(seed: int, path: Path) -> None:
    chance, line = random.Random(seed), Line(path)  # noqa: S311 - a repeatable choice
    names = [each.split()[0] for each in line.say("?") if each.startswith(":")]
    names = [name for name in names if name not in (":quit", ":issue", ":write_report")]
    words = [
        *HOSTILE,
        "0.1",
        "0,25",
        "0.001 0.002",
        "y",
        "1",
        "2",
        "7",
        "because of a bubble",
        "",
        ":row SB2",
        ":row OS-03",
    ]
    for _ in range(120):
        line.say(chance.choice(names if chance.random() < 0.4 else words))
    line.linear.leave()
    run, _ = read(path.read_text(encoding="utf-8"))
    assert run == line.run
    assert opening.verify(path) == []


def typed(path: Path, data: bytes) -> subprocess.CompletedProcess[bytes]:
    words = [sys.executable, "-m", "runsheet", "type", str(path)]
    return subprocess.run(
        words, input=data, capture_output=True, check=False, timeout=60, env=os.environ | {"TERM": "dumb"}
    )


@pytest.mark.parametrize("end", [b"", b"\n", b":quit\n"])
def test_the_end_of_the_input_ends_it_and_what_was_taken_is_kept(end: bytes, path: Path) -> None:
    done = typed(path, b"\xff\xfe\n0.101" + (b"\n" + end if end else b""))
    told = done.stdout.decode("utf-8")
    assert (done.returncode, done.stderr) == (0, b"")
    assert "accepted OS-08: 0.101" in told
    assert "\x1b" not in told
    assert "0.101" in path.read_text(encoding="utf-8")
    assert opening.verify(path) == []
    assert not list(path.parent.glob(".*.lock"))


def test_the_end_of_the_input_at_a_question_changes_nothing(path: Path) -> None:
    before = path.read_bytes()
    done = typed(path, b"9\n")
    assert done.returncode == 0
    assert b"no usual absorbance" in done.stdout
    assert path.read_bytes() == before


def test_a_run_that_is_open_elsewhere_is_refused(line: Line, path: Path) -> None:
    done = typed(path, b"0.5\n")
    assert (done.returncode, done.stdout) == (2, b"")
    assert b"has it open; nothing was changed" in done.stderr
    assert line.row("OS-08").readings == ()


def test_it_loads_no_screen(path: Path) -> None:
    code = (
        f"import sys; from runsheet.command.main import main; main(['type', {str(path)!r}])\n"
        "print([name for name in sys.modules if name.startswith('textual')])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], input=b"0.101\n:void bubble\n:why\n", capture_output=True, check=True, timeout=60
    )
    assert done.stdout.decode().splitlines()[-1] == "[]"


def test_what_is_wrong_with_the_laboratory_file_is_said_at_the_beginning(path: Path) -> None:
    path.with_name("laboratory.toml").write_text("[laboratory]\ndilutions = [0.5]\n", encoding="utf-8")
    wrong = "laboratory.toml: laboratory.dilutions[1]: line 2: expected a number of at least 1, found 0.5"
    assert Line(path).told.count(wrong) == 1


def test_what_is_unwise_in_the_document_is_said_at_the_beginning(tmp_path: Path) -> None:
    """Only the commands told that an amount counts and what the bottle weighs does not."""
    made = tmp_path / "run.toml"
    twice = row("A", 0.25, full_g=1900, empty_g=900)
    words = "A amount: is given and the bottle is weighed too: amount is used (queue[1].amount)"
    made.write_text(document([twice]), encoding="utf-8")
    assert Line(made).told.count(words) == 1
    made = tmp_path / "two.toml"
    made.write_text(document([twice, row("B", 0.3, report=False)]), encoding="utf-8")
    assert Line(made).told.count(f"{words}; and 1 more warning: runsheet check lists them") == 1


def test_one_entry_that_came_back_is_one(path: Path) -> None:
    line = Line(path)
    line.say("0.112")
    line.linear.session.store.close()
    before = path.read_bytes()
    line = Line(path)
    line.say(":row OS-07", ":note clear")
    line.linear.session.store.close()
    path.write_bytes(before)
    again = Line(path).told
    assert [each for each in again if "came back" in each] == ["1 entry came back from the log"]


def test_a_plan_is_done_by_a_yes_alone_and_not_by_a_number_that_may_be_a_reading(path: Path) -> None:
    line = Line(path)
    line.say(":blank", "0.112")  # found off: what is before it is held
    before = [row.id for row in line.run.queue]
    asked = line.say(":repeat_held")
    assert asked[-1] == "y does all of this, :escape nothing:"
    assert line.say("0.101", "3")[-1] == "y does all of this, :escape nothing"
    assert [row.id for row in line.run.queue] == before
    line.say("y")
    assert len(line.run.queue) > len(before)


@pytest.fixture
def one_left(tmp_path: Path) -> Path:
    """A run whose last standard is not read, above a blank and a sample that are not either."""
    last = {key: each for key, each in standards()[-1].items() if key not in ("readings", "at")}
    made = tmp_path / "one-left.toml"
    made.write_text(document([row("BLK1", kind="blank"), row("A")], standard=[*standards()[:-1], last]))
    return made


ROW_FIRST = "is about a row of the {}: :row and its name first; nothing changed"


@pytest.mark.parametrize("typed", [":void bubble in the cell", ":rezero", ":stands_on", ":v spilt"])
def test_a_command_about_a_row_is_not_done_to_the_first_row_of_another_table(typed: str, one_left: Path) -> None:
    """Typed about a standard that was read, it was taken as meant for the first row of the queue."""
    line = Line(one_left)
    line.say("0.5")
    queue = line.run.queue
    assert line.say(typed) == [f"{typed.split(maxsplit=1)[0]} {ROW_FIRST.format('sample queue')}"]
    assert line.run.queue == queue
    line.say(":row BLK1", ":void spilt")
    assert line.row("BLK1").void == "spilt"


@pytest.mark.parametrize("typed", [":toggle_use spilt", ":model", ":w"])
def test_nor_is_one_about_a_standard(typed: str, one_left: Path) -> None:
    line = Line(one_left)
    line.say("0.5", "0.001")
    run = line.run
    assert line.say(typed) == [f"{typed.split(maxsplit=1)[0]} {ROW_FIRST.format('standard table')}"]
    assert line.run == run


def test_what_next_names_is_still_read_again_from_another_table(path: Path) -> None:
    line = Line(path)
    line.say(":check", "0.100", ":row S1", "")
    assert line.told[-1].startswith("NEXT CCV3 fails: put it right and read it again with r")
    line.say(":r")
    assert next(each.kind for each in line.run.queue if not each.readings) == "check"


def test_the_first_row_of_an_empty_queue_is_inserted_into_the_queue(tmp_path: Path) -> None:
    """The cursor is still on the standard read last, where i inserts another standard."""
    made = tmp_path / "empty.toml"
    last = {key: each for key, each in standards()[-1].items() if key not in ("readings", "at")}
    made.write_text(document(standard=[*standards()[:-1], last]))
    line = Line(made)
    assert line.say("0.5")[-1].startswith("NEXT plan the queue: insert the first row with i")
    line.say(":i", "1", "F-1", "1000")
    assert (len(line.run.standard), [each.id for each in line.run.queue]) == (5, ["F-1"])


def test_the_action_that_next_asks_for_is_noted_by_the_word_it_names(tmp_path: Path) -> None:
    """In the queue t is the note on a row."""
    made = tmp_path / "soil.toml"
    made.write_text(demo.text("soil-day"))
    line = Line(made)
    line.say(f":row {line.run.queue[0].id}", ":note drift seen")
    told, actions, run = line.told[-1], len(line.run.action), line.run
    assert told.startswith("NEXT 1 finding fails: ")
    word = next(each for each in told.split() if each == "t" or each.startswith(":"))
    line.say(f":{word.lstrip(':')}", "1", "cell cleaned")
    assert (line.run.queue, len(line.run.action)) == (run.queue, actions + 1)


def test_a_warm_up_that_runs_is_not_said_to_be_begun_by_start(tmp_path: Path) -> None:
    made = tmp_path / "cold.toml"
    method = {"setup": {"warm_up_minutes": 30}}
    made.write_text(document([row("A")], standard=[], setup=[{"check": "warm-up"}], method=method))
    line = Line(made)
    line.say(":row warm-up")
    assert line.say("0.1") == ["the warm-up has no reading: :start begins it; nothing changed"]
    line.say(":start", ":row warm-up")
    assert line.say("0.1") == ["the warm-up has no reading: 28 min of 30 left; nothing changed"]


def test_a_row_that_was_read_again_diluted_is_offered_no_dilution(tmp_path: Path) -> None:
    made = tmp_path / "diluted.toml"
    high = row("A", 0.9, at=at(31))
    made.write_text(document([high]))
    assert Line(made).say(":row A")[0].endswith("above the range: :dilute offers 5x")
    again = row("A-1", 0.2, sample="A", dilution=5, at=at(32))
    made = tmp_path / "diluted-again.toml"
    made.write_text(document([high | {"report": False, "reason": "read again as A-1"}, again]))
    assert "dilute" not in Line(made).say(":row A")[0]


@pytest.mark.parametrize(
    ("typed", "named"), [(":n", ":next"), (":a 0.1", ":add"), (":/", ":row"), (":go_next", ":next")]
)
def test_what_has_another_name_here_is_not_said_to_be_for_the_screen_only(typed: str, named: str, line: Line) -> None:
    assert line.say(typed)[0].endswith(f"is {named} here; nothing changed")


def test_a_void_row_has_no_result(line: Line) -> None:
    told = line.say("0.101", ":void bubble in the cell")
    assert any(each.startswith("OS-08: 0.101, at ") and each.endswith(", void") for each in told)
    assert not any("result void" in each for each in told)


def test_a_number_where_no_standard_is_goes_to_the_row_that_is_named(tmp_path: Path) -> None:
    """NEXT is about a standard that is not there."""
    made = tmp_path / "run.toml"
    made.write_text(document([row("A")], standard=[]), encoding="utf-8")
    line = Line(made)
    assert line.say("")[-1].endswith("a number now is A's reading")
    line.say("0.25")
    assert [str(reading) for reading in line.run.queue[0].readings] == ["0.25"]
    line.linear.session.store.close()


def test_a_number_is_the_reading_of_the_check_that_next_names(tmp_path: Path) -> None:
    """It was that of the row passed over above."""
    made = tmp_path / "run.toml"
    method = {"check": {"recovery_percent": [90, 110], "every_readings": 2}}
    read = [row(name, 0.1, at=at(minute)) for name, minute in (("B", 40), ("C", 41))]
    queue = [row("A"), *read, row("CCV", kind="check", expected=100), row("D")]
    made.write_text(document(queue, method=method), encoding="utf-8")
    line = Line(made)
    assert "NEXT read CCV, check standard" in line.say("")[-1]
    line.say("0.25")
    assert [each.id for each in line.run.queue if each.readings] == ["B", "C", "CCV"]
    line.linear.session.store.close()


def left_elsewhere(path: Path, heartbeat: datetime) -> None:
    """Write the lock of somebody on another machine."""
    since = datetime(2026, 3, 11, 9, 5, tzinfo=UTC).isoformat()
    note = {"host": "bench-2", "pid": 1, "user": "varga", "since": since, "machine": "another"}
    files.lock_of(path).write_text(json.dumps(note | {"heartbeat": heartbeat.isoformat()}), encoding="utf-8")


@pytest.mark.parametrize(("answer", "code"), [(b"y", 0), (b"n", 2), (b"0.101", 2)])
def test_a_lock_left_behind_is_taken_over_where_the_first_line_says_so(path: Path, answer: bytes, code: int) -> None:
    """It was refused, and nothing line by line could take it over."""
    left_elsewhere(path, datetime(2026, 3, 11, 9, 30, tzinfo=UTC))
    done = typed(path, answer + b"\n0.102\n")
    told = done.stdout.decode("utf-8")
    assert "its last sign of life was at 2026-03-11T09:30:00+00:00\nTake it over and work on this run? y/n:\n" in told
    assert done.returncode == code
    assert ("accepted OS-08: 0.102" in told, files.lock_of(path).exists()) == (code == 0, code != 0)


def test_a_holder_who_comes_back_while_it_is_asked_keeps_the_lock(path: Path) -> None:
    """The answer y ended in a traceback."""
    left_elsewhere(path, datetime(2026, 3, 11, 9, 30, tzinfo=UTC))

    def ask(_words: str) -> bool:
        left_elsewhere(path, datetime.now(UTC))
        return True

    with pytest.raises(store.LockedError, match="varga opened it on bench-2"):
        start.for_writing(path, ask)


def test_what_failed_before_an_entry_is_not_told_as_its_doing(tmp_path: Path) -> None:
    """A calibration that fails and warns had its failure told again at each entry: one verdict hid the other."""
    made = tmp_path / "run.toml"
    wrong = standards(ys=[0.01, 0.2, 0.2, 0.4, 0.8])
    curve = {"id": "C1", "cell_mm": 10, "model": "quadratic"}
    limits = {"calibration": {"level_error_percent": 10}}
    made.write_text(
        document([row("A"), row("B")], calibration=[curve], standard=wrong, method=limits), encoding="utf-8"
    )
    line = Line(made)
    found = [f.state for f in line.linear.session.sheet.quality if f.rule == "calibration"]
    assert "fail" in found
    assert "warn" in found
    assert not [each for each in line.say(":row A", "0.25") if "calibration" in each and each.startswith("QC")]
    line.linear.session.store.close()


def test_a_row_that_waited_to_be_read_again_in_vain_reports_again(line: Line) -> None:
    """It stayed superseded, read again as a row that was removed: the sample had no result and nothing said so."""
    told = line.say(":row OS-01", ":r", ":row OS-01-1", ":remove")
    assert told[-1].startswith("Remove OS-01-1? OS-01 reports again.")
    line.say("y")
    assert "OS-01-1" not in [row.id for row in line.run.queue]
    assert (line.row("OS-01").report, line.row("OS-01").reason) == (None, None)
    line.say(":undo")
    assert (line.row("OS-01").report, line.row("OS-01").reason) == (False, "read again as OS-01-1")


def test_what_reads_a_row_again_has_its_new_name_there_too(line: Line) -> None:
    line.say(":row OS-01", ":r")
    session = line.linear.session
    place = next(at for at, row in enumerate(line.run.queue) if row.id == "OS-01-1")
    session.commit(session.writing("queue", place, "id", "OS-01 B"))
    assert line.row("OS-01").reason == "read again as OS-01 B"


def test_a_removed_row_that_was_read_again_itself_gives_no_place_back(line: Line) -> None:
    """Two rows of the sample would report: the first one is read again as the last."""
    line.say(":row OS-01", ":r", ":row OS-01-1", "0.113", ":row OS-01-1", ":r", ":row OS-01-1")
    assert "report" not in line.say(":remove")[-1]
    line.say("y")
    assert (line.row("OS-01").report, line.row("OS-01").reason) == (False, "read again as OS-01-2")
    assert line.row("OS-01-2").report is None
