"""The reviewer's walk: keys pressed, document and screen looked at."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, evaluate, read
from runsheet.compute.rules import notebook
from runsheet.review import signing, walk
from runsheet.review.entries import Audit
from runsheet.run.disk import opening
from runsheet.run.kinds import SOLVENT_STANDARDS
from runsheet.run.model import Review
from runsheet.run.text import write
from runsheet.screen.bench import Bench
from runsheet.screen.read_only import ReadOnlyStore
from runsheet.screen.session import Session
from runsheet.screen.style import Look
from tests.screen.driving import Drive, typed

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.run.model import Run

NOW = demo.NOW["soil-day"]
WRONG = "0.777"
UNSIGNED = "the analyst signs first, anew after a change"
BEGIN: list[str | list[str]] = ["V", typed("R. Holt")]


def day() -> Run:
    run, _ = read(demo.text("soil-day"))
    assert run is not None
    return run


def left(run: Run) -> walk.Remaining:
    return walk.remaining(evaluate(run, NOW), Audit())


def answer(name: str) -> list[str]:
    """Type what the notebook has for a row, which is what the invented day's sheet has."""
    return typed(" ".join(map(str, notebook.rows(day())[name].readings)))


ROWS = left(day()).rows
EXCEPTIONS = left(day()).exceptions
WALK: list[str | list[str]] = [*BEGIN, *map(answer, ROWS), *(["enter"] * len(EXCEPTIONS))]


def drive(soil: Path, *presses: str | list[str], size: tuple[int, int] = (80, 24)) -> tuple[Drive, list[str]]:
    """Press keys on a run; give the drive and the screen at the end."""
    seen: list[str] = []
    made = Drive(soil, now=NOW, size=size)
    made.run(*presses, then=lambda drive: seen.extend(drive.screen()))
    return made, seen


def test_a_whole_walk_is_kept_in_the_document_and_the_log(soil: Path) -> None:
    assert len(ROWS) == 5
    made, seen = drive(soil, *WALK)
    found = made.document.review
    assert [entry.row for entry in found[: len(ROWS)]] == list(ROWS)
    assert [entry.exception for entry in found[len(ROWS) :]] == list(EXCEPTIONS)
    assert {(entry.by, entry.at) for entry in found} == {("R. Holt", NOW)}
    assert f"{len(EXCEPTIONS)} exceptions seen, 5 rows typed again; {UNSIGNED}" in " ".join(" ".join(seen).split())
    assert "Review by" not in "\n".join(seen)
    logged = [entry.edit.path for step in opening.look(soil).log.steps for entry in step.entries if step.count]
    assert logged == [f"review[{n}]" for n in range(1, len(found) + 1)]
    assert {f.state for f in made.sheet.quality if f.rule == "review"} == {"pass"}


def test_one_row_that_is_left_of_a_walk_is_one(soil: Path) -> None:
    _, seen = drive(soil, *BEGIN, *map(answer, ROWS[:4]), "escape")
    assert f"left: 1 row and {len(EXCEPTIONS)} exceptions are open; V goes on" in "\n".join(seen)


def test_a_remark_is_kept_with_its_exception(soil: Path) -> None:
    made, _ = drive(soil, *BEGIN, *map(answer, ROWS), typed("asked M. Tarn"), "escape")
    assert [(entry.exception, entry.note) for entry in made.document.review[5:]] == [(EXCEPTIONS[0], "asked M. Tarn")]


@pytest.mark.parametrize("sent", [typed("0.112"), "scan:G-1"])
def test_neither_a_number_nor_a_scan_is_a_remark(sent: str | list[str], soil: Path) -> None:
    made, seen = drive(soil, *WALK[: 2 + len(ROWS)], sent)
    assert len(made.document.review) == len(ROWS)
    assert any(line.startswith("Seen 1 of ") for line in seen)


def test_escape_keeps_what_was_done_and_the_walk_goes_on_from_there(soil: Path) -> None:
    made, seen = drive(soil, *BEGIN, answer(ROWS[0]), typed(WRONG)[:-1], "escape")
    assert [entry.row for entry in made.document.review] == [ROWS[0]]
    assert f"left: 4 rows and {len(EXCEPTIONS)} exceptions are open; V goes on" in "\n".join(seen)
    _, seen = drive(soil, *BEGIN)
    assert f"2 of 5, {ROWS[1]} (" in "\n".join(seen)
    made, seen = drive(soil, *BEGIN, *map(answer, ROWS[1:]), "enter", "escape")
    assert [entry.row for entry in made.document.review] == [*ROWS, None]
    _, seen = drive(soil, *BEGIN)
    assert f"Seen 2 of {len(EXCEPTIONS)}, Enter, or a remark: _" in "\n".join(seen)
    made, seen = drive(soil, *BEGIN, *(["enter"] * (len(EXCEPTIONS) - 1)), *BEGIN)
    assert len(made.document.review) == len(ROWS) + len(EXCEPTIONS)
    assert UNSIGNED in " ".join(" ".join(seen).split())


