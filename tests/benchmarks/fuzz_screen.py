"""Random work at the screen; by hand: python tests/benchmarks/fuzz_screen.py RUNS KEYS SEED [KIND].

KIND is `keys` (when left out), `outside` (another program changes document and log meanwhile) or `follow` (a second
screen looks on while a writer and another program work). Works in turn on the invented days, the documents of
fixtures/good, and mutated ones that have no errors. Prints the counts; where a run fails, its number and seed, which
do the same again.
"""

from __future__ import annotations

import os
import random
import resource
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz import outside
from tests.fuzz.keys import start, work

KINDS = {
    "keys": (work, "edits accepted"),
    "outside": (outside.work, "changes from outside settled"),
    "follow": (outside.follow, "changes followed"),
}


def main(runs: int, keys: int, seed: int, kind: str = "keys") -> None:
    """Work on some runs and print what came of it."""
    do, counted = KINDS[kind]
    began, edits, here, failed = time.perf_counter(), 0, Path.cwd(), 0
    for number in range(seed, seed + runs):
        with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:  # the reserve may come last
            os.environ["RUNSHEET_STATE"] = f"{folder}/state"
            os.chdir(folder)
            try:
                Path("runs").mkdir()
                edits += do(Path(folder) / "runs" / "run.toml", keys, number, *start(random.Random(number)))  # noqa: S311
            except BaseException as error:
                failed += 1
                print(f"run {number}: {type(error).__name__}: {error}")
                if runs == 1 or not isinstance(error, Exception):
                    raise
            finally:
                os.chdir(here)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    seconds = time.perf_counter() - began
    print(f"{runs * keys} things done in {runs} runs from seed {seed}, {failed} failed", end="")
    print(f", {edits} {counted}, {seconds:.0f} s, at most {memory:.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]), *sys.argv[4:])
