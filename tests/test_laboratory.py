"""The laboratory file: read with its problems, found beside the runs or in the configuration, never a crash."""

from __future__ import annotations

import sys
from datetime import date
from typing import TYPE_CHECKING

import pytest

from runsheet.methods import laboratory
from runsheet.problem import has_errors

if TYPE_CHECKING:
    from pathlib import Path

FILE = """
[laboratory]
name = "Fennmark Bench Laboratory (invented)"
address = "1 Quay, Fennmark"
dilutions = [10, 2, 5]

[[person]]
name = "I. Varga"
account = "varga"
analyst = true

[[instrument]]
name = "bench photometer"
reads = "transmittance"
step = 0.1
cells = [10, 50]
[instrument.output]
port = "/dev/ttyUSB0"
speed = 9600

[[solvent]]
name = "tetrachloroethylene"
lot = "T-2207"
expires = 2026-12-31

[[material]]
lot = "SS-07"
use = "second-source"
concentration = 100
"""


def test_all_of_it_is_read() -> None:
    made, problems = laboratory.read(FILE)
    assert problems == []
    assert made.laboratory.address == "1 Quay, Fennmark"
    assert [float(step) for step in made.dilutions] == [2, 5, 10]
    assert (made.person[0].account, made.instrument[0].reads) == ("varga", "transmittance")
    assert made.instrument[0].output is not None
    assert made.instrument[0].output.speed == 9600
    assert (made.solvent[0].expires, made.material[0].use) == (date(2026, 12, 31), "second-source")


@pytest.mark.parametrize(
    ("text", "path", "message"),
    [
        ('[[person]]\naccount = "x"', "person[1].name", "is required"),
        ('[[material]]\nlot = "A"\nuse = "spik"', "material[1].use", 'did you mean "spike"?'),
        ('[[instrument]]\nname = "p"\nstep = -1', "instrument[1].step", "a number above 0"),
        ('[[person]]\nname = "A"\n[[person]]\nname = "A"', "person[2].name", "used once"),
        ("[laboratory]\ndilution = [2]", "laboratory.dilution", "did you mean dilutions?"),
        ('[[instrument]]\nname = "p"\noutput = {pattern = "("}', "instrument[1].output.pattern", "regular expression"),
        ("[laboratory", "", ""),
    ],
)
def test_what_is_wrong_has_its_place_and_the_rest_is_kept(text: str, path: str, message: str) -> None:
    made, problems = laboratory.read(text + '\n[[solvent]]\nname = "tetrachloroethylene"\n')
    assert has_errors(problems)
    assert [problem.path for problem in problems] == [path]
    assert message in problems[0].message
    assert problems[0].line is not None
    assert [solvent.name for solvent in made.solvent] == (["tetrachloroethylene"] if path else [])


def test_it_is_looked_for_beside_the_runs_first(tmp_path: Path) -> None:
    runs, config = tmp_path / "runs", tmp_path / "config"
    for folder in (runs, config):
        folder.mkdir()
    assert laboratory.find(runs, config) == (laboratory.NOTHING, [])
    (config / laboratory.NAME).write_text('[laboratory]\nname = "far"', encoding="utf-8")
    assert laboratory.find(runs, config)[0].laboratory.name == "far"
    (runs / laboratory.NAME).write_text('\ufeff[laboratory]\nname = "near"', encoding="utf-8")
    assert laboratory.find(runs, config)[0].laboratory.name == "near"


def test_a_file_that_is_no_text_is_told_and_nothing_else_happens(tmp_path: Path) -> None:
    (tmp_path / laboratory.NAME).write_bytes(b"\xff\xfe\x00")
    made, problems = laboratory.find(tmp_path, tmp_path)
    assert made == laboratory.NOTHING
    assert "cannot be read" in problems[0].message


@pytest.mark.skipif(sys.platform == "win32", reason="a folder of too long a name is not there, on Windows")
def test_a_folder_that_cannot_be_looked_into_is_told(tmp_path: Path) -> None:
    """As one that is closed to this account, which no test may rely on: a root account is let in."""
    folder = tmp_path / ("x" * 300)
    made, problems = laboratory.find(tmp_path, folder)
    assert made == laboratory.NOTHING
    told = [f"error: {folder / laboratory.NAME}: cannot be read: File name too long"]
    assert [str(problem) for problem in problems] == told


def test_without_steps_of_its_own_the_usual_ones_are_offered() -> None:
    assert laboratory.NOTHING.dilutions == laboratory.STEPS
