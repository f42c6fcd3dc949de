"""`python -m runsheet`."""

from __future__ import annotations

from runsheet.cli import run

if __name__ == "__main__":
    run()
