"""A short run of the screen's fuzzing; tests/benchmarks/fuzz_screen.py is the long one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from tests.effort import tries
from tests.fuzz import outside
from tests.fuzz.keys import work

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize(("name", "seed"), [("water-day", 1), ("soil-day", 2), ("water-day", 3)])
def test_random_work_loses_nothing(name: str, seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert work(tmp_path / "run.toml", tries(400), seed, demo.text(name), demo.NOW[name]) > 2


@pytest.mark.parametrize(("name", "seed"), [("water-day", 10), ("soil-day", 11)])
def test_random_harm_from_outside_loses_nothing(
    name: str, seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert outside.work(tmp_path / "run.toml", 150, seed, demo.text(name), demo.NOW[name]) > 1


@pytest.mark.parametrize(("name", "seed"), [("water-day", 10), ("soil-day", 11)])
def test_a_second_screen_follows_whatever_happens(
    name: str, seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert outside.follow(tmp_path / "run.toml", tries(150), seed, demo.text(name), demo.NOW[name]) > tries(10)
