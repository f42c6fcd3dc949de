"""Cut the power at every file call of a day, with and without a rescue, and print what was looked at.

Run by hand: `python -m tests.benchmarks.power_cut`; the ordinary tests draw less. Exit code 1 on a loss.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

from tests.simulation.days import DAYS, Lost, cut


def main() -> int:
    """Live through each day, cut the power everywhere, and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--each", type=int, default=100, help="random states after each call")
    parser.add_argument("--seed", type=int, default=311)
    given = parser.parse_args()
    os.environ.pop("XDG_RUNTIME_DIR", None)
    for day in DAYS:
        with tempfile.TemporaryDirectory() as place:
            machine = Path(place) / "machine"
            machine.mkdir()
            os.environ["RUNSHEET_STATE"] = str(machine / "home" / "state")
            os.environ["RUNSHEET_MEMORY"] = str(Path(place) / "none")
            begun = time.perf_counter()
            try:
                told = cut(machine, day, given.each, given.seed)
            except Lost as lost:
                print(f"{day} day: LOST {lost}")
                return 1
            seconds = time.perf_counter() - begun
            print(
                f"{day} day: power cut after each of {told.calls} calls, {told.states} states, {told.torn} torn, "
                f"{told.rescued} with entries in a rescue only: all open, nothing lost, nothing called changed "
                f"({seconds:.0f} s)"
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
