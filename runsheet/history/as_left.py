"""Whether a cache is as this program left it.

Owns: the seal of a document's rows, and the note beside the file of how it was left. Invariant: what another program
changed in the file is found out, the whole file by its note or, without that, each document's rows by their seal.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.history.rows import TABLES
from runsheet.run.disk import files

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Sequence

OURS = 0x52554E53
"""What the file says it is of, for SQLite and for us."""


def owned(connection: sqlite3.Connection, file: Path) -> None:
    """Raise OSError where a database is another program's."""
    (told,) = connection.execute("PRAGMA application_id").fetchone()
    names = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if names and told != OURS and not ("made_by" in names and names <= {*TABLES, "made_by"}):
        raise OSError(errno.EEXIST, f"{file} is the database of another program")


def stands(file: Path) -> bool:
    """Whether a file is as it was noted; not where a part of what it holds is still beside it."""
    stand = _stand(file)
    return bool(stand) and stand == _stand_kept(file)


def _stand(file: Path) -> str:
    """What tells the file as it was left from one that was changed; nothing where a part of it is still beside it.

    Its time of change is nobody's to set; on Windows, which keeps none, a change whose time is put back is not seen.
    """
    wal = files.DISK.look(Path(f"{file}-wal"))
    found = files.DISK.look(file)
    if found is None or (wal is not None and wal.st_size):
        return ""
    return f"{found.st_size} {found.st_mtime_ns} {found.st_ctime_ns} {found.st_ino} {found.st_dev}"


def _stand_kept(file: Path) -> str:
    try:
        return files.DISK.read(_beside(file), 4096).decode()
    except (OSError, ValueError):
        return "none"


def _beside(file: Path) -> Path:
    return Path(f"{file}.left")


def note(connection: sqlite3.Connection, file: Path) -> None:
    """Note how a file is left; without that, it is looked through row by row the next time."""
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    if (stand := _stand(file)) != _stand_kept(file):
        with contextlib.suppress(OSError):
            files.replace_file(files.DISK, _beside(file), stand.encode())


def broken(connection: sqlite3.Connection) -> set[str]:
    """The documents whose rows are not those that were written for them."""
    found: dict[str, list[list[tuple[object, ...]]]] = {}
    for at, table in enumerate(TABLES):
        for row in connection.execute(f'SELECT * FROM "{table}" ORDER BY rowid'):  # noqa: S608 - our own names
            found.setdefault(row[0], [[] for _ in TABLES])[at].append(row)
    seals = dict(connection.execute("SELECT path, digest FROM sealed"))
    return {path for path, rows in found.items() if seals.get(path) != seal(rows)} | (seals.keys() - found)


def seal(tables: Sequence[Sequence[Sequence[object]]]) -> str:
    """The SHA-256 of a document's rows."""
    plain = [[[float(v) if isinstance(v, int) else v for v in row] for row in rows] for rows in tables]
    return hashlib.sha256(json.dumps(plain).encode()).hexdigest()
