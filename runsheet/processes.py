"""What holds for every process of this program.

Owns: how often Python looks for unused circles of objects. Invariant: whoever starts a process calls it first.
"""

from __future__ import annotations

import gc

COLLECT_AFTER = 50_000
"""New objects before the collector looks. At the usual 700 it goes through everything a dozen times while modules are
loaded, a tenth of a start, and again while a long run is computed."""


def collect_seldom() -> None:
    """Look for unused circles as seldom as this program needs: it makes few."""
    gc.set_threshold(COLLECT_AFTER)
