"""The invented days, each as a file of the test, and the terminals of a test."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo
from runsheet.run.disk import store

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from tests.terminal import Terminal


@pytest.fixture(autouse=True)
def _closed(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Every run opened here is closed after the test: each looks at its document as long as it is open."""
    opened: list[store.Store] = []

    def open_(*given: Any, **more: Any) -> store.Store:
        opened.append(real(*given, **more))
        return opened[-1]

    real = store.open_for_writing
    monkeypatch.setattr(store, "open_for_writing", open_)
    yield
    for each in opened:
        each.close(0.5)


@pytest.fixture
def water(tmp_path: Path) -> Path:
    path = tmp_path / "water.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    return path


@pytest.fixture
def soil(tmp_path: Path) -> Path:
    path = tmp_path / "soil.toml"
    path.write_text(demo.text("soil-day"), encoding="utf-8")
    return path


@pytest.fixture
def terminals() -> Iterator[list[Terminal]]:
    """Programs on terminals, none of which outlives the test."""
    started: list[Terminal] = []
    yield started
    for terminal in started:
        terminal.kill()
