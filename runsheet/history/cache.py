"""The tables of a folder, kept between two looks.

Owns: the SQLite file in the platform's cache folder, one for each folder of runs. Invariant: the tables are made from
the documents alone, so the file may be deleted at any time, and one that is damaged or of another version is made anew;
a document's rows come and go in one transaction, so that a build that is killed leaves whole documents behind.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, get_args, get_type_hints

from runsheet import __version__
from runsheet.history import documents
from runsheet.history.rows import INDEXES, TABLES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from runsheet.history.extract import Facts

TOGETHER = 100
"""Documents to a transaction."""
PATIENCE = 10.0
"""Seconds to wait for another program that writes the same cache."""
TYPES = {str: "TEXT", int: "INTEGER", float: "DOUBLE PRECISION"}


class Progress(NamedTuple):
    """How far a folder is read."""

    done: int
    of: int


class Tables:
    """The tables of one folder; `close` when done."""

    def __init__(self, connection: sqlite3.Connection, folder: Path, note: str = "") -> None:
        """Take an open database with the tables in it."""
        self.connection, self.folder, self.note = connection, folder, note
        self.unread = 0
        """Documents still to be read, where the reading was stopped."""

    def rows(self, query: str, *values: object) -> list[tuple[object, ...]]:
        """Ask the tables."""
        return self.connection.execute(query, values).fetchall()

    def close(self) -> None:
        """Let the file go."""
        self.connection.close()


def columns(table: str) -> list[tuple[str, str]]:
    """A table's columns with their SQL types."""
    hints = get_type_hints(TABLES[table])
    return [(name, _sql_type(hints[name])) for name in TABLES[table]._fields]


def _sql_type(hint: type) -> str:
    plain = next((kind for kind in get_args(hint) if kind is not type(None)), hint)
    return TYPES[plain] + ("" if get_args(hint) else " NOT NULL")


def create_statements() -> Iterator[str]:
    """The SQL that makes the tables, as any database takes it."""
    for table in TABLES:
        told = ",\n".join(f'  "{name}" {kind}' for name, kind in columns(table))
        yield f'CREATE TABLE "{table}" (\n{told}\n);'
        by = ", ".join(f'"{name}"' for name in INDEXES[table])
        yield f'CREATE INDEX "{table}_by" ON "{table}" ({by});'


def place(folder: Path, *, deep: bool = True) -> Path:
    """The cache file of a folder: in `RUNSHEET_CACHE`, else in the platform's cache folder."""
    name = hashlib.sha256(os.fsencode(folder) + (b"/" if deep else b"")).hexdigest()[:24]
    return _cache_folder() / f"history-{name}.sqlite3"


def _cache_folder() -> Path:
    if named := os.environ.get("RUNSHEET_CACHE"):
        return Path(named)
    import platformdirs

    return platformdirs.user_cache_path("runsheet", appauthor=False)


def bring_up(
    folder: Path,
    progress: Callable[[Progress], bool] = lambda _progress: True,
    *,
    at_most: int | None = None,
    file: Path | None = None,
    deep: bool = True,
) -> Tables:
    """Open the tables of a folder, `deep` with those below it, and read what changed since.

    `progress` is called now and then; where it gives False the reading stops, what was read is kept and `unread` says
    how much is not. With more than `at_most` documents to read, none is. Raises OSError where the folder cannot be
    read.
    """
    real = folder.resolve()
    found = documents.find(real, deep=deep)
    try:
        tables = _opened(file or place(real, deep=deep), real)
    except (OSError, sqlite3.Error) as error:
        tables = Tables(_made(sqlite3.connect(":memory:")), real, f"nothing is kept for the next time: {error}")
    try:
        _update(tables, found, progress, at_most)
    except sqlite3.Error as error:
        tables.close()
        tables = Tables(_made(sqlite3.connect(":memory:")), real, f"nothing is kept for the next time: {error}")
        _update(tables, found, progress, at_most)
    tables.connection.execute(TWICE)
    return tables


TWICE = """
CREATE TEMP TABLE twice AS SELECT path FROM (
  SELECT path, row_number() OVER (PARTITION BY id ORDER BY last DESC, path) AS place FROM run WHERE id <> ''
) WHERE place > 1
"""
"""Documents whose run is in another one too that was read later: what they hold would count twice."""


