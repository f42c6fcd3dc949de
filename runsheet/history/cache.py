"""The tables of a folder, kept between two looks.

Owns: the SQLite file in the platform's cache folder, one for each folder of runs. Invariant: the tables are made from
the documents alone, so the file may be deleted at any time, and one that is damaged or of another version is made anew;
a document's rows come and go in one transaction, so that a build that is killed leaves whole documents behind. What is
not as this program left it is not believed, and a file of another program is left alone.

A document is read again when size, times or inode of it or of its log change. Rows of a hundred documents are one
transaction. Another build of the program, or another shape of the tables, makes the cache anew.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import sqlite3
import stat
import sys
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, get_args, get_type_hints

from runsheet import __version__
from runsheet.history import as_left, documents
from runsheet.history.rows import INDEXES, OF_WORK, SHARED, TABLES
from runsheet.run.disk import files, state

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

    def __init__(self, connection: sqlite3.Connection, folder: Path, note: str = "", file: Path | None = None) -> None:
        """Take an open database with the tables in it; `file` is where it is kept."""
        self.connection, self.folder, self.note, self.file = connection, folder, note, file
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


def create_statements(tables: Iterable[str] = TABLES) -> Iterator[str]:
    """The SQL that makes the tables, as any database takes it."""
    for table in tables:
        told = ",\n".join(f'  "{name}" {kind}' for name, kind in columns(table))
        yield f'CREATE TABLE "{table}" (\n{told}\n);'
        for number, by in enumerate(INDEXES[table], 1):
            yield f'CREATE INDEX "{table}_by_{number}" ON "{table}" ({by});'


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
        why = getattr(error, "strerror", None) or error  # without the number, and the path only where the words name it
        tables = Tables(_made(sqlite3.connect(":memory:")), real, f"nothing is kept for the next time: {why}")
    try:
        _update(tables, found, progress, at_most)
    except sqlite3.Error as error:
        tables.close()
        tables = Tables(_made(sqlite3.connect(":memory:")), real, f"nothing is kept for the next time: {error}")
        _update(tables, found, progress, at_most)
    if tables.file is not None:
        as_left.note(tables.connection, tables.file)
    return tables


def _opened(file: Path, folder: Path) -> Tables:
    state.private(file.parent)
    if (found := files.DISK.look(file)) and not (
        stat.S_ISREG(found.st_mode) and (sys.platform == "win32" or found.st_uid == os.geteuid())
    ):
        raise OSError(errno.EPERM, f"{file} is not the user's own file")
    try:
        return Tables(_fitting(file), folder, file=file)
    except sqlite3.OperationalError:  # locked, read-only, full: the file itself is good
        raise
    except sqlite3.DatabaseError:
        for ending in ("", "-wal", "-shm"):
            Path(f"{file}{ending}").unlink(missing_ok=True)
        return Tables(_fitting(file), folder, file=file)


def _fitting(file: Path) -> sqlite3.Connection:
    """Open a cache file; one made by another version of the program is emptied, for it computed otherwise."""
    new = not file.exists()
    connection = sqlite3.connect(file, timeout=PATIENCE)
    try:
        if new:
            file.chmod(0o600)
        as_left.owned(connection, file)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")  # a cache that a power cut set back is read anew
        _check(connection)
        believed = as_left.stands(file)
        _made(connection)
        if not believed:
            with connection:
                _forget(connection, as_left.broken(connection))
                _count_anew(connection)  # what is beside the rows has no seal
    except BaseException:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection) -> None:
    told = connection.execute("SELECT name FROM sqlite_master WHERE name = 'made_by'").fetchone()
    made_by = connection.execute("SELECT version FROM made_by").fetchone() if told else None
    if made_by != (version(),):
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            for table in (*TABLES, "made_by", *OWN_TABLES):
                connection.execute(f'DROP TABLE IF EXISTS "{table}"')


PACKAGE = Path(__file__).parents[1]
"""The program itself."""


def version() -> str:
    """Say by what the tables were made: the program's version and its modules as they stand, and their own shape.

    A build between two versions computes otherwise under one number. Of a program packed into one file none is seen.
    """
    made = [*create_statements(), *OWN_TABLES.values(), *OWN_INDEXES]
    for folder, _, names in os.walk(PACKAGE):
        for name in filter(lambda name: name.endswith(".py"), names):
            look = os.stat(f"{folder}/{name}")  # noqa: PTH116 - a path of its own for each takes as long as the rest
            made.append(f"{name} {look.st_size} {look.st_mtime_ns}")
    return f"{__version__} {hashlib.sha256(repr(sorted(made)).encode()).hexdigest()[:16]}"


def _made(connection: sqlite3.Connection) -> sqlite3.Connection:
    if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'made_by'").fetchone() is None:
        with connection:
            connection.execute("BEGIN IMMEDIATE")
            if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'made_by'").fetchone() is None:
                for statement in create_statements():
                    connection.execute(statement)
                for statement in (*OWN_TABLES.values(), *OWN_INDEXES):
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {as_left.OURS}")
                connection.execute("CREATE TABLE made_by (version TEXT NOT NULL)")
                connection.execute("INSERT INTO made_by VALUES (?)", (version(),))
    return connection


OWN_TABLES = {
    "sealed": "CREATE TABLE sealed (path TEXT PRIMARY KEY, digest TEXT NOT NULL)",
    "twice": "CREATE TABLE twice (path TEXT PRIMARY KEY)",
    "series": f"CREATE TABLE series ({SHARED}, counted INTEGER NOT NULL, apart INTEGER NOT NULL, UNIQUE ({SHARED}))",
    "as_found": "CREATE TABLE as_found (digest TEXT NOT NULL)",
}
"""Beside the rows: the digest of each document's rows; the documents whose run is in another one too that was read
later, so that what they hold would count twice; how many points each chart has, and how many that give no limits,
of every document that is not in `twice`, at any moment: so one that changes has its own points counted and no others;
and the digest of the whole folder's stamps, where the rows are those of just these, by which a folder that did not
change is told at once: no row comes or goes without its going."""

OWN_INDEXES = (
    *(f'CREATE INDEX "{table}_path" ON "{table}" (path)' for table in TABLES),
    "CREATE INDEX names_foreign ON names (path) WHERE \"foreign\" <> ''",
    "CREATE INDEX run_undated ON run (path) WHERE problem = '' AND last = ''",
    f"CREATE INDEX point_of_work ON point (what, method, fraction, counts, at, value, path) WHERE {OF_WORK}",
)
"""Beside those that any database is given: by document, those with a name that is not all ASCII, runs
without any time, and what an uncertainty is made of."""

# --- bringing it up to date -------------------------------------------------------------------------------------


def _update(tables: Tables, found: dict[str, str], progress: Callable[[Progress], bool], at_most: int | None) -> None:
    told = hashlib.sha256(repr(found).encode("utf-8", "surrogateescape")).hexdigest()
    if tables.rows("SELECT digest FROM as_found") == [(told,)]:
        return
    others = tables.rows("PRAGMA data_version")  # another once another program has changed the file
    known = dict(tables.connection.execute("SELECT path, stamp FROM run"))
    gone = known.keys() - set(map(documents.shown, found))
    changed = [(path, stamp) for path, stamp in found.items() if known.get(documents.shown(path)) != stamp]
    with tables.connection:
        _forget(tables.connection, gone)
    tables.unread = len(changed)
    if at_most is None or len(changed) <= at_most:
        _read(tables, changed, progress)
    with tables.connection:
        tables.connection.execute("BEGIN IMMEDIATE")
        _tell_twice(tables.connection)
        if tables.unread == 0 and tables.rows("PRAGMA data_version") == others:  # none kept older rows meanwhile
            tables.connection.execute("INSERT INTO as_found VALUES (?)", (told,))


TWICE = """
SELECT path FROM (
  SELECT path, row_number() OVER (PARTITION BY id ORDER BY last DESC, path) AS place FROM run
  WHERE id IN (SELECT id FROM run WHERE id <> '' GROUP BY id HAVING count(*) > 1)
) WHERE place > 1
"""


def _tell_twice(connection: sqlite3.Connection) -> None:
    """Say anew which documents hold a run that another one holds too, and count their points or no longer."""
    before = {path for (path,) in connection.execute("SELECT path FROM twice")}
    now = {path for (path,) in connection.execute(TWICE)}
    _count(connection, now - before, -1)
    connection.executemany("INSERT INTO twice VALUES (?)", [(path,) for path in now - before])
    connection.executemany("DELETE FROM twice WHERE path = ?", [(path,) for path in before - now])
    _count(connection, before - now, 1)
    connection.execute("DELETE FROM series WHERE counted = 0 AND apart = 0")


COUNT = f"""
INSERT INTO series SELECT {SHARED}, ? * sum(counts), ? * sum(1 - counts) FROM point
WHERE path = ? AND path NOT IN (SELECT path FROM twice) GROUP BY {SHARED}
ON CONFLICT ({SHARED}) DO UPDATE SET counted = counted + excluded.counted, apart = apart + excluded.apart
"""  # noqa: S608 - our own names


def _count(connection: sqlite3.Connection, paths: Iterable[str], sign: int) -> None:
    """Count the points of some documents, or with -1 no longer."""
    connection.executemany(COUNT, [(sign, sign, path) for path in paths])


def _count_anew(connection: sqlite3.Connection) -> None:
    connection.execute("DELETE FROM twice")
    connection.execute("DELETE FROM series")
    all_points = f"SELECT {SHARED}, sum(counts), sum(1 - counts) FROM point GROUP BY {SHARED}"  # noqa: S608 - as above
    connection.execute(f"INSERT INTO series {all_points}")


def _read(tables: Tables, changed: list[tuple[str, str]], progress: Callable[[Progress], bool]) -> None:
    """Read documents into the tables, until all are or `progress` has enough."""
    batch: list[Facts] = []
    with contextlib.closing(documents.read_all(tables.folder, changed)) as read:  # type: ignore[type-var]
        for facts in read:
            batch.append(facts)
            tables.unread -= 1
            if len(batch) >= TOGETHER:
                _keep_whole(tables.connection, batch)
                batch = []
            if not progress(Progress(len(changed) - tables.unread, len(changed))):
                break
    if batch:
        _keep_whole(tables.connection, batch)


def _keep_whole(connection: sqlite3.Connection, batch: list[Facts]) -> None:
    with connection:
        connection.execute("BEGIN IMMEDIATE")
        keep(connection, batch)


def _forget(connection: sqlite3.Connection, paths: Iterable[str]) -> None:
    """Forget some documents, and that the tables are those of the folder as it was found."""
    connection.execute("DELETE FROM as_found")
    paths = list(paths)
    _count(connection, paths, -1)
    gone = [(path,) for path in paths]
    for table in (*TABLES, "sealed"):
        connection.executemany(f'DELETE FROM "{table}" WHERE path = ?', gone)  # noqa: S608 - our own names


def keep(connection: sqlite3.Connection, batch: list[Facts]) -> None:
    """Put the rows of some documents in the place of those they had before; the caller's transaction."""
    known = "SELECT 1 FROM sealed WHERE path = ?"
    _forget(connection, [each.run.path for each in batch if connection.execute(known, (each.run.path,)).fetchone()])
    seals = [(facts.run.path, as_left.seal(list(facts.tables.values()))) for facts in batch]
    connection.executemany("INSERT INTO sealed VALUES (?, ?)", seals)
    for table in TABLES:
        rows = [row for facts in batch for row in facts.tables[table]]
        marks = ", ".join("?" * len(TABLES[table]._fields))
        connection.executemany(f'INSERT INTO "{table}" VALUES ({marks})', rows)  # noqa: S608 - our own names
    _count(connection, [facts.run.path for facts in batch], 1)
