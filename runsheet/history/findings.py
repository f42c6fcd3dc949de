"""What is wrong with a folder of runs.

Owns: the findings on documents that cannot be read and on runs that are there twice. Invariant: a document that is not
charted is named, with why.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import counted as counts
from runsheet.history import documents

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.history.cache import Tables


def findings(tables: Tables) -> Iterator[str]:
    """Say what is wrong, a line each."""
    if tables.note:
        yield tables.note
    if tables.unread:
        yield not_read(tables.unread)
    for path, problem in tables.rows("SELECT path, problem FROM run WHERE problem NOT IN ('', ?) ORDER BY path", NO):
        yield f"{path}: not computed: {problem}"
    for (path,) in tables.rows(UNDATED):
        yield f"{path}: no standard, no row and no opening has a time: its figures are in no chart and no study"
    for (name,) in tables.rows("SELECT id FROM run WHERE id <> '' GROUP BY id HAVING count(*) > 1 ORDER BY id"):
        paths = [
            str(path) for (path,) in tables.rows("SELECT path FROM run WHERE id = ? ORDER BY last DESC, path", name)
        ]
        yield f"run {name} is in {len(paths)} documents: {', '.join(paths)}; only {paths[0]} counts here"


def not_read(unread: int) -> str:
    """Say of so many documents that they are left out."""
    were, them = ("document was", "it") if unread == 1 else ("documents were", "them")
    return f"{unread} {were} not read: what follows leaves {them} out"


NO = documents.NO_RUN
UNDATED = """
SELECT path FROM run WHERE problem = '' AND last = ''
AND EXISTS (SELECT 1 FROM result WHERE result.path = run.path AND result IS NOT NULL) ORDER BY path
"""


def counted(tables: Tables) -> str:
    """Say how many runs there are."""
    documents, ids = _numbers(tables, "SELECT count(*), count(DISTINCT id) FROM run WHERE problem = ''")
    other, *_ = _numbers(tables, "SELECT count(*) FROM run WHERE problem = ?", NO)
    unread, *_ = _numbers(tables, "SELECT count(*) FROM run WHERE problem NOT IN ('', ?) AND path NOT LIKE '%/'", NO)
    closed, *_ = _numbers(tables, "SELECT count(*) FROM run WHERE path LIKE '%/'")
    parts = [counts(ids, "run") + _days(tables)]
    parts += [f"in {documents} documents"] if documents != ids else []
    parts += [f"{counts(unread, 'document')} not computed"] if unread else []
    parts += [f"{counts(closed, 'folder')} not read"] if closed else []
    parts += [counts(other, "TOML file that is no run", "TOML files that are no runs")] if other else []
    return "; ".join(parts)


def _days(tables: Tables) -> str:
    """The days of the first and last run, as the bench's clock had them; nothing where no reading has a time."""
    query = "SELECT read FROM run WHERE problem = '' AND read <> '' ORDER BY last {}, path LIMIT 1"
    days = [str(read)[:10] for way in ("ASC", "DESC") for (read,) in tables.rows(query.format(way))]
    return f", {' to '.join(days)}" if days else ""


def _numbers(tables: Tables, query: str, *values: object) -> list[int]:
    return [int(str(number)) for number in tables.rows(query, *values)[0]]
