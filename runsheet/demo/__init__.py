"""Invented runs to look at and try.

Owns: the demo documents and the time each is looked at. Invariant: names, sites and figures are invented.
"""

from __future__ import annotations

from datetime import datetime
from importlib import resources

NOW = {
    "water-day": datetime.fromisoformat("2026-03-11T10:52:00+01:00"),
    "soil-day": datetime.fromisoformat("2026-04-22T15:30:00+02:00"),
}
NAMES = tuple(NOW)


def text(name: str) -> str:
    """A demo document."""
    return resources.files("runsheet.demo").joinpath(f"{name}.toml").read_text(encoding="utf-8")