def test_what_differs_is_not_kept_before_it_is_said_twice(soil: Path) -> None:
    made, seen = drive(soil, *BEGIN, typed(WRONG))
    assert made.document.review == ()
    assert "differs: y keeps it as a finding, or type it again: _" in "\n".join(seen)
    assert f"Typed {WRONG}: that differs from the sheet." in seen
    made, seen = drive(soil, *BEGIN, typed(WRONG), "enter")
    assert made.document.review == ()
    assert "not taken: nothing was typed" in "\n".join(seen)
    made, _ = drive(soil, *BEGIN, typed(WRONG), answer(ROWS[0]), "escape")
    assert [f.state for f in made.sheet.quality if f.rule == "review"] == ["pass"]


def test_a_disagreement_stands_as_a_finding_until_the_sheet_is_corrected(soil: Path) -> None:
    drawn = ((n, each) for n, each in enumerate(day().queue) if each.id in ROWS)
    place, row = next((n, each) for n, each in drawn if each.kind not in SOLVENT_STANDARDS)
    at = ROWS.index(row.id)
    has = " ".join(map(str, row.readings))
    made, seen = drive(soil, *BEGIN, *map(answer, ROWS[:at]), typed("0.061"), typed("y"), "escape")
    assert [str(value) for value in made.document.review[at].readings] == ["0.061"]
    why = f"typed again from the notebook as 0.061, the sheet has {has}"
    assert [(f.rows, f.why) for f in made.sheet.quality if f.rule == "review" and f.why] == [((row.id,), why)]
    assert signing.refusal(made.sheet, "M. Tarn").startswith("2 failures not acted on, first ")
    made, _ = drive(soil, "f4", "slash", typed(row.id), typed("0.061"), typed("misread the notebook"))
    assert [str(value) for value in made.document.queue[place].readings] == ["0.061"]
    assert {f.state for f in made.sheet.quality if f.rule == "review"} == {"pass"}
    # The sheet was drawn anew, and the correction is an exception of its own now, the last there is.
    todo = left(made.document)
    assert len(todo.rows) == len(ROWS) - at - 1
    _, seen = drive(soil, *BEGIN, *map(answer, todo.rows), *(["enter"] * len(todo.exceptions)))
    assert f"[{has}] to [0.061]: misread the notebook" in " ".join("\n".join(seen).split())


def test_a_row_that_differs_is_typed_again_at_the_end(soil: Path) -> None:
    _, seen = drive(soil, *BEGIN, typed(WRONG), typed("y"), *WALK[3:])
    assert f"1 row differs: correct {ROWS[0]} with its reason, or V types it again" in "\n".join(seen)
    made, seen = drive(soil, *BEGIN, answer(ROWS[0]))
    assert "5 rows typed again; the analyst signs first" in "\n".join(seen)
    assert {f.state for f in made.sheet.quality if f.rule == "review"} == {"pass"}


@pytest.mark.parametrize("name", ["M. Tarn", "m. tarn", ""])
def test_the_analyst_is_refused_and_so_is_nobody(name: str, soil: Path) -> None:
    made, seen = drive(soil, "V", typed(name))
    assert made.document.review == ()
    assert "Review by" not in "\n".join(seen)
    assert "not begun: " in "\n".join(seen)


@pytest.mark.parametrize(
    ("text", "said"), [("0..1", "two decimal points"), ("abc", "is no number"), ("", "nothing was typed")]
)
def test_a_bad_number_is_said_and_asked_again(text: str, said: str, soil: Path) -> None:
    made, seen = drive(soil, *BEGIN, typed(text))
    assert made.document.review == ()
    assert said in "\n".join(seen)
    assert f"1 of 5, {ROWS[0]} (standard), its raw reading from the notebook: _" in seen
    made, _ = drive(soil, *BEGIN, typed(text), answer(ROWS[0]))
    assert len(made.document.review) == 1


