"""An edit applied, refused, and taken back to the digit."""

from __future__ import annotations

import functools
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from runsheet.run import edit, text
from runsheet.run.edit import Edit, EditError
from runsheet.run.model import Row, Run

DOCUMENT = """format = 1

[run]
id = "KB-0311"

[method]
unit = "mg/L"

[method.blank]
absorbance = 0.0050

[instrument]

[solvent]

[[calibration]]
id = "C1"
model = "line"

[[standard]]
id = "S1"
concentration = 10.0
readings = [
    0.026,
]

[[queue]]
id = "OF-1"
kind = "sample"
amount = 980

[[queue]]
id = "OF-2"
kind = "sample"
readings = [
    0.130,
    0.1300,
]
"""


def run() -> Run:
    made, problems = text.read(DOCUMENT)
    assert made is not None
    assert not problems
    return made


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("queue[1].readings", [Decimal("0.130")]),
        ("queue[2].readings", None),
        ("queue[2].readings", []),
        ("queue[1].at", datetime(2026, 3, 11, 8, 5, tzinfo=UTC)),
        ("queue[1].note", 'a "quoted" µ\nand\x7f more'),
        ("calibration[1].model", "quadratic"),
        ("calibration[1].model", None),
        ("method.blank.absorbance", None),
        ("method.blank", None),
        ("method.check.recovery_percent", [Decimal("90.0"), 110]),
        ("method.batch.oil_grease.control_percent", [70, 130]),
        ("method.sources", {"blank.every_readings": "common practice"}),
        ('method.sources."blank.every_readings"', "common practice"),
        ("run.title", "Kestrel Basin outfalls"),
        ("solvent", {"name": "tetrachloroethylene"}),
    ],
)
def test_a_value_set_and_taken_back_leaves_the_same_text(path: str, value: Any) -> None:
    made = edit.set_value(run(), path, value)
    changed = edit.apply(run(), made)
    back = edit.apply(changed, edit.inverse(made))
    assert text.write(back) == DOCUMENT
    assert edit.apply(back, made) == changed


def test_digits_stay_as_typed() -> None:
    changed = edit.apply(run(), edit.set_value(run(), "queue[1].readings", [Decimal("0.1300")]))
    assert "0.1300,\n" in text.write(changed).split('"OF-1"')[1].split("[[queue]]")[0]


def test_rows_inserted_removed_and_moved() -> None:
    inserted = edit.insert_row(run(), "queue", 2, Row(id="B1", kind="blank"))
    with_blank = edit.apply(run(), inserted)
    assert [row.id for row in with_blank.queue] == ["OF-1", "B1", "OF-2"]
    moved = edit.move_row(with_blank, "queue", 2, 3)
    assert [row.id for row in edit.apply(with_blank, moved).queue] == ["OF-1", "OF-2", "B1"]
    removed = edit.remove_row(with_blank, "queue", 1)
    assert [row.id for row in edit.apply(with_blank, removed).queue] == ["B1", "OF-2"]
    for made, start in ((inserted, run()), (moved, with_blank), (removed, with_blank)):
        assert edit.apply(edit.apply(start, made), edit.inverse(made)) == start


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (Edit("set", "queue[1].dilution", None, Decimal("0.5")), "queue[1].dilution: expected a number of at least 1"),
        (Edit("set", "queue[1].diluton", None, 2), "did you mean dilution?"),
        (Edit("set", "queue[9].dilution", None, 2), "queue[9]: there are 2 rows"),
        (Edit("set", "queue.dilution", None, 2), "expected a place in the run"),
        (Edit("set", "line[1].id", None, "x"), "expected a place in the run"),
        (Edit("set", "queue[2].readings", [Decimal("0.13")], None), "expected [0.13], found [0.130, 0.1300]"),
        (Edit("set", "run", {"id": "KB-0311"}, None), "is required"),
        (Edit("set", "run.id", "KB-0311", None), "run.id: is required"),
        (Edit("set", "queue[1].note", None, "\udce4"), "cannot be written as UTF-8"),
        (Edit("set", "method.check.closing", None, True), "expected a table to write into"),  # noqa: FBT003
        (Edit("insert", "queue[4]", None, {"id": "B1", "kind": "blank"}), "there are 2 rows"),
        (Edit("insert", "queue[1]", None, {"id": "B1"}), "queue[1].kind: is required"),
        (Edit("insert", "queue[1]", None, None), "is required"),
        (Edit("remove", "queue[1]", {"id": "OF-2", "kind": "sample"}, None), 'found {id = "OF-1"'),
        (Edit("move", "queue[1]", 1, 3), "cannot become number 3 of 2"),
        (Edit("move", "queue[1]", 1, "2"), 'cannot become number "2" of 2'),
        (Edit("remove", "queue[1].id", "OF-1", None), "expected a row, as queue[3]"),
        (Edit("move", "run", None, None), "expected a row, as queue[3]"),
    ],
)
def test_an_edit_that_does_not_fit_is_refused_with_its_place(made: Edit, said: str) -> None:
    with pytest.raises(EditError) as caught:
        edit.apply(run(), made)
    assert said in str(caught.value)


