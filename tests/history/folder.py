"""Folders of small runs for the tests of the history: what a test does not name is harmless."""

from __future__ import annotations

from contextlib import contextmanager
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from runsheet.history import cache
from tests.make import SLOPE, START, document, row, standards

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from runsheet.history.cache import Tables


def reading(result: float) -> float:
    """The absorbance of a result in mg/L of water: 100 mL of extract from 1000 mL, as `tests.make` has it."""
    return SLOPE * result * 10


def control(name: str, recovery: float, **fields: Any) -> dict[str, Any]:
    """Make a control of 8 mg that recovers just so many percent."""
    return row(name, reading(8 * recovery / 100), kind="control", added_mg=8, **fields)


def put(folder: Path, day: int, rows: Sequence[dict[str, Any]], name: str = "", **tables: Any) -> Path:
    """Write one run, its rows a minute apart on a day after the first."""
    begun = START + timedelta(days=day)
    timed = [{"at": begun + timedelta(minutes=60 + at)} | made for at, made in enumerate(rows)]
    made = [standard | {"at": standard["at"] + timedelta(days=day)} for standard in standards()]
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name or f'day-{day:03}'}.toml"
    given = {"run": {"id": name or f"R{day}", "analyst": "M. Tarn"}, "standard": made} | tables
    path.write_text(document(timed, **given), encoding="utf-8")
    return path


@contextmanager
def opened(folder: Path) -> Iterator[Tables]:
    """Open the tables of a folder."""
    tables = cache.bring_up(folder)
    yield tables
    tables.close()
