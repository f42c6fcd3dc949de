"""Random work in a reviewer's walk, which the keys of test_screen.py seldom begin."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from textual import events

from runsheet import demo
from runsheet.run.disk import files
from tests.effort import tries
from tests.fuzz import keys

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator
    from pathlib import Path

    from runsheet.screen.bench import Bench

anything = keys.doing


def typed(text: str) -> Iterator[keys.Happening]:
    yield from (events.Key(each, each) for each in text)
    yield events.Key("enter", None)


def walking(bench: Bench, random_: random.Random) -> Iterator[keys.Happening]:
    """Begin a walk now and then, answer its questions most of the time, else do anything."""
    chance = random_.random()
    if bench.prompt is None and chance < 0.1:
        yield events.Key("escape", None)
        yield events.Key("V", "V")
        yield from typed("R. Holt")
    elif bench.prompt is not None and bench.prompt.covers and chance < 0.8:
        yield from typed(random_.choice(("0.1", "", "y", "y", "y", "0,2", "x", "0.000", "9")))
    else:
        yield from anything(bench, random_)


@pytest.mark.parametrize(("name", "seed"), [("water-day", 5), ("soil-day", 2)])
def test_random_walks_lose_nothing(name: str, seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(keys, "doing", walking)
    path = tmp_path / "run.toml"
    assert keys.work(path, tries(600), seed, demo.text(name), demo.NOW[name]) > 2
    assert files.log_of(path).read_text(encoding="utf-8").count('"review[') > tries(5)