def _opened(file: Path, folder: Path) -> Tables:
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        return Tables(_fitting(file), folder)
    except sqlite3.OperationalError:  # locked, read-only, full: the file itself is good
        raise
    except sqlite3.DatabaseError:
        for ending in ("", "-wal", "-shm"):
            Path(f"{file}{ending}").unlink(missing_ok=True)
        return Tables(_fitting(file), folder)


def _fitting(file: Path) -> sqlite3.Connection:
    """Open a cache file; one made by another version of the program is emptied, for it computed otherwise."""
    new = not file.exists()
    connection = sqlite3.connect(file, timeout=PATIENCE)
    try:
        if new:
            file.chmod(0o600)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")  # a cache that a power cut set back is read anew
        _check(connection)
        return _made(connection)
    except BaseException:
        connection.close()
        raise


def _check(connection: sqlite3.Connection) -> None:
    told = connection.execute("SELECT name FROM sqlite_master WHERE name = 'made_by'").fetchone()
    made_by = connection.execute("SELECT version FROM made_by").fetchone() if told else None
    if made_by != (version(),):
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            for table in (*TABLES, "made_by"):
                connection.execute(f'DROP TABLE IF EXISTS "{table}"')


def version() -> str:
    """Say by what the tables were made: the program's version, and their own shape."""
    shape = "\n".join(create_statements())
    return f"{__version__} {hashlib.sha256(shape.encode()).hexdigest()[:16]}"


def _made(connection: sqlite3.Connection) -> sqlite3.Connection:
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'made_by'").fetchone() is None:
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'made_by'").fetchone() is None:
                for statement in create_statements():
                    connection.execute(statement)
                for table in TABLES:
                    connection.execute(f'CREATE INDEX "{table}_path" ON "{table}" (path)')
                connection.execute("CREATE TABLE made_by (version TEXT NOT NULL)")
                connection.execute("INSERT INTO made_by VALUES (?)", (version(),))
    return connection


# --- bringing it up to date -------------------------------------------------------------------------------------


def _update(tables: Tables, found: dict[str, str], progress: Callable[[Progress], bool], at_most: int | None) -> None:
    known = dict(tables.connection.execute("SELECT path, stamp FROM run"))
    gone = known.keys() - map(documents.shown, found)
    changed = [(path, stamp) for path, stamp in found.items() if known.get(documents.shown(path)) != stamp]
    if gone:
        with tables.connection:
            _forget(tables.connection, gone)
    tables.unread = len(changed)
    if not changed or (at_most is not None and len(changed) > at_most):
        return
    with contextlib.closing(documents.read_all(tables.folder, changed)) as read:  # type: ignore[type-var]
        batch: list[Facts] = []
        for facts in read:
            batch.append(facts)
            tables.unread -= 1
            stop = not progress(Progress(len(changed) - tables.unread, len(changed)))
            if len(batch) >= TOGETHER or tables.unread == 0 or stop:
                with tables.connection:
                    keep(tables.connection, batch)
                batch = []
            if stop:
                return


def _forget(connection: sqlite3.Connection, paths: Iterable[str]) -> None:
    gone = [(path,) for path in paths]
    for table in TABLES:
        connection.executemany(f'DELETE FROM "{table}" WHERE path = ?', gone)  # noqa: S608 - our own names


def keep(connection: sqlite3.Connection, batch: list[Facts]) -> None:
    """Put the rows of some documents in the place of those they had before; the caller's transaction."""
    _forget(connection, (facts.run.path for facts in batch))
    for table, rows in (
        ("run", [facts.run for facts in batch]),
        ("point", [row for facts in batch for row in facts.points]),
        ("study", [row for facts in batch for row in facts.studies]),
        ("result", [row for facts in batch for row in facts.results]),
        ("lot", [row for facts in batch for row in facts.lots]),
    ):
        marks = ", ".join("?" * len(TABLES[table]._fields))
        connection.executemany(f'INSERT INTO "{table}" VALUES ({marks})', rows)  # noqa: S608 - our own names
