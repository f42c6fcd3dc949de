"""The results as they are printed for a client, kept with a signature and with an issue.

Owns: `printed`, `digest`. Invariant: pure; the same results give the same digest, whatever program computed them, so
that one that computes others is found out.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING

from runsheet.run.model import IssuedResult

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import Sheet


def printed(sheet: Sheet) -> tuple[IssuedResult, ...]:
    """The reported result of each row that goes to the client, in the order of analysis."""
    return tuple(
        IssuedResult(
            id=row.id,
            fraction=row.fraction,
            reported=row.reported or None,
            unit=row.unit or None,
            flags=row.letters or None,
        )
        for row in sheet.rows
        if row.for_client
    )


def digest(results: Iterable[IssuedResult]) -> str:
    """The SHA-256 of results as they are printed, as hexadecimal digits."""
    rows = [[each.id, each.fraction, each.reported, each.unit, each.flags] for each in results]
    return hashlib.sha256(json.dumps(rows, ensure_ascii=False).encode()).hexdigest()
