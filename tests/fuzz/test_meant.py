"""A short run of the mixed fuzzing; `python -m tests.fuzz.meant 20000` is the long one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.effort import tries
from tests.fuzz.meant import work

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("seed", [1, 2])
def test_no_reading_is_in_a_row_it_was_not_meant_for(seed: int, tmp_path: Path) -> None:
    done = work(tmp_path, tries(800), seed)
    assert done["readings"] > tries(8)
    assert done["received"] > tries(8)
