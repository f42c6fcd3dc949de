"""Lines of a photometer at the bench: proposed, waiting, taken, typed over, thrown away; what the log keeps of each."""

from __future__ import annotations

import sys
from datetime import timedelta
from typing import TYPE_CHECKING

import pytest

from runsheet.port.feed import Feed, Line
from runsheet.port.named import Port
from runsheet.run.disk import files, log, opening
from runsheet.screen.bench import Bench
from runsheet.screen.page import Page
from runsheet.screen.read_only import ReadOnlyStore
from runsheet.screen.session import Session
from runsheet.screen.style import Look
from tests.screen.driving import NOW, Drive, character, typed

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime
    from pathlib import Path

    from runsheet.run.disk.log import Entry

PORT = "tcp:192.0.2.7:4001"
"""An address kept for documents: nobody is there, and the feed is never started."""


class Wired(Drive):
    """A screen with a photometer, whose lines the test sends."""

    def __init__(self, path: Path, **more: object) -> None:
        """Be connected."""
        super().__init__(path, **more)  # type: ignore[arg-type]
        self.receiving = self.bench.receiving
        self.receiving.ticks = lambda: self.moment
        self.receiving.feed = Feed(Port(PORT, host="192.0.2.7", number=4001), lambda: self.now, lambda: None)

    def sent(self, raw: str, at: datetime | None = None) -> None:
        """Have a line come, and the time pass until it is looked at."""
        self.receiving.take(Line(raw, at or self.now))
        self.pause()

    def received(self, raw: str, *names: str) -> None:
        """Have a line come, press keys, and Enter."""
        self.sent(raw)
        self.press(*names, "enter")

    def pause(self) -> None:
        """Let the time pass that keeps a proposal away from a key."""
        self.moment += 1
        self.receiving.look(fresh=True)

    def press(self, *names: str) -> None:
        """Press keys at a person's pace."""
        from textual import events

        for name in names:
            self.moment += 1
            key = events.Key(name, character(name))
            key.time = self.moment
            self.bench.on_key(key)
            self.bench.release()

    @property
    def proposed(self) -> str:
        """What stands in the cell as a proposal."""
        return self.bench.grid.proposal


def work(path: Path, do: Callable[[Wired], None]) -> Wired:
    drive = Wired(path)

    def all_of_it(_: Drive) -> None:
        drive.pause()
        do(drive)

    drive.run(then=all_of_it)
    return drive


def read(drive: Drive) -> dict[str, list[str]]:
    return {row.id: [str(value) for value in row.readings] for row in drive.document.queue[18:] if row.readings}


def logged(path: Path) -> list[Entry]:
    """The log's entries of readings; the log is whole."""
    assert [problem for problem in opening.verify(path) if problem.level == "error"] == []
    found = log.parse(files.log_of(path).read_bytes()).steps if files.log_of(path).exists() else ()
    return [entry for step in found for entry in step.entries if entry.path.endswith(".readings")]


# --- a proposal -----------------------------------------------------------------------------------------------------


