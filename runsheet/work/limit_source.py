"""Where a limit comes from once it was changed in a run.

Owns: what becomes of the source of a limit that is edited. Invariant: the source of the old value never stands beside a
new one: it is given with the change, or says that the limit was set in this run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.methods.words import limits
from runsheet.run import edit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

HERE = "set in this run"


def path(limit: str) -> str:
    """The place of a limit's source in the document; `limit` is its path below the method."""
    return f'method.sources."{limit}"'


def with_sources(run: Run, edits: Sequence[Edit]) -> list[Edit]:
    """The edits of a step, with the source of every limit they change that does not come with them."""
    if not any(made.changes and made.path.startswith("method") for made in edits):
        return list(edits)
    before = dict(limits(run.method))
    changed = run
    for made in edits:
        changed = edit.apply(changed, made)
    given = {made.path for made in edits}
    more = []
    for limit, value in limits(changed.method):
        old_source = (run.method.sources or {}).get(limit)
        new_source = (changed.method.sources or {}).get(limit)
        if edit.typed(before.get(limit)) == edit.typed(value) or path(limit) in given or new_source != old_source:
            continue
        more.append(edit.set_value(changed, path(limit), HERE))
        changed = edit.apply(changed, more[-1])
    return [*edits, *more]
