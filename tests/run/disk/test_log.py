"""The edit log: its chain, what it leads to, and what is found when somebody touched it."""

from __future__ import annotations

import contextlib
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.problem import has_errors
from runsheet.run import edit, text
from runsheet.run.disk import log, replay
from runsheet.run.disk.files import digest
from runsheet.run.edit import Edit, EditError

if TYPE_CHECKING:
    from runsheet.run.model import Run

NOW = datetime(2026, 3, 11, 9, 5, tzinfo=timezone(timedelta(hours=1)))
START = """format = 1
[run]
id = "KB-0311"
[[queue]]  # typed by hand
id = "OF-1"
kind = "sample"
[[queue]]
id = "OF-2"
kind = "sample"
"""


class Bench:
    """Writes a log as the program does, without files."""

    def __init__(self) -> None:
        run, _ = text.read(START)
        assert run is not None
        self.run: Run = run
        self.log, self.number, self.chain = b"", 0, ""
        self.documents = [START.encode()]
        self._add(log.start(self.documents[0], NOW, "I. Varga"))

    def _add(self, made: list[log.Entry]) -> None:
        self.number += 1
        entries = log.chained(made, self.chain, self.number)
        self.chain = entries[-1].chain
        self.log += b"".join(log.line(entry) for entry in entries)

    def step(self, *edits: Edit, reason: str = "", undoes: int | None = None, redoes: int | None = None) -> None:
        self.run = edit.apply_all(self.run, edits)
        self.documents.append(text.write(self.run).encode())
        more = {"reason": reason, "undoes": undoes, "redoes": redoes}
        self._add(log.entries(edits, self.documents[-1], NOW, "I. Varga", **more))

    def read(self, row: int, *readings: str, reason: str = "") -> None:
        values = [Decimal(reading) for reading in readings]
        self.step(edit.set_value(self.run, f"queue[{row}].readings", values), reason=reason)

    def paste(self, *readings: str) -> None:
        self.step(*(edit.set_value(self.run, f"queue[{n}].readings", [Decimal(r)]) for n, r in enumerate(readings, 1)))

    def undo(self) -> None:
        step = replay.history(log.parse(self.log).steps)[0][-1]
        self.step(*(edit.inverse(made) for made in reversed(step.edits)), undoes=step.number)

    def redo(self) -> None:
        step = replay.history(log.parse(self.log).steps)[1][-1]
        self.step(*step.edits, redoes=step.number)


def day() -> Bench:
    bench = Bench()
    bench.read(1, "0.130")
    bench.paste("0.131", "0.1310")
    bench.undo()
    bench.step(edit.insert_row(bench.run, "queue", 2, {"id": "B1", "kind": "blank"}))
    bench.step(edit.move_row(bench.run, "queue", 2, 3))
    bench.read(1, "0.140", reason="bubble in the cell")
    bench.step(edit.remove_row(bench.run, "queue", 2))
    return bench


def found(written: bytes, document: bytes | None) -> list[str]:
    return [str(problem) for problem in replay.verify(written, document)]


def errors(written: bytes, document: bytes | None) -> bool:
    return has_errors(replay.verify(written, document))


# --- a log as it should be ---


def test_a_line_holds_what_was_done_and_by_whom() -> None:
    bench = Bench()
    bench.read(1, "0.130", reason="second filling")
    line = json.loads(bench.log.splitlines()[-1])
    assert line["document"] == digest(bench.documents[-1])
    assert len(line.pop("chain")) == len(line.pop("document")) == 64
    assert line == {
        "time": "2026-03-11T09:05:00+01:00",
        "who": "I. Varga",
        "action": "set",
        "path": "queue[1].readings",
        "old": None,
        "new": "[0.130]",
        "reason": "second filling",
        "step": 2,
    }


def test_the_first_line_holds_the_document_it_starts_from() -> None:
    line = json.loads(Bench().log)
    assert line["text"] == START
    assert line["document"] == digest(START.encode())


