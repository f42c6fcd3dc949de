"""A folder of many invented runs, for tests of the history and its benchmark."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from tests.make import LEVELS, SLOPE, START, document, row

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

METHOD = {
    "name": "tph-water",
    "unit": "mg/L",
    "calibration": {"levels": 5, "r": 0.995, "lowest_error_percent": 50},
    "blank": {"absorbance": 0.005},
    "check": {"recovery_percent": [90, 110], "second_source_percent": [90, 110]},
    "batch": {"samples": 20, "control_percent": [70, 130], "spike_percent": [70, 130]},
    "limits": {"detection": 0.5, "reporting": 2.0, "nominal_amount": 1000, "nominal_extract_ml": 100},
}


class Lab:
    """An invented laboratory whose readings scatter; the same seed gives the same runs."""

    def __init__(self, seed: int = 1) -> None:
        """Begin."""
        self._random = random.Random(seed)  # noqa: S311 - readings, not secrets

    def _reading(self, concentration: float) -> float:
        noise = self._random.gauss(0, 0.0006) + self._random.gauss(0, 0.015) * SLOPE * concentration
        return round(SLOPE * concentration + noise, 3)

    def run(self, number: int, samples: int = 10, **tables: Any) -> str:
        """Write one day's run; `number` says which day and goes into its ids and lots."""
        day = START + timedelta(days=number)
        lots = {"lot": f"RO-{number // 60}"}
        made = [
            {"id": f"S{n}", "concentration": x, "readings": [self._reading(x)], "at": day + timedelta(minutes=n)} | lots
            for n, x in enumerate(LEVELS, 1)
        ]
        queue = self._queue(number, day, samples)
        given: dict[str, Any] = {
            "run": {"id": f"R-{number:05}", "analyst": "M. Tarn", "opened": day},
            "method": METHOD,
            "instrument": {"name": "bench photometer", "serial": "1", "step": 0.001},
            "solvent": {"name": "tetrachloroethylene", "lot": f"T-{number // 30}"},
            "standard": made,
            "sample": [{"id": f"W-{number}-{n}", "site": f"well {n}"} for n in range(1, samples + 1)],
        }
        return document(queue, **{**given, **tables})

    def _queue(self, number: int, day: datetime, samples: int) -> list[dict[str, Any]]:
        parent = round(self._random.uniform(20, 120), 1)
        rows = [
            row("ICV1", self._reading(100), kind="second-source", expected=100, lot=f"SS-{number // 90}"),
            row("CCV1", self._reading(100), kind="check", expected=100),
            row("SB1", self._reading(0), kind="blank"),
            row("MB1", self._reading(0), kind="method-blank"),
            row("LCS1", self._reading(80), kind="control", added_mg=8),
            *(row(f"W-{number}-{n}", self._reading(parent)) for n in range(1, samples + 1)),
            row("DUP1", self._reading(parent), kind="duplicate", of=f"W-{number}-1"),
            row("MS1", self._reading(parent + 80), kind="spike", of=f"W-{number}-1", added_mg=8),
            row("CCV2", self._reading(100), kind="check", expected=100),
            row("SB2", self._reading(0), kind="blank"),
        ]
        return [made | {"at": day + timedelta(minutes=20 + 2 * n)} for n, made in enumerate(rows)]


def write(folder: Path, count: int, first: int = 0, seed: int = 1) -> Lab:
    """Write `count` runs, a folder to a hundred of them."""
    lab = Lab(seed)
    for number in range(first, first + count):
        below = folder / f"{number // 100:03}"
        below.mkdir(parents=True, exist_ok=True)
        (below / f"R-{number:05}.toml").write_text(lab.run(number), encoding="utf-8")
    return lab
