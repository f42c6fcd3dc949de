"""What some systems lack, and so cannot be tested there."""

from __future__ import annotations

import sys

import pytest

NO_MODES = pytest.mark.skipif(sys.platform == "win32", reason="Windows keeps no file modes")