def test_a_step_that_would_leave_an_unreadable_document_is_refused() -> None:
    twice = edit.set_value(run(), "queue[2].id", "OF-1")
    with pytest.raises(EditError, match=r'expected an id .* used once, found "OF-1" again'):
        edit.apply_all(run(), [twice])


def test_a_step_is_judged_as_a_whole() -> None:
    swap = [
        Edit("set", "queue[1].id", "OF-1", "OF-2"),
        Edit("set", "queue[2].id", "OF-2", "OF-1"),
    ]
    assert [row.id for row in edit.apply_all(run(), swap).queue] == ["OF-2", "OF-1"]


def test_a_remark_changes_nothing() -> None:
    assert edit.apply(run(), Edit("note", "", None, "lamp replaced")) == run()


VALUES = st.recursive(
    st.booleans()
    | st.integers(-(10**12), 10**12)
    | st.decimals(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(codec="utf-8"))
    | st.dates()
    | st.datetimes(timezones=st.just(UTC)),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(codec="utf-8")), inner),
    max_leaves=8,
)


@given(VALUES)
def test_any_value_is_written_on_one_line_and_read_back(value: Any) -> None:
    written = edit.typed(value)
    assert "\n" not in written
    assert edit.typed(edit.untyped(written)) == written
    assert edit.untyped(written) == value


READINGS = st.lists(st.decimals(0, 2, places=3), max_size=3)


@given(st.data())
def test_any_steps_taken_back_leave_the_same_text(data: st.DataObject) -> None:
    now, pages = run(), text.Writer()
    made = []
    for number in range(data.draw(st.integers(1, 8))):
        rows = len(now.queue)
        action = data.draw(st.sampled_from(["set", "insert", "remove", "move"] if rows else ["insert"]))
        at = data.draw(st.integers(1, max(rows, 1)))
        if action == "set":
            one = edit.set_value(now, f"queue[{at}].readings", data.draw(READINGS))
        elif action == "insert":
            one = edit.insert_row(now, "queue", at, {"id": f"R{number}", "kind": "sample"})
        elif action == "remove":
            one = edit.remove_row(now, "queue", at)
        else:
            one = edit.move_row(now, "queue", at, data.draw(st.integers(1, rows)))
        made.append(one)
        now = edit.apply_all(now, [one])
        assert pages.write(now).decode() == text.write(now)
    for one in reversed(made):
        now = edit.apply(now, edit.inverse(one))
    assert text.write(now) == DOCUMENT


def test_a_decimal_without_a_fraction_is_logged_as_the_document_has_it() -> None:
    made, _ = text.read('format = 1\n[run]\nid = "T"\n[[queue]]\nid = "R1"\nkind = "sample"\n')
    assert made is not None
    done = edit.set_value(made, "queue[1].dilution", Decimal(5))
    assert edit.typed(done.new) == "5.0"
    again = edit.apply(made, replace(done, new=edit.untyped(edit.typed(done.new))))
    assert text.write(again) == text.write(edit.apply(made, done))


ROW_EDITS = [
    Edit("insert", "queue[1]", None, {"id": "A", "kind": "blank"}),
    Edit("insert", "queue[2]", None, {"id": "B", "kind": "blank"}),
    Edit("set", "queue[1].note", None, "first"),
    Edit("move", "queue[2]", 2, 1),
    Edit("insert", "queue[2]", None, {"id": "C", "kind": "blank"}),
    Edit("remove", "queue[2]", {"id": "C", "kind": "blank"}, None),
    Edit("note", "", None, "a remark"),
    Edit("insert", "sample[1]", None, {"id": "S"}),
    Edit("move", "queue[1]", 1, 2),
]


@pytest.mark.parametrize("count", range(len(ROW_EDITS) + 1))
def test_edits_made_at_once_come_to_what_they_come_to_one_by_one(count: int) -> None:
    made, _ = text.read('format = 1\n[run]\nid = "T"\n')
    assert made is not None
    one_by_one = functools.reduce(edit.apply, ROW_EDITS[:count], made)
    assert text.write(edit.apply_each(made, ROW_EDITS[:count])) == text.write(one_by_one)


def test_an_edit_that_does_not_fit_among_many_changes_nothing() -> None:
    made, _ = text.read('format = 1\n[run]\nid = "T"\n')
    assert made is not None
    for wrong in (Edit("insert", "queue[9]", None, {"id": "Z", "kind": "blank"}), Edit("remove", "queue[1]", {}, None)):
        with pytest.raises(EditError):
            edit.apply_all(made, [*ROW_EDITS[:2], wrong])
    assert made.queue == ()
