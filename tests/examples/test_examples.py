"""The invented runs in fixtures/examples: every figure an independent reference expects of them."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.make import command, rows

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "fixtures" / "examples").glob("*.toml"))


def expected(file: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(file.with_suffix(".expected.json").read_text(encoding="utf-8"))
    return found


def differences(want: Any, got: Any, path: str = "") -> Iterator[str]:
    """Name every figure of `want` that `got` does not have to 1e-8 relative."""
    if isinstance(want, dict):
        for key, value in want.items():
            yield from differences(value, got.get(key, "nothing"), f"{path}.{key}")
    elif isinstance(want, list) and isinstance(got, list) and len(want) == len(got):
        for n, (one, other) in enumerate(zip(want, got, strict=True)):
            yield from differences(one, other, f"{path}[{n}]")
    elif isinstance(want, float) and isinstance(got, float | int):
        if not math.isclose(want, got, rel_tol=1e-8, abs_tol=1e-14):
            yield f"{path}: {want} expected, {got} found"
    elif want != got:
        yield f"{path}: {want!r} expected, {got!r} found"


def agrees(file: Path, output: str) -> None:
    want, got = expected(file), json.loads(output)
    (calibration,) = got["calibrations"]
    by_name = {
        "now": got["now"],
        "calibration": calibration,
        "rows": rows(got),
        "due": {due["what"]: due for due in got["due"]},
    }
    for row in got["rows"]:  # the reference has the flags that follow from the figures, none that a rule gives
        row["flags"] = [flag for flag in row["flags"] if flag in "UJED"]
    want["rows"] = rows(want)
    assert set(want) == set(by_name)
    assert list(want["rows"]) == list(by_name["rows"])
    assert list(differences(want, by_name)) == []


def test_there_are_examples() -> None:
    assert len(FILES) == 5


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_every_figure(file: Path) -> None:
    agrees(file, command("results", str(file), "--as", "json", "--now", expected(file)["now"]))


def test_every_figure_from_a_process_of_its_own() -> None:
    file = FILES[0]
    words = [sys.executable, "-m", "runsheet", "results", str(file), "--as", "json", "--now", expected(file)["now"]]
    made = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    assert made.stderr == ""
    agrees(file, made.stdout)


@pytest.mark.parametrize("want", [1.0, 1, "U", None, ["D"], {"x": 2.0}])
def test_a_wrong_figure_is_told(want: object) -> None:
    assert list(differences(want, {"x": 3.0, "y": 1.00001})) != []
