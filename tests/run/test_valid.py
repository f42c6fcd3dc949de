"""What must hold between the parts of a document: names that are names, letters that can be told apart."""

from __future__ import annotations

from typing import Any

import pytest

from runsheet import read
from runsheet.compute.limits import letters
from tests.make import Table, document, row


def told(*queue: Table, **tables: Any) -> list[tuple[str, str, str]]:
    return [(found.level, found.path, found.message) for found in read(document(queue, **tables))[1]]


def test_a_name_of_spaces_is_no_name() -> None:
    assert told(row(" ", 0.25)) == [("error", "queue[1].id", "expected a name, found spaces only")]
    assert told(run={"id": " "}) == [("error", "run.id", "expected a name, found spaces only")]
    assert told(row("", 0.25)) == [("error", "queue[1].id", "expected a name, found an empty text")]


@pytest.mark.parametrize(
    ("flags", "expected"),
    [
        ({"J": " "}, [("J", "is blank: our own letter, J, is printed")]),
        ({"H": "Q"}, [("H", '"Q" is printed for Q too: no reader can tell them apart')]),
        (
            {"H": "X", "B": "X"},
            [
                ("B", '"X" is printed for H too: no reader can tell them apart'),
                ("H", '"X" is printed for B too: no reader can tell them apart'),
            ],
        ),
        ({"H": "Q", "Q": "R"}, []),
    ],
)
def test_letters_are_told_apart(flags: Table, expected: list[tuple[str, str]]) -> None:
    wanted = [("warning", f"method.flags.{name}", message) for name, message in sorted(expected)]
    assert sorted(told(method={"flags": flags})) == wanted


def test_a_flag_is_printed_whatever_blank_its_letter_is() -> None:
    made, _ = read(document(method={"flags": {"J": " ", "H": "X"}}))
    assert made is not None
    printed = letters(made.method)
    assert (printed["J"], printed["H"], printed["U"]) == ("J", "X", "U")
