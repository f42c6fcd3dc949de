"""Random work at the screen. Run by hand: python tests/benchmarks/fuzz_screen.py RUNS KEYS SEED."""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from runsheet import demo
from tests.fuzz.keys import work


def main(runs: int, keys: int, seed: int) -> None:
    """Work on some runs and print what came of it."""
    began, steps = time.perf_counter(), 0
    for number in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            os.chdir(folder)
            steps += work(Path(folder) / "run.toml", keys, seed + number, demo.NAMES[number % len(demo.NAMES)])
            os.chdir("/")
    print(f"{runs * keys} things done in {runs} runs, {steps} steps accepted, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:4]))
