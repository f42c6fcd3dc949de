"""What differs between two documents of a run: every value that was changed, and none that was not."""

from __future__ import annotations

import random
import tomllib
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w

from runsheet import demo, read
from runsheet.review.outside import Change, changes
from tests.make import document, row

if TYPE_CHECKING:
    from runsheet.run.model import Run

TEXT = document(
    [row("OF-1", 0.1), row("OF-2", 0.2), row("OF-3", 0.3)],
    signature=[
        {"role": "analyst", "name": "M. Tarn", "at": tomllib.loads("t = 2026-03-11T12:00:00Z")["t"], "digest": "d"}
    ],
)


def run(text: str) -> Run:
    made, _ = read(text)
    assert made is not None
    return made


def changed(old: str, new: str) -> tuple[Change, ...]:
    assert TEXT.count(old) == 1
    return changes(run(TEXT), run(TEXT.replace(old, new)))


def test_the_same_values_however_written_are_no_change() -> None:
    assert changes(run(TEXT), run(TEXT + "# a comment\n")) == ()


def test_a_value_is_told_with_its_place_and_digits() -> None:
    assert changed("0.3", "0.30") == (Change("queue[3].readings", "[0.3]", "[0.30]"),)
    assert changed('id = "OF-2"\n', 'id = "OF-2"\nnote = "seen"\n') == (Change("queue[2].note", "", '"seen"'),)
    assert changed("step = 0.001", "step = 0.0001") == (Change("instrument.step", "0.001", "0.0001"),)


def test_a_row_that_came_or_went_or_was_renamed() -> None:
    with_one = TEXT + '\n[[queue]]\nid = "OF-4"\nkind = "blank"\n'
    assert changes(run(TEXT), run(with_one)) == (Change("queue[4]", "", '{id = "OF-4", kind = "blank"}'),)
    assert changes(run(with_one), run(TEXT)) == (Change("queue[4]", '{id = "OF-4", kind = "blank"}', ""),)
    assert changed('id = "OF-2"', 'id = "OF-9"') == (Change("queue[2].id", '"OF-2"', '"OF-9"'),)


def test_a_removed_signature_is_told() -> None:
    unsigned = {name: value for name, value in tomllib.loads(TEXT).items() if name != "signature"}
    (change,) = changes(run(TEXT), run(tomli_w.dumps(unsigned)))
    assert change.path == "signature[1]"
    assert change.new == ""
    assert 'name = "M. Tarn"' in change.old


@pytest.mark.parametrize("name", demo.NAMES)
def test_whatever_is_changed_is_told_and_nothing_else(name: str) -> None:
    """Readings, amounts and notes of rows changed at random, by an editor that knows nothing of ours."""
    random_ = random.Random(311)  # noqa: S311 - no secrets
    for _ in range(20):
        data = tomllib.loads(demo.text(name), parse_float=Decimal)
        expected = set()
        for _ in range(random_.randrange(1, 6)):
            array = random_.choice(("queue", "standard"))
            at = random_.randrange(len(data[array]))
            field, value = _other(data[array][at], random_)
            data[array][at][field] = value
            expected.add(f"{array}[{at + 1}].{field}")
        found = changes(run(demo.text(name)), run(tomli_w.dumps(data)))
        assert {change.path for change in found} == expected


def _other(found: dict[str, Any], random_: random.Random) -> tuple[str, Any]:
    """Another value for a field of a row, like none it had."""
    field = random_.choice(("readings", "note"))
    new = Decimal(random_.randrange(10**6, 10**7)) / 10**7
    return field, [new] if field == "readings" else f"changed to {new} from {found.get('note')}"
