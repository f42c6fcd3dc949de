"""What was changed outside the log, as the trail lists it, against what was really changed: random days."""

from __future__ import annotations

import random
import tempfile
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st

from runsheet.review.trail import trail
from runsheet.run import edit, text
from runsheet.run.disk import files, store
from tests.make import at, document, row

if TYPE_CHECKING:
    from runsheet.run.model import Run

ROWS = 6
FIELDS = ("readings", "amount", "dilution", "note", "void", "id")


def value(field: str, random_: random.Random, number: int) -> object:
    made = Decimal(random_.randrange(1, 900)) / 1000
    texts = {"note": f"n{number}", "void": f"v{number}", "id": f"R{number}"}
    return texts.get(field, [made] if field == "readings" else made + 1)


def change(run: Run, random_: random.Random, number: int) -> list[edit.Edit]:
    """One edit or two, of values that are then other than they were."""
    places = random_.sample(range(1, len(run.queue) + 1), random_.choice((1, 2)))
    field = random_.choice(FIELDS)
    return [
        edit.set_value(run, f"queue[{place}].{field}", value(field, random_, number * 10 + place)) for place in places
    ]


def typed(path: Path, random_: random.Random, number: int) -> None:
    opened = store.open_for_writing(path, "M. Tarn", at(number), clock=lambda: at(number))
    opened.accept(change(opened.run, random_, number), at(number))
    if random_.random() < 0.3:
        opened.undo(at(number))
    assert opened.close()


def meddled(path: Path, run: Run, random_: random.Random, number: int) -> list[tuple[str, str, str]]:
    """Change the document with an editor; each change as the trail should list it."""
    edits = change(run, random_, number)
    path.write_text(text.write(edit.apply_each(run, edits)), encoding="utf-8")
    found = []
    for made in sorted(edits, key=lambda made: made.path):
        old, new = ("" if each is None else edit.typed(each) for each in (made.old, made.new))
        found += [(made.path, old, new)] if old != new else []
    return found


@given(st.integers(0, 10**9))
def test_the_trail_lists_just_what_was_changed_outside(seed: int) -> None:
    random_ = random.Random(seed)  # noqa: S311 - no secret
    with tempfile.TemporaryDirectory() as folder:
        path = files.real(Path(folder) / "run.toml")
        path.write_text(document([row(f"A{n}") for n in range(ROWS)]), encoding="utf-8")
        typed(path, random_, 1)
        expected: list[tuple[str, str, str]] = []
        outside_last = False
        for number in range(2, random_.randrange(3, 12)):
            if random_.random() < 0.5 and not outside_last:
                expected += meddled(path, _run(path), random_, number)
                outside_last = True
            else:
                typed(path, random_, number)
                outside_last = False
        found = trail(files.log_of(path).read_bytes(), path.read_bytes())
        assert [(each.path, each.old, each.new) for each in found.outside] == expected
        assert found.state == ("changed" if expected else "whole")
        times = [each.after for each in found.outside]
        assert times == sorted(times)


def _run(path: Path) -> Run:
    run, problems = text.read(path.read_text(encoding="utf-8"))
    assert run is not None, problems
    return run
