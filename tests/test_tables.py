"""Documents made to use up time and memory are refused before they are parsed; what looks like one is read."""

from __future__ import annotations

import tomllib
from typing import Any, NoReturn

import pytest

from runsheet import tables

DEEP = [
    ".".join("a" * 20_000) + " = 1",
    "[" + ".".join("a" * 20_000) + "]",
    "[[" + " . ".join("a" * 20_000) + "]]",
    ".".join(['"a b"'] * 20_000) + " = 1",
    ".".join(["'a'"] * 20_000) + " = 1",
    "x = {" + ".".join("a" * 20_000) + " = 1}",
]


@pytest.fixture
def unparsed(monkeypatch: pytest.MonkeyPatch) -> None:
    def parsed(*_: Any, **__: Any) -> NoReturn:
        raise AssertionError("it was parsed")

    monkeypatch.setattr(tomllib, "loads", parsed)


@pytest.mark.usefixtures("unparsed")
@pytest.mark.parametrize("line", DEEP, ids=range(len(DEEP)))
def test_a_key_of_very_many_parts_is_refused_before_it_is_parsed(line: str) -> None:
    data, (problem,) = tables.parse(f"format = 1\n{line}\n")
    assert data is None
    assert str(problem) == "error: line 2: a key of more than 16 parts is not read"


@pytest.mark.parametrize(
    "line",
    [
        f'note = "{"e.g. " * 40}"',
        f'note = "{"a." * 40}"',
        f"note = '{'a.' * 40}'",
        f'note = """\n{"a." * 40}\n"""',
        f"note = 'x' # {'a.' * 40}",
        f"{'.'.join('a' * 16)} = 1",
    ],
)
def test_a_text_of_many_points_is_no_deep_key(line: str) -> None:
    data, problems = tables.parse(line)
    assert data is not None
    assert problems == []