def test_a_decimal_comma_and_a_paste_are_taken(soil: Path) -> None:
    first, second = (str(notebook.rows(day())[name].readings[0]) for name in ROWS[:2])
    made, _ = drive(soil, *BEGIN, typed(first.replace(".", ",")), f"paste:{second}\n", "enter")
    assert [str(entry.readings[0]) for entry in made.document.review] == [first, second]


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_no_reading_is_in_sight_while_rows_are_typed_again(size: tuple[int, int], soil: Path) -> None:
    run = day()
    every = {str(value) for row in notebook.rows(run).values() for value in row.readings}
    pane, panes = drive(soil, "f4", "ctrl+home", size=size)
    assert any(value in "\n".join(panes) for value in every)
    for at in range(len(ROWS)):
        _, seen = drive(soil, *BEGIN, *map(answer, ROWS[:at]), size=size)
        soil.write_text(demo.text("soil-day"), encoding="utf-8")
        shown = "\n".join(seen)
        assert f"{at + 1} of 5, {ROWS[at]} (" in shown
        assert not [value for value in every if value in shown]
    assert pane.bench.wide is (size == (120, 40))


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_a_row_that_differs_is_asked_again_without_its_reading(size: tuple[int, int], soil: Path) -> None:
    """Its finding, which says both, is the next thing to see to where nothing else fails."""
    run, _ = read(demo.text("soil-day").replace("    0.219,", "    0.249,", 1))
    assert run is not None
    todo = left(run)
    name = todo.rows[-1]
    reading = " ".join(map(str, notebook.rows(run)[name].readings))
    again = {each: notebook.rows(run)[each].readings for each in todo.rows} | {name: (Decimal(WRONG),)}
    typed_again = tuple(Review(row=each, readings=values, by="R. Holt") for each, values in again.items())
    looked_at = tuple(Review(exception=words, by="R. Holt") for words in todo.exceptions)
    soil.write_text(write(replace(run, review=(*typed_again, *looked_at))), encoding="utf-8")
    _, seen = drive(soil, "f5", size=size)
    assert f"as {WRONG}, the sheet has {reading}"[:40] in "\n".join(seen)
    assert reading in "\n".join(seen)
    _, seen = drive(soil, *BEGIN, size=size)
    assert f"5 of 5, {name} (" in "\n".join(seen)
    assert reading not in "\n".join(seen)


def test_a_long_exception_scrolls_under_its_question(soil: Path) -> None:
    run, reason = day(), " ".join(f"word{n}" for n in range(400))
    run = replace(run, queue=tuple(replace(row, void=reason) if row.id == "SB2" else row for row in run.queue))
    others = [words for words in left(run).exceptions if "word1" not in words]
    made = replace(run, review=tuple(Review(exception=words, by="R. Holt") for words in others))
    soil.write_text(write(made), encoding="utf-8")
    presses = [*BEGIN, *map(answer, left(made).rows)]
    _, seen = drive(soil, *presses)
    assert "word399" not in "\n".join(seen)
    _, seen = drive(soil, *BEGIN, *(["pagedown"] * 9))
    assert "word399" in "\n".join(seen)
    assert any(line.startswith("Seen ") for line in seen)


def test_a_walk_after_the_analyst_signed_asks_for_no_reason_and_both_signatures_stand(soil: Path) -> None:
    drive(soil, "f5", "t", typed("calibrated anew"), "S", typed("M. Tarn"))
    run, _ = read(soil.read_text(encoding="utf-8"))
    assert run is not None
    todo = left(run)
    presses = [*BEGIN, *map(answer, todo.rows), *(["enter"] * len(todo.exceptions)), "S", typed("R. Holt")]
    _, seen = drive(soil, *presses[:-2])
    assert "typed again; S signs as reviewer" in "\n".join(seen)
    made, seen = drive(soil, *presses[-2:])
    assert "signed as reviewer" in "\n".join(seen)
    assert made.document.amendment == ()
    assert [signature.role for signature in signing.standing(made.document)] == ["analyst", "reviewer"]


def test_a_walk_after_the_reviewer_signed_needs_a_reason(soil: Path) -> None:
    drive(soil, "f5", "t", typed("calibrated anew"), "S", typed("M. Tarn"), "S", typed("R. Holt"))
    made, seen = drive(soil, *BEGIN, "enter")
    assert made.document.review == ()
    assert seen[-1] == "a reason is needed; Escape leaves all as it was"
    _, seen = drive(soil, *BEGIN, typed("2"))
    assert "a number is no answer here" in seen[-1]
    todo = left(made.document)
    made, _ = drive(soil, *BEGIN, typed("not walked before"), *map(answer, todo.rows[:2]), "escape")
    assert [amendment.reason for amendment in made.document.amendment] == ["not walked before"]
    assert [entry.row for entry in made.document.review] == list(todo.rows[:2])
    assert [signature.role for signature in signing.standing(made.document)] == ["analyst"]


def test_a_screen_that_only_looks_on_refuses(soil: Path) -> None:
    follower = opening.Follower(soil)
    run = follower.found.run
    assert run is not None
    made = Drive(soil, now=NOW)
    writer, made.bench = made.store, Bench(Session(ReadOnlyStore(follower, run), soil, lambda: NOW), Look())
    seen: list[str] = []
    made.run("V", then=lambda drive: seen.append(drive.bench.message))
    writer.close()
    assert seen == ["read-only: nothing can be changed here"]


def test_undo_takes_the_last_answer_back(soil: Path) -> None:
    made, _ = drive(soil, *BEGIN, *map(answer, ROWS[:2]), "escape", "u")
    assert [entry.row for entry in made.document.review] == [ROWS[0]]