def test_a_line_is_proposed_and_enter_takes_it(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("ABS 0.112 A")
        assert drive.proposed == "0.112?"
        assert "0.112 came 10:52:00, 4.5 mg/L" in drive.screen()[-3]
        assert drive.document.queue[18].readings == ()
        drive.press("enter")
        assert drive.proposed == ""
        assert drive.bench.item.id == "OS-09"

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_its_time_is_that_of_arrival_and_the_log_has_port_and_line(water: Path) -> None:
    came = NOW - timedelta(minutes=3)

    def do(drive: Wired) -> None:
        drive.sent("  0.112 A", came)
        drive.press("enter")

    drive = work(water, do)
    assert drive.document.queue[18].at == came
    (entry,) = logged(water)
    assert (entry.port, entry.raw, entry.entered) == (PORT, "  0.112 A", log.RECEIVED)
    assert any(f"received from {PORT}:   0.112 A" in line for line in log.lines(files.log_of(water).read_bytes()))


def test_a_reading_that_is_typed_has_no_port(water: Path) -> None:
    Drive(water).run(typed("0.112"))
    (entry,) = logged(water)
    assert (entry.port, entry.raw, entry.entered) == (None, None, None)


def test_the_raw_line_is_part_of_the_chain(water: Path) -> None:
    work(water, lambda drive: drive.received("0.112"))
    kept = files.log_of(water)
    for old, new in ((b'"raw": "0.112"', b'"raw": "0.113"'), (b'"entered": "received"', b'"entered": "typed"')):
        data = kept.read_bytes()
        assert old in data
        kept.write_bytes(data.replace(old, new))
        assert [problem for problem in opening.verify(water) if problem.level == "error"]
        kept.write_bytes(data)


def test_a_reading_typed_in_its_place_is_typed_and_the_log_has_both(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press(*typed("0.100"))
        drive.sent("0.230")
        drive.press("e", "backspace", "1", "enter")

    drive = work(water, do)
    assert read(drive) == {"OS-08": ["0.100"], "OS-09": ["0.231"]}
    assert [(each.raw, each.entered) for each in logged(water)] == [("0.112", log.TYPED), ("0.230", log.TYPED)]
    assert drive.document.queue[18].at == NOW
    assert any(
        "typed, in the place of what was received" in line for line in log.lines(files.log_of(water).read_bytes())
    )


def test_one_digit_typed_is_typed_also_where_the_photometer_sent_just_that(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0")
        drive.press("0", "down")

    assert read(work(water, do)) == {"OS-08": ["0"]}
    assert [(each.raw, each.entered) for each in logged(water)] == [("0", log.TYPED)]


def test_edited_in_place_and_left_as_it_was_it_is_received(water: Path) -> None:
    drive = work(water, lambda drive: drive.received("0.112", "e"))
    assert read(drive) == {"OS-08": ["0.112"]}
    assert [each.entered for each in logged(water)] == [log.RECEIVED]


def test_a_further_reading_is_typed_and_no_key_makes_the_proposal_one(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("a", "shift+tab")

    assert read(work(water, do)) == {}


@pytest.mark.parametrize("name", ["tab", "shift+tab", "up", "down"])
def test_opened_in_place_it_is_taken_by_enter_only(name: str, water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("e", name)
        assert drive.bench.grid.entry is None

    assert read(work(water, do)) == {}


def test_digits_stay_as_they_came(water: Path) -> None:
    assert read(work(water, lambda drive: drive.received("0.130"))) == {"OS-08": ["0.130"]}


@pytest.mark.parametrize("raw", ["ready", "ERR 5", "0.1 0.2", "", "\\xff\x00", "98.2 %T A"])
def test_what_is_no_reading_is_shown_and_not_taken(raw: str, water: Path) -> None:
    before = water.read_bytes()

    def do(drive: Wired) -> None:
        drive.sent(raw)
        assert drive.proposed == ""
        assert drive.bench.message.startswith("not taken, ")
        drive.press("enter")

    work(water, do)
    assert water.read_bytes() == before


def test_a_line_in_another_unit_is_shown_and_enter_does_not_take_it(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("98.2 %T")
        drive.press("enter")
        assert drive.bench.message == (
            "not taken. It is in %T, this cell in A: type the reading, or Escape throws this away"
        )

    assert read(work(water, do)) == {}


def test_escape_that_a_slow_line_brings_with_enter_throws_it_away(water: Path) -> None:
    """Nothing is typed or asked then, and yet there is something to leave."""

    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("alt+enter")
        assert drive.proposed == ""

    assert read(work(water, do)) == {}


def test_an_unusual_one_is_asked_about_and_escape_leaves_it(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("98.2")
        drive.press("enter")
        assert drive.bench.prompt is not None
        assert "98.2 is no usual absorbance" in drive.bench.prompt.label
        drive.press("escape", "escape")
        assert drive.bench.grid.entry is None
        drive.pause()
        assert drive.proposed == "98.2?"
        drive.press("escape")
        assert drive.proposed == ""
        drive.press("enter")

    assert read(work(water, do)) == {}


def test_letters_stay_commands_and_a_proposal_is_no_entry(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("b")
        assert drive.bench.grid.entry is None

    assert len(work(water, do).document.queue) == 23


def test_nothing_counts_before_enter(water: Path) -> None:
    def do(drive: Wired) -> None:
        before = drive.sheet
        drive.sent("0.112")
        assert drive.bench.session.sheet is before
        assert drive.bench.session.store.drafted is None

    work(water, do)
    assert not files.log_of(water).exists()
    again = Drive(water)
    assert again.store.drafted is None
    again.store.close()


# --- waiting --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "before",
    [["slash"], ["question_mark"], ["0", "full_stop", "1"], ["up"], ["left"], ["P"], ["g"], ["x"], ["f5"], ["l"]],
    ids=lambda names: names[0],
)
def test_a_line_waits_while_a_question_page_entry_or_another_cell_is_open(before: list[str], water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press(*before)
        bench = drive.bench
        entry = bench.grid.entry.text if bench.grid.entry else None
        prompt = bench.prompt.line.text if bench.prompt else None
        drive.sent("0.112")
        drive.sent("0.113")
        assert (bench.grid.entry.text if bench.grid.entry else None) == entry
        assert (bench.prompt.line.text if bench.prompt else None) == prompt
        assert drive.proposed == ""
        assert "photometer away since 10:52, 2 waiting" in drive.screen()[0]
        for _ in range(3):
            if bench.prompt or bench.grid.entry or bench.query_one(Page).content:
                drive.press("escape")
        drive.press("f4", "n")
        bench.go(18)
        drive.pause()
        assert drive.proposed == "0.113?"
        assert "(1 older: l)" in bench.receiving.words

    assert read(work(water, do)) == {}


def test_a_line_older_than_the_last_reading_is_asked_about(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("0", "full_stop", "1")
        drive.sent("0.230")
        drive.now += timedelta(seconds=5)
        drive.press("enter")
        drive.pause()
        assert drive.proposed == "0.230?"
        drive.press("enter")
        assert drive.bench.message == (
            "0.230 came 10:52:00. That was before OS-08 was accepted: is it this row's? "
            "Enter takes it, Escape goes back"
        )
        drive.press("enter")

    assert read(work(water, do)) == {"OS-08": ["0.1"], "OS-09": ["0.230"]}


def test_a_line_shown_at_another_row_is_asked_about(water: Path) -> None:
    """The blank that is due is inserted while a sample's reading is proposed."""

    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("b")
        drive.pause()
        assert (drive.bench.item.kind, drive.proposed) == ("blank", "0.112?")
        assert "It came at OS-08: is it this row's?" in drive.screen()[-3]
        drive.press("enter")
        assert drive.bench.editing.asks
        drive.press("escape")
        drive.bench.go(19)
        drive.pause()
        drive.press("enter")

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_an_enter_struck_twice_takes_no_line_for_the_next_row(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("enter")
        drive.receiving.take(Line("0.113", drive.now))
        drive.receiving.look(fresh=True)
        drive.press("enter")
        assert drive.bench.message == "nothing is typed yet; n goes to the next thing to do"
        drive.pause()
        assert drive.proposed == "0.113?"

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_the_newest_line_is_proposed_and_the_list_has_the_others(water: Path) -> None:
    def do(drive: Wired) -> None:
        for raw in ("0.111", "0.112", "noise", "0.113"):
            drive.sent(raw)
        assert drive.proposed == "0.113?"
        drive.press("l")
        content = drive.bench.query_one(Page).content
        assert content is not None
        assert [text.split(maxsplit=1)[1] for text in content.texts[1:]] == [
            "0.113  waits: 0.113",
            "-  not taken (no number): noise",
            "0.112  passed over for a newer one: 0.112",
            "0.111  passed over for a newer one: 0.111",
        ]
        drive.press("down", "down", "down", "enter")
        drive.pause()
        assert drive.proposed == "0.112?"
        drive.press("enter", "l", "down", "enter")

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_all_that_wait_can_be_thrown_away(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("up")
        drive.sent("0.112")
        drive.sent("0.113")
        drive.press("l", "enter")
        assert drive.bench.message == "2 lines thrown away"
        drive.press("down")
        drive.pause()
        assert drive.proposed == ""

    work(water, do)


def test_a_proposal_stays_with_its_cell(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("up")
        assert drive.proposed == ""
        drive.press("enter")
        assert drive.bench.item.id == "OS-08"

    assert read(work(water, do)) == {}


def test_a_line_that_came_while_something_stood_over_a_row_is_that_rows(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("v")
        drive.sent("0.112")
        drive.press(*typed("spilled"), "n")
        drive.pause()
        assert drive.bench.item.id == "OS-09"
        assert drive.receiving.words.endswith("It came at OS-08: is it this row's?")

    work(water, do)


def test_a_caret_that_moves_in_what_was_sent_types_nothing(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("e", "left", "end", "enter")

    work(water, do)
    assert [each.entered for each in logged(water)] == [log.RECEIVED]


# --- without Enter --------------------------------------------------------------------------------------------------


def test_the_next_line_is_taken_without_enter_for_one_row(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("T")
        drive.sent("noise")
        drive.sent("0.112")
        assert drive.bench.item.id == "OS-09"
        drive.sent("0.230")
        assert drive.proposed == "0.230?"

    assert read(work(water, do)) == {"OS-08": ["0.112"]}
    assert [each.entered for each in logged(water)] == [log.RECEIVED]


def test_a_void_row_takes_no_number_and_is_not_said_to_have_no_reading_cell(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("v", *typed("spilled"), "slash", *typed("OS-08"), "T")
        assert drive.bench.item.void
        assert drive.bench.column.key == "readings"
        assert drive.bench.message == "the next number can be taken only in the reading cell of a row that counts"

    work(water, do)


@pytest.mark.parametrize("names", [("T",), ("up", "down"), ("l", "escape"), ("f",), ("right", "left")])
def test_any_key_takes_that_back(names: tuple[str, ...], water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("T", *names)
        drive.sent("0.112")
        assert drive.proposed == "0.112?"

    assert read(work(water, do)) == {}


def test_a_line_that_is_no_reading_leaves_in_sight_that_the_next_needs_no_enter(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("T")
        assert drive.screen()[-3].startswith(
            "the next number is taken for this row without Enter; any key takes that back"
        )
        drive.sent("ERR 5")
        told = " ".join(line.strip() for line in drive.screen()[-4:-2])
        assert told == "the next number still needs no Enter. not taken, beside the number stands err: ERR 5"
        drive.press("T")
        drive.sent("ERR 5")
        assert drive.screen()[-3].startswith("not taken, beside the number")
        drive.press("T")
        drive.receiving.take(Line("ERR 5", drive.now))
        drive.sent("0.112")
        assert drive.bench.item.id == "OS-09"
        assert "no Enter" not in "".join(drive.screen()[-4:-2])

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_nothing_that_would_be_asked_about_is_taken_without_enter(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("T")
        drive.sent("98.2")
        assert drive.bench.grid.entry is None
        assert drive.proposed == "98.2?"

    assert read(work(water, do)) == {}


def test_a_read_row_gets_a_further_reading_only_when_asked(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press(*typed("0.112"), "up")
        drive.now += timedelta(seconds=9)
        drive.sent("0.113")
        assert drive.proposed == ""
        drive.press("T")
        drive.now += timedelta(seconds=9)
        drive.sent("0.114")

    drive = work(water, do)
    assert read(drive) == {"OS-08": ["0.112", "0.114"]}
    assert [(each.new, each.raw) for each in logged(water)] == [("[0.112]", None), ("[0.112, 0.114]", "0.114")]


def test_a_further_reading_that_is_asked_about_stays_at_its_row(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.press("f3", "down", "down", "T")
        drive.now += timedelta(seconds=9)
        drive.sent("0.125")
        drive.pause()
        assert drive.proposed == "0.125?"
        assert "15 results move" in drive.receiving.words
        drive.press("n")
        drive.pause()
        assert "It came at S2: is it this row's?" in drive.receiving.words
        drive.press("f3")
        drive.pause()
        assert drive.proposed == ""
        drive.press("T")
        drive.sent("0.126")
        drive.pause()
        drive.press("enter", *typed("the third filling"), "f3")
        drive.sent("0.127")
        assert drive.proposed == ""

    drive = work(water, do)
    assert [str(each) for each in drive.document.standard[2].readings][-1] == "0.126"


def test_without_a_photometer_the_keys_say_so(water: Path) -> None:
    seen: list[str] = []
    for key in ("T", "l"):
        Drive(water).run(key, then=lambda drive: seen.append(drive.bench.message))
    assert seen == ["no photometer is read: runsheet FILE --from PORT"] * 2


def test_a_run_that_is_only_looked_at_is_not_told_to_name_a_port(water: Path) -> None:
    seen: list[str] = []
    follower = opening.Follower(water)
    run = follower.found.run
    assert run is not None
    for key in ("T", "l"):
        made = Drive(water)
        writer, made.bench = made.store, Bench(Session(ReadOnlyStore(follower, run), water, lambda: NOW), Look())
        made.run(key, then=lambda drive: seen.append(drive.bench.message))
        writer.close()
    assert seen == ["nothing is read from the photometer into a run that is only looked at"] * 2


# --- undo, setup, signed ---------------------------------------------------------------------------------------------


def test_made_again_after_an_undo_it_is_still_received(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.112")
        drive.press("enter", "u", "U")

    assert read(work(water, do)) == {"OS-08": ["0.112"]}
    assert [each.entered for each in logged(water)] == [log.RECEIVED, None, log.RECEIVED]


def test_a_line_whose_reading_was_undone_is_not_listed_as_taken_and_may_be_chosen_again(water: Path) -> None:
    def fate(drive: Wired) -> str:
        drive.press("l")
        content = drive.bench.query_one(Page).content
        assert content is not None
        drive.press("escape")
        return content.texts[1].split(maxsplit=2)[2]

    def do(drive: Wired) -> None:
        drive.received("0.112")
        assert fate(drive) == "taken as OS-08: 0.112"
        drive.press("u")
        assert fate(drive) == "taken as OS-08, undone: 0.112"
        drive.press("U")
        assert fate(drive) == "taken as OS-08: 0.112"
        drive.press("l", "down", "enter")
        assert drive.bench.message == "0.112: taken as OS-08"
        drive.press("u", "l", "down", "enter")
        drive.pause()
        assert drive.proposed == "0.112?"

    assert read(work(water, do)) == {}


def test_a_line_that_was_chosen_again_waits_no_more_once_its_reading_is_made_again(water: Path) -> None:
    def listed(drive: Wired) -> tuple[str, str]:
        drive.press("l")
        content = drive.bench.query_one(Page).content
        assert content is not None
        drive.press("escape")
        return content.texts[0], content.texts[1].split(maxsplit=2)[2]

    def do(drive: Wired) -> None:
        drive.received("0.112")
        drive.press("u", "l", "down", "enter")
        drive.pause()
        assert listed(drive) == ("throw away what waits (1)", "waits: 0.112")
        drive.press("U")
        drive.pause()
        assert listed(drive) == ("throw away what waits (0)", "taken as OS-08: 0.112")
        drive.press("n")
        drive.pause()
        assert drive.proposed == ""
        drive.press("u")
        assert listed(drive) == ("throw away what waits (0)", "taken as OS-08, undone: 0.112")
        drive.press("U")

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_a_setup_check_gets_its_readings_one_by_one(tmp_path: Path) -> None:
    from runsheet.command.main import main

    path = tmp_path / "day.toml"
    assert main(["new", str(path), "--method", "tph-water"]) == 0

    def do(drive: Wired) -> None:
        drive.press("enter")
        for raw in ("0.000", "100.0", "0.0 %T", "0.001", "0.000", "0.001", "0.000"):
            drive.press("n")
            if drive.bench.item.setup.check == "warm-up":
                drive.press("down")
            drive.pause()
            drive.sent(raw)
            drive.press("enter")

    drive = work(path, do)
    checks = {row.check: [str(value) for value in row.readings] for row in drive.document.setup if row.readings}
    assert checks["zero"] == ["0.000"]
    assert checks["full-scale"] == ["100.0"]
    assert checks["stability"] == ["0.000", "0.001"]
    assert checks["cell"] == ["0.000"]


@pytest.mark.skipif(sys.platform == "win32", reason="a serial device's name is refused there before the file is read")
def test_the_laboratory_file_names_the_port_of_the_runs_photometer(water: Path) -> None:
    name = Drive(water).run().document.instrument.name
    text = f'[[instrument]]\nname = "{name}"\n[instrument.output]\nport = "/nowhere/tty"\npattern = "A (.*)"\n'
    water.with_name("laboratory.toml").write_text(text, encoding="utf-8")
    seen: list[object] = []

    def look(drive: Drive) -> None:
        feed = drive.bench.receiving.feed
        seen.append(feed and feed.port.name)

    Drive(water).run(then=look)
    none = Drive(water)
    none.bench.port = "none"
    none.run(then=look)
    other = Drive(water)
    other.bench.port = "tcp:127.0.0.1:9"
    other.run(then=look)
    assert seen == ["/nowhere/tty", None, "tcp:127.0.0.1:9"]


def test_what_came_before_a_line_that_is_taken_is_passed_over(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("0.9")
        drive.press("T")
        drive.sent("0.112")
        assert drive.bench.item.id == "OS-09"
        assert drive.proposed == ""

    assert read(work(water, do)) == {"OS-08": ["0.112"]}


def test_a_line_that_is_not_taken_does_not_hide_what_is_proposed(water: Path) -> None:
    def do(drive: Wired) -> None:
        drive.sent("Run 7 of 9")
        assert drive.screen()[-3] == "not taken, 2 numbers: Run 7 of 9"
        drive.sent("0.112")
        assert drive.screen()[-3].startswith("0.112 came")
        drive.sent("ready")
        assert drive.screen()[-3].startswith("0.112 came")

    work(water, do)
