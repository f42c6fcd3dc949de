"""How much the tests of chance try: all of it where `HYPOTHESIS_PROFILE` is "full", a quarter on other days.

Random documents, keys and draws, kills at random moments, simulated days; what is counted and listed is all there each
day. The seeds stay, so that a short try is the beginning of the long one.
"""

from __future__ import annotations

import os

FULL = os.environ.get("HYPOTHESIS_PROFILE") == "full"


def tries(full: int) -> int:
    """How many of so many are made today, at least one."""
    return full if FULL else max(1, full // 4)
