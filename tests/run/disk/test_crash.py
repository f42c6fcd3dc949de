"""A killed day loses nothing: the trials of `tests/benchmarks/crash_test.py`, with fewer kills than by hand."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.effort import tries

KILLS = tries(20)
RACES = tries(50)
ROOT = Path(__file__).parents[3]

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="the trials need fork")


def trial(*arguments: str) -> subprocess.CompletedProcess[str]:
    # From 3.12 on Python warns of a fork beside a thread: here it is the saver's, which waits.
    command = [sys.executable, "-W", "ignore::DeprecationWarning", "tests/benchmarks/crash_test.py", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False, timeout=300)


def test_every_accepted_edit_survives_every_kill() -> None:
    done = trial("--kills", str(KILLS), "--races", str(RACES))
    assert (done.returncode, done.stderr) == (0, "")
    calls, moments, races = done.stdout.splitlines()
    found = re.fullmatch(r"killed at each of (\d+) file calls: nothing lost", calls)
    assert found
    assert int(found[1]) > 50
    found = re.fullmatch(rf"killed at {KILLS} random moments of (\d+) edits \(\d+ times .*\): nothing lost", moments)
    assert found
    assert int(found[1]) >= KILLS // 2  # half of the kills wait for an edit
    assert races == f"{RACES} times two writers started together: one won each time, nothing mixed"


def test_the_trial_finds_a_loss() -> None:
    done = trial("--kills", "5", "--races", "0", "--lie")
    assert done.returncode == 1
    assert "LOST: accepted up to" in done.stdout
