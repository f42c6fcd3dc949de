"""The tables of a history for other programs.

Owns: their CSV and their SQL. Invariant: the SQL is of the standard, so that any database takes it; a text of the CSV
cannot run as a formula.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.figures import csv_line
from runsheet.history import cache
from runsheet.history.rows import GIVEN, TABLES

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.history.cache import Tables


def points(tables: Tables) -> str:
    """Write every point of every chart as CSV, one a line."""
    lines = [csv_line(TABLES["point"]._fields)]
    twice = {path for (path,) in tables.rows("SELECT path FROM twice")}
    at, counts = (TABLES["point"]._fields.index(name) for name in ("path", "counts"))
    for row in _rows(tables, "point"):
        if row[at] in twice:  # the run is in another document too, whose points count
            row = (*row[:counts], 0, *row[counts + 1 :])  # noqa: PLW2901
        lines.append(csv_line(row))
    return "".join(lines)


def sql(tables: Tables) -> Iterator[str]:
    """The tables as SQL statements, a line each: what makes them, then every row."""
    yield "BEGIN;"
    yield from cache.create_statements(GIVEN)
    for table in GIVEN:
        for row in _rows(tables, table):
            yield f'INSERT INTO "{table}" VALUES ({", ".join(map(_literal, row))});'  # noqa: S608 - texts are quoted
    yield "COMMIT;"


def _rows(tables: Tables, table: str) -> list[tuple[object, ...]]:
    return tables.rows(f'SELECT * FROM "{table}" ORDER BY {"path" if table == "run" else "path, rowid"}')  # noqa: S608 - our own names


def _literal(value: object) -> str:
    if value is None:
        return "NULL"
    if isinstance(value, str):
        return "'" + value.replace("'", "''").replace("\0", "") + "'"
    return repr(value)