def test_the_chain_can_be_computed_by_anyone() -> None:
    before = ""
    for raw in day().log.splitlines():
        line = json.loads(raw)
        chain = line.pop("chain")
        body = json.dumps(line, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        assert chain == digest((before + body).encode())
        before = chain


def test_a_whole_day_verifies_and_leads_to_its_document() -> None:
    bench = day()
    assert found(bench.log, bench.documents[-1]) == []
    assert replay.replay(None, log.parse(bench.log).steps) == bench.run
    assert [row.id for row in bench.run.queue] == ["OF-1", "B1"]


def test_a_log_ahead_of_the_document_is_told_and_is_no_error() -> None:
    bench = day()
    said = found(bench.log, bench.documents[-2])
    assert len(said) == 1
    assert said[0].startswith("warning: the log is 1 entry ahead")


def test_a_log_brings_any_earlier_document_up() -> None:
    bench = day()
    trail = log.parse(bench.log)
    for document in bench.documents:
        run, _ = text.read(document.decode())
        later = trail.after(digest(document))
        assert later is not None
        assert replay.replay(run, later) == bench.run


def test_a_time_without_its_offset_is_refused() -> None:
    with pytest.raises(ValueError, match="offset"):
        log.start(START.encode(), datetime(2026, 3, 11), "I. Varga")  # noqa: DTZ001 - what is refused


# --- undo and redo ---


def test_undo_and_redo_follow_from_the_log() -> None:
    bench = Bench()
    bench.read(1, "0.130")
    bench.paste("0.131", "0.132")
    bench.undo()
    bench.undo()
    assert text.read(bench.documents[-1].decode())[0] == text.read(START)[0]
    bench.redo()
    done, undone = replay.history(log.parse(bench.log).steps)
    assert [step.number for step in done] == [2]
    assert [step.number for step in undone] == [3]
    bench.read(2, "0.150")
    done, undone = replay.history(log.parse(bench.log).steps)
    assert [step.number for step in done] == [2, 7]
    assert undone == []
    assert found(bench.log, bench.documents[-1]) == []


def test_remarks_are_not_undone() -> None:
    bench = Bench()
    bench.read(1, "0.130")
    bench.step(Edit("note", "", None, "lamp replaced"))
    assert [step.number for step in replay.history(log.parse(bench.log).steps)[0]] == [2]


# --- touched ---


def test_any_changed_byte_is_found() -> None:
    bench = day()
    for at in range(0, len(bench.log), 7):
        changed = bytearray(bench.log)
        changed[at] ^= 1
        assert errors(bytes(changed), bench.documents[-1]), f"byte {at}"


def test_any_missing_line_is_found() -> None:
    bench = day()
    lines = bench.log.splitlines(keepends=True)
    for at in range(len(lines)):
        assert errors(b"".join(lines[:at] + lines[at + 1 :]), bench.documents[-1]), f"line {at + 1}"


def test_lines_missing_at_the_end_are_found_by_the_document() -> None:
    bench = day()
    lines = bench.log.splitlines(keepends=True)
    for count in range(len(lines)):
        assert errors(b"".join(lines[:count]), bench.documents[-1]), f"{count} lines left"


def test_lines_that_changed_places_are_found() -> None:
    bench = day()
    lines = bench.log.splitlines(keepends=True)
    for at in range(len(lines) - 1):
        swapped = [*lines[:at], lines[at + 1], lines[at], *lines[at + 2 :]]
        assert errors(b"".join(swapped), bench.documents[-1]), f"lines {at + 1} and {at + 2}"


def test_a_line_written_twice_is_found() -> None:
    bench = day()
    lines = bench.log.splitlines(keepends=True)
    assert errors(b"".join([*lines[:3], lines[2], *lines[3:]]), bench.documents[-1])


def test_the_number_of_the_changed_line_is_told() -> None:
    bench = day()
    changed = bench.log.replace(b'"[0.130]", "reason"', b'"[0.139]", "reason"', 1)
    assert changed != bench.log
    said = found(changed, bench.documents[-1])
    assert said[0] == "error: line 2: was changed, or a line before it is missing, changed or moved"


def test_a_line_forged_with_a_new_chain_is_found_by_its_document() -> None:
    bench = Bench()
    bench.read(1, "0.130")
    bench.read(2, "0.150")
    lines = bench.log.splitlines()
    entries = [entry for step in log.parse(bench.log).steps for entry in step.entries]
    forged = replace(entries[1], new="[0.100]")
    chain, written = json.loads(lines[0])["chain"], lines[0] + b"\n"
    for number, entry in enumerate([forged, entries[2]], 2):
        made = log.chained([entry], chain, number)
        chain, written = made[0].chain, written + log.line(made[0])
    assert log.parse(written).faults == ()
    assert "error: line 2: leads to another document than the line says" in found(written, bench.documents[-1])


def test_a_document_changed_by_hand_is_found() -> None:
    bench = day()
    assert found(bench.log, bench.documents[-1].replace(b"0.140", b"0.141")) == [
        "error: the document is not where the log leads: it was changed outside, or lines are missing"
    ]


def test_a_missing_document_and_an_empty_log_are_found() -> None:
    assert found(day().log, None) == ["error: the document is missing; the log holds it"]
    assert found(b"", START.encode()) == ["error: the log is empty"]


def test_a_document_taken_as_it_stood_is_told_for_ever() -> None:
    bench = Bench()
    bench.read(1, "0.130")
    theirs = bench.documents[-1].replace(b"OF-2", b"OF-9")
    bench._add(log.start(theirs, NOW, "I. Varga"))  # noqa: SLF001 - the test's own
    assert found(bench.log, theirs) == [
        "warning: line 3: here the document was taken as it stood, changed outside the log"
    ]


# --- torn and broken ---


def test_a_log_cut_anywhere_keeps_its_whole_steps() -> None:
    bench = day()
    whole = log.parse(bench.log)
    ends = [sum(len(step.entries) for step in whole.steps[:n]) for n in range(len(whole.steps) + 1)]
    for size in range(0, len(bench.log), 11):
        trail = log.parse(bench.log[:size])
        lines = bench.log[:size].count(b"\n")
        assert len(trail.steps) == max(n for n, end in enumerate(ends) if end <= lines)
        assert trail.faults == ()
        assert log.parse(bench.log[: trail.whole]) == trail


@given(st.binary(max_size=300) | st.text(max_size=300).map(str.encode))
def test_no_bytes_raise(data: bytes) -> None:
    read_log = log.parse(data + b"\n")
    assert (read_log.steps, read_log.whole, read_log.unreadable) == ((), 0, True)


@pytest.mark.parametrize("line", [b"[" * 100_000, b"9" * 5000, b"{}", b"null", b'{"time": 1}', b"\xff"])
def test_no_line_raises(line: bytes) -> None:
    bench = day()
    read_log = log.parse(bench.log + line + b"\n")
    assert (read_log.whole, read_log.unreadable, read_log.faults) == (len(bench.log), True, ())


TOML = st.sampled_from(
    ["1", "0.130", "[0.130]", '"OF-1"', "{}", '{id = "R1", kind = "sample"}', "nothing", "1\nx = 2", "="]
)
FORGED = st.builds(
    log.Entry,
    time=st.just("2026-03-11T09:05:00+01:00"),
    who=st.just("I. Varga"),
    action=st.sampled_from(["set", "insert", "remove", "move", "start", "note", ""]),
    path=st.sampled_from(
        ["queue[1].readings", "queue[1]", "queue[3]", "queue", "run.id", "run", "method", "format", "", "x"]
    ),
    old=st.none() | TOML,
    new=st.none() | TOML,
    undoes=st.none() | st.integers(0, 3),
    redoes=st.none() | st.integers(0, 3),
    text=st.none() | st.sampled_from([START, "", "format = 2", "["]),
    document=st.none() | st.sampled_from([digest(START.encode()), "", "x"]),
)


@given(st.lists(FORGED, max_size=6))
def test_no_forged_log_raises(forged: list[log.Entry]) -> None:
    bench = Bench()
    for entry in forged:
        bench._add([entry])  # noqa: SLF001 - the test's own
    assert isinstance(found(bench.log, START.encode()), list)
    trail = log.parse(bench.log)
    replay.history(trail.steps)
    with contextlib.suppress(EditError):
        replay.replay(None, trail.since_start())


def test_what_stands_after_an_unreadable_line_does_not_count() -> None:
    bench = Bench()
    bench.read(1, "0.130")
    whole = bench.log
    bench.read(2, "0.150")
    torn = whole + b"\0" * 512 + b"\n" + bench.log[len(whole) :]
    assert log.parse(torn).whole == len(whole)
    said = "warning: from line 3 on the log cannot be read, as after a power cut: that end is not counted"
    assert found(torn, bench.documents[-2]) == [said]


def test_a_line_made_unreadable_on_purpose_is_found_by_the_document() -> None:
    bench = day()
    lines = bench.log.splitlines(keepends=True)
    for at in range(len(lines)):
        assert errors(b"".join([*lines[:at], b"x" + lines[at], *lines[at + 1 :]]), bench.documents[-1]), (
            f"line {at + 1}"
        )


# --- for a person ---


def test_a_log_reads_as_lines() -> None:
    bench = Bench()
    bench.read(1, "0.130", reason="bubble \x1b[2J\x9b in the cell")
    bench.undo()
    said = "2026-03-11T09:05:00+01:00"
    assert log.lines(bench.log) == [
        f"{said}  step 1  I. Varga  start: the document as it stood, SHA-256 {digest(START.encode())}",
        rf"{said}  step 2  I. Varga  set queue[1].readings: nothing -> [0.130]  (bubble \x1b[2J\x9b in the cell)",
        f"{said}  step 3  I. Varga  undoes step 2: set queue[1].readings: [0.130] -> nothing",
    ]


def test_any_day_is_replayed_and_undone_from_its_log() -> None:
    bench = Bench()
    for number in range(30):
        bench.read(1 + number % 2, f"0.{100 + number}")
        if number % 3 == 0:
            bench.undo()
    while replay.history(log.parse(bench.log).steps)[0]:
        bench.undo()
    assert bench.run == text.read(START)[0]
    assert found(bench.log, bench.documents[-1]) == []


def test_times_are_kept_with_their_offset() -> None:
    entry = log.start(START.encode(), datetime(2026, 3, 11, 8, tzinfo=UTC), "I. Varga")[0]
    assert entry.time == "2026-03-11T08:00:00+00:00"
