"""What a log says of its document: none, whole, changed with each value, broken; each way to cheat is one of these."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet.review.trail import Outside, Trail, trail
from runsheet.run import edit
from runsheet.run.disk import files, log, store
from runsheet.run.edit import Edit
from tests.make import at, document, row

if TYPE_CHECKING:
    from pathlib import Path

QUEUE = [row("OF-1", 0.1), row("OF-2"), row("OF-3")]


class Day:
    """A run typed over two openings."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.write_text(document(QUEUE), encoding="utf-8")

    def read(self, number: int, reading: str, when: datetime) -> None:
        """Open the run, read a row, leave."""
        opened = store.open_for_writing(self.path, "M. Tarn", when)
        opened.accept([edit.set_value(opened.run, f"queue[{number}].readings", [Decimal(reading)])], when)
        assert opened.close()

    @property
    def log(self) -> bytes:
        return files.log_of(self.path).read_bytes()

    @property
    def document(self) -> bytes:
        return self.path.read_bytes()

    def trail(self) -> Trail:
        return trail(self.log, self.document)

    def change(self, old: str, new: str) -> None:
        """Change the document with an editor."""
        text = self.path.read_text(encoding="utf-8")
        assert text.count(old) == 1
        self.path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.fixture
def day(tmp_path: Path) -> Day:
    made = Day(tmp_path / "KB-0311.toml")
    made.read(2, "0.2112", at(60))
    made.read(3, "0.3113", at(61))
    return made


def test_a_run_without_a_log_has_none(tmp_path: Path) -> None:
    assert Day(tmp_path / "x.toml").document
    assert trail(None, document(QUEUE).encode()) == Trail("none")


def test_a_typed_day_is_whole_and_so_is_a_log_ahead_and_one_torn(day: Day) -> None:
    assert day.trail() == Trail("whole")
    assert trail(day.log, document(QUEUE).encode()) == Trail("whole")
    torn = trail(day.log + b'{"ti\0\0\0\n', day.document)
    assert torn == Trail(
        "whole", "from line 5 on the log cannot be read, as after a power cut: that end is not counted"
    )


def test_a_comment_or_another_way_to_write_it_changes_nothing(day: Day) -> None:
    day.path.write_text(day.path.read_text(encoding="utf-8") + "# seen\n", encoding="utf-8")
    assert day.trail() == Trail("whole")


def test_a_change_since_the_last_entry_is_told_with_old_and_new(day: Day) -> None:
    day.change("0.3113", "0.1113")
    last = at(61).isoformat()
    change = Outside("queue[3].readings", "[0.3113]", "[0.1113]", last, "")
    assert day.trail() == Trail("changed", "1 value was changed outside the log", (change,))


def test_a_change_between_two_openings_is_told_for_ever(day: Day) -> None:
    day.change("0.3113", "0.1113")
    day.read(1, "0.1001", at(90))
    day.read(1, "0.1002", at(95))
    change = Outside("queue[3].readings", "[0.3113]", "[0.1113]", at(61).isoformat(), at(90).isoformat())
    assert day.trail() == Trail("changed", "1 value was changed outside the log", (change,))


def test_a_document_that_cannot_be_read_any_more_is_changed(day: Day) -> None:
    day.path.write_text("format = [", encoding="utf-8")
    assert day.trail().state == "changed"


@pytest.mark.parametrize("line", [0, 1, 2])
def test_a_line_changed_taken_away_or_moved_breaks_it(day: Day, line: int) -> None:
    lines = day.log.splitlines(keepends=True)
    entry = json.loads(lines[line])
    forged = json.dumps({**entry, "who": "B. Okoro"}).encode() + b"\n"
    for made in ([*lines[:line], forged, *lines[line + 1 :]], [*lines[:line], *lines[line + 1 :]], lines[::-1]):
        found = trail(b"".join(made), day.document)
        assert found.state == "broken" or (line == 2 and found.state == "changed"), found


def test_a_cut_tail_is_told_as_a_change_outside(day: Day) -> None:
    cut = b"".join(day.log.splitlines(keepends=True)[:-1])
    found = trail(cut, day.document)
    assert (found.state, [change.path for change in found.outside]) == ("changed", ["queue[3].readings"])


def test_a_forged_value_with_a_new_chain_breaks_it(day: Day) -> None:
    chain, lines = "", []
    for number, step in enumerate(log.parse(day.log).steps, 1):
        made = [entry if entry.new != "[0.2112]" else replace(entry, new="[0.1112]") for entry in step.entries]
        chained = log.chained(made, chain, number)
        chain = chained[-1].chain
        lines += [log.line(entry) for entry in chained]
    found = trail(b"".join(lines), day.document)
    assert found == Trail("broken", "line 3 leads to another document than the line says")


def test_the_log_of_another_run_breaks_it(day: Day, tmp_path: Path) -> None:
    other = Day(tmp_path / "other.toml")
    other.path.write_text(document(QUEUE, run={"id": "other"}), encoding="utf-8")
    other.read(2, "0.1", at(60))
    assert trail(other.log, day.document) == Trail("broken", "it is not the log that [run] log names")
    assert trail(other.log, document(QUEUE).encode()) == Trail("broken", "it is the log of another run, other")


def test_what_run_log_names_must_be_there_and_be_the_one(day: Day) -> None:
    chain = log.parse(day.log).steps[0].entries[0].chain
    named = day.document
    assert b'log = "' + chain.encode() + b'"' in named
    assert trail(None, named) == Trail("broken", "the log that [run] log names is not there")
    assert trail(b"", named) == Trail("broken", "the log is empty")
    assert trail(day.log, named.replace(chain.encode(), b"0" * 64)) == Trail(
        "broken", "it is not the log that [run] log names"
    )


def test_entries_keep_the_account_and_the_machine(day: Day) -> None:
    for step in log.parse(day.log).steps:
        assert all(entry.account and entry.machine for entry in step.entries)


def test_a_log_older_than_accounts_is_read_and_whole() -> None:
    text = document(QUEUE)
    begun = log.chained(log.start(text.encode(), at(60), "M. Tarn"), "", 1)
    data = b"".join(map(log.line, begun))
    assert b"account" not in data
    assert trail(data, text.encode()) == Trail("whole")


def test_a_remark_and_an_undo_are_no_change_outside(day: Day) -> None:
    opened = store.open_for_writing(day.path, "M. Tarn", at(70))
    opened.accept([Edit("note", "", None, "lamp replaced")], at(70))
    opened.undo(at(71))
    assert opened.close()
    assert day.trail() == Trail("whole")
