"""No test reads or writes what belongs to the person who runs it."""

from __future__ import annotations

import os
import tempfile

import pytest


@pytest.fixture(scope="session", autouse=True)
def _own_folders() -> None:
    for name in ("RUNSHEET_STATE", "RUNSHEET_CONFIG", "RUNSHEET_CACHE"):
        os.environ.setdefault(name, tempfile.mkdtemp(prefix="runsheet-tests-"))
