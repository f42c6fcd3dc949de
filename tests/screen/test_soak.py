"""Readings typed faster than a hand: each lands in its row and in the log. Figures: `tests/benchmarks/soak.py`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.benchmarks import soak

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_readings_at_a_steady_pace_land_each_in_its_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    told = soak.typed(soak.new_run(tmp_path, 40), 40, 20)
    assert (told.readings, told.wrong) == (40, [])
    assert told.steps == 42  # the start, its name, and one for each
