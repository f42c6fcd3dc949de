"""What is wrong with a folder of runs.

Owns: the findings on documents that cannot be read and on runs that are there twice. Invariant: a document that is not
charted is named, with why.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.history import documents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.history.cache import Tables


def findings(tables: Tables) -> Iterator[str]:
    """Say what is wrong, a line each."""
    if tables.note:
        yield tables.note
    if tables.unread:
        yield f"{tables.unread} documents were not read: what follows leaves them out"
    for path, problem in tables.rows("SELECT path, problem FROM run WHERE problem NOT IN ('', ?) ORDER BY path", NO):
        yield f"{path}: not computed: {problem}"
    for (name,) in tables.rows("SELECT id FROM run WHERE id <> '' GROUP BY id HAVING count(*) > 1 ORDER BY id"):
        paths = [
            str(path) for (path,) in tables.rows("SELECT path FROM run WHERE id = ? ORDER BY last DESC, path", name)
        ]
        yield f"run {name} is in {len(paths)} documents: {', '.join(paths)}; only {paths[0]} is charted"


NO = documents.NO_RUN


def counted(tables: Tables) -> str:
    """Say how many runs there are."""
    runs = tables.rows("SELECT count(*), min(last), max(last) FROM run WHERE problem = ''")[0]
    other = tables.rows("SELECT count(*) FROM run WHERE problem = ?", NO)[0][0]
    first, last = str(runs[1])[:10], str(runs[2])[:10]
    ids = tables.rows("SELECT count(DISTINCT id) FROM run WHERE problem = ''")[0][0]
    unread = tables.rows("SELECT count(*) FROM run WHERE problem NOT IN ('', ?)", NO)[0][0]
    parts = [f"{ids} runs" + (f", {first} to {last}" if runs[0] else "")]
    parts += [f"in {runs[0]} documents"] if runs[0] != ids else []
    parts += [f"{unread} documents not computed"] if unread else []
    parts += [f"{other} TOML files that are no runs"] if other else []
    return "; ".join(parts)
