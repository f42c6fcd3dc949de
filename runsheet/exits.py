"""How a command ends.

Owns: the exit codes and `Refusal`. Invariant: a command that cannot do what was asked says so in one sentence.
"""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """What a command ends with."""

    FINE = 0
    FAILS = 1
    """The run's state is `fail` (`check`), or its log is not whole (`log --verify`)."""
    BAD = 2
    """Bad usage or an unreadable document."""


class Refusal(Exception):  # noqa: N818 - it is an answer, not an error
    """Something a command cannot do, in words for the person who asked."""
