"""Run documents for the tests, and what the program makes of them.

Owns: the one plain run every test starts from. Invariant: what a test does not name is harmless: the standards lie on
y = 0.0025 x exactly, the method has no limits, so that a finding comes from what the test wrote.
"""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w
from hypothesis import settings

from runsheet import read
from runsheet.command import main

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.run.model import Run

START = datetime.fromisoformat("2026-03-11T08:00:00+01:00")
NOW = "2026-03-11T12:00:00+01:00"
SLOPE = 0.0025
LEVELS = (10, 25, 50, 100, 200)
"""mg/L; with 100 mL of extract from 1000 mL, 0.25 A is 100 mg/L of extract and 10 mg/L of water."""

Table = dict[str, Any]


def examples(count: int, **more: Any) -> settings:
    """Settings for a test of so many examples, of which the everyday profile tries a quarter: see conftest.py."""
    return settings(max_examples=count * settings().max_examples // 100, **more)


def at(minutes: float) -> datetime:
    """The time some minutes after 08:00."""
    return START + timedelta(minutes=minutes)


def standards(xs: Sequence[float] = LEVELS, ys: Sequence[float] | None = None, **fields: Any) -> list[Table]:
    """Make a standard for each level, read once, from 08:20 on, a minute each; `fields` go into each."""
    ys = [SLOPE * x for x in xs] if ys is None else ys
    first, name = fields.pop("first", 20), fields.pop("name", "S")
    return [
        {"id": f"{name}{n}", "concentration": x, "readings": [y], "at": at(first + n)} | fields
        for n, (x, y) in enumerate(zip(xs, ys, strict=True), 1)
    ]


def row(name: str, *readings: float, kind: str = "sample", **fields: Any) -> Table:
    """Make a row of the queue; without amounts of its own 100 mL of extract from 1000 mL."""
    bare = {} if kind in ("blank", "check", "second-source") else {"amount": 1000, "extract_ml": 100}
    made = {"id": name, "kind": kind, "readings": list(readings)} | bare | fields
    return {key: value for key, value in made.items() if value is not None}


def document(queue: Sequence[Table] = (), **tables: Any) -> str:
    """Write a run document with these rows; other tables by name, a calibration as one table or several."""
    calibration = tables.pop("calibration", {})
    several = calibration if isinstance(calibration, list) else [{"id": "C1", "model": "line"} | calibration]
    plain: Table = {
        "format": 1,
        "run": {"id": "T"},
        "method": {},
        "instrument": {"reads": "absorbance", "step": 0.001},
        "calibration": several,
        "standard": standards(),
        "queue": list(queue),
    }
    return tomli_w.dumps({name: value for name, value in (plain | tables).items() if value != []})


def run(queue: Sequence[Table] = (), **tables: Any) -> Run:
    """Make the same as a Run; it must be readable without an error."""
    made, problems = read(document(queue, **tables))
    assert made is not None
    assert [problem for problem in problems if problem.level == "error"] == []
    return made


def command(*words: str) -> str:
    """Run a command and give its standard output; it must be fine."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main.main(words) == 0
    return out.getvalue()


def computed(text: str, now: str = NOW) -> Table:
    """What `runsheet results --as json` says of a document."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "run.toml"
        file.write_text(text, encoding="utf-8")
        found: Table = json.loads(command("results", str(file), "--as", "json", "--now", now))
    return found


def results(queue: Sequence[Table] = (), now: str = NOW, **tables: Any) -> Table:
    """What `runsheet results --as json` says of the run `document` writes."""
    return computed(document(queue, **tables), now)


def fit(xs: Sequence[float], ys: Sequence[float], queue: Sequence[Table] = (), **calibration: Any) -> Table:
    """The results of a run whose standards are any data, x and y; its rows are readings of the extract itself."""
    return results(
        queue,
        method={"unit": "mg/L extract"},
        instrument={"reads": "absorbance", "step": 1e-12},
        standard=standards(xs, ys),
        calibration={"zero_standard": "ignore", "drift": "none"} | calibration,
    )


def extract(name: str, *readings: float, **fields: Any) -> Table:
    """Make a row that reads an extract as it is: its result is what the curve gives."""
    return row(name, *readings, amount=None, extract_ml=None, matrix="extract", **fields)


def rows(result: Table) -> dict[str, Table]:
    """The rows of a result by id."""
    return {found["id"]: found for found in result["rows"]}


def verdict(result: Table, rule: str) -> list[tuple[Any, ...]]:
    """State, rows, value, low and high of each finding of a rule, to compare with `said`."""
    return [(f["state"], " ".join(f["rows"]), f["value"], f["low"], f["high"]) for f in findings(result, rule)]


def said(*expected: tuple[Any, ...]) -> Any:
    """Expect these findings: state, the rows in one text, then value, low and high as far as there are any."""
    return [(*each[:2], *(near(figure) for figure in (*each[2:], None, None, None)[:3])) for each in expected]


def near(figure: float | None) -> Any:
    """Expect a figure to the last digits of a float, or none."""
    return None if figure is None else pytest.approx(figure, rel=1e-9, abs=1e-12)


def findings(result: Table, rule: str) -> list[Table]:
    """The findings of one quality rule."""
    return [finding for finding in result["quality"] if finding["rule"] == rule]
