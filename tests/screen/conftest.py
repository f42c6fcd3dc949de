"""The invented days, each as a file of the test."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet import demo

if TYPE_CHECKING:
    from pathlib import Path


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
