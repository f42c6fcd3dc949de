"""`python -m runsheet`."""

from __future__ import annotations

from runsheet.command.main import run

if __name__ == "__main__":
    run()
