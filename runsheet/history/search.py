"""Searching many runs: a sample, a lot, a run.

Owns: what a text is looked up in, and which results hang on a lot. Invariant: a lot touches what was computed or
verified with it: a standard's lot the results of its calibration, a solvent's its run, a batch's its batch.

A lot touches what hangs on it: a standard's the results of its calibration where it was used, a check's or second
source's those it verified, a solvent's the run, a batch's the batch, its silica gel's the petroleum of it, a control's
that control.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, NamedTuple

from runsheet.history.rows import IssuedRow, LotRow, ResultRow
from runsheet.run.kinds import FIELD, SOLVENT_STANDARDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from runsheet.history.cache import Tables


class Place(NamedTuple):
    """A lot in a run, with the results that hang on it."""

    lot: str
    uses: tuple[str, ...]
    """What it was used as there: `standard S1`, `solvent`."""
    run: str
    path: str
    read: str
    """The run's latest reading as written; empty where none has a time."""
    touched: tuple[ResultRow, ...]
    """Results of field samples first, then those of QC rows and studies."""

    @property
    def samples(self) -> int:
        """How many results of field samples hang on it."""
        return sum(result.kind in FIELD for result in self.touched)


class Hit(NamedTuple):
    """A row that reads a sample looked for."""

    run: str
    last: str
    result: ResultRow


def samples(tables: Tables, text: str) -> list[Hit]:
    """Find rows by a sample's id, the client's id for it, its site, or the row's id; `*` stands for anything.

    Upper and lower case are alike. In order of time; a run that is in two documents is told once.
    """
    columns = ("sample", "client_id", "site", "row")
    where, sought = _where("result", columns, text)
    query = (
        f"SELECT run.id, run.last, result.* FROM result JOIN run ON run.path = result.path WHERE {where} "  # noqa: S608
        f"AND {ONCE} ORDER BY run.last, result.path, result.rowid"
    )
    rows = tables.rows(query, *sought)
    hits = [Hit(str(run), str(last), ResultRow(*row)) for run, last, *row in rows]  # type: ignore[arg-type]
    return [hit for hit in hits if any(_is(getattr(hit.result, name), text) for name in columns)]


ONCE = "run.path NOT IN (SELECT path FROM twice)"


def lots(tables: Tables, text: str) -> list[Place]:
    """Find where a lot is used, and the results that hang on it: a place for each lot and run, in order of time."""
    where, sought = _where("lot", ["lot"], text)
    query = (
        "SELECT run.id, run.read, lot.* FROM lot JOIN run ON run.path = lot.path "  # noqa: S608 - our own words
        f"WHERE {where} AND {ONCE} ORDER BY run.last, lot.path, lot.rowid"
    )
    found: dict[tuple[str, ...], list[LotRow]] = {}
    for run, read, *values in tables.rows(query, *sought):
        lot = LotRow(*map(str, values))
        if _is(lot.lot, text):
            found.setdefault((lot.lot, str(run), lot.path, str(read)), []).append(lot)
    return [
        Place(name, tuple(dict.fromkeys(map(_use, uses))), run, path, read, _touched(tables, uses))
        for (name, run, path, read), uses in found.items()
    ]


def _use(lot: LotRow) -> str:
    return f"{lot.what} {lot.of}".strip()


def _touched(tables: Tables, uses: list[LotRow]) -> tuple[ResultRow, ...]:
    """The results that hang on one lot by any of its uses in a run, each once."""
    marks = ", ".join("?" * len(SOLVENT_STANDARDS))
    query = f"SELECT * FROM result WHERE path = ? AND kind NOT IN ({marks}) AND state NOT IN ('unread', 'void')"  # noqa: S608
    rows = [ResultRow(*row) for row in tables.rows(f"{query} ORDER BY rowid", uses[0].path, *SOLVENT_STANDARDS)]  # type: ignore[arg-type]
    hanging = [row for row in rows if any(_hangs(row, lot) for lot in uses)]
    return tuple(sorted(hanging, key=lambda row: row.kind not in FIELD))


def _hangs(row: ResultRow, lot: LotRow) -> bool:
    if lot.calibration:
        return row.calibration == lot.calibration
    if lot.batch:  # oil and grease, the whole extract, has met no silica gel
        return row.batch == lot.batch and (lot.what != "silica gel" or row.fraction == "petroleum")
    return not lot.of or lot.of == row.row  # a whole run's; a row's own; on a standard left out hangs nothing


class Recalled(NamedTuple):
    """A result that was issued and stands on what was looked for."""

    result: IssuedRow
    uses: tuple[str, ...]
    """As what it stands on it: `lot of control LCS1`, `analyst`."""


def recall(tables: Tables, text: str) -> list[Recalled]:
    """Find the issued results that stand on a lot, a person, a photometer, a cell, a standard or a row.

    As the document says now: by report, then in the order of analysis; of replaced reports too.
    """
    where, sought = _where("stands", ["name"], text)
    query = (
        "SELECT stands.path, stands.what, stands.name, stands.rows FROM stands JOIN run ON run.path = stands.path "  # noqa: S608
        f"WHERE {where} AND {ONCE} ORDER BY run.last, stands.path, stands.rowid"
    )
    uses: dict[str, dict[str, dict[str, None]]] = {}
    for path, what, name, rows in tables.rows(query, *sought):
        if _is(str(name), text):
            for row in json.loads(str(rows)):
                uses.setdefault(str(path), {}).setdefault(row, {})[f"{what} {name}"] = None
    found = []
    for path, by_row in uses.items():
        for values in tables.rows("SELECT * FROM issued WHERE path = ? ORDER BY rowid", path):
            result = IssuedRow(*map(str, values))
            if result.row in by_row:
                found.append(Recalled(result, tuple(by_row[result.row])))
    return found


def gone(tables: Tables) -> list[str]:
    """Name each issued result whose row is in its document no longer, so that no search knows what it stands on."""
    query = (
        f"SELECT number, row, issued.path FROM issued JOIN run ON run.path = issued.path WHERE sample = '' AND {ONCE}"  # noqa: S608
    )
    told = tables.rows(f"{query} ORDER BY run.last, issued.path, issued.rowid")
    return [
        f"{number} {row}: issued, and no row of {path} now: what it stands on is not known here"
        for number, row, path in told
    ]


def runs(tables: Tables, text: str) -> list[tuple[str, str, str, str]]:
    """Find runs by id or title: id, path, title, state in words; in order of time."""
    where, sought = _perhaps(["id", "title"], text)
    where = f"{where} OR length(CAST(id || title AS BLOB)) > length(id || title)"  # not all ASCII: as in `_where`
    rows = tables.rows(f"SELECT id, path, title, words FROM run WHERE {where} ORDER BY last, path", *sought)  # noqa: S608
    found = [(str(name), str(path), str(title), str(words)) for name, path, title, words in rows]
    return [run for run in found if _is(run[0], text) or _is(run[2], text)]


PARTS = 4
"""How many parts of what was asked the database looks for; the rest is looked at here."""
ASCII_PART = re.compile("[^*\x80-\U0010ffff]+")


def _where(table: str, columns: Sequence[str], text: str) -> tuple[str, list[str]]:
    """A condition that a row may be what was asked, by its document's names and its own, with its values.

    A letter of another script may be an ASCII one when its case is folded, which the database does not do: all rows of
    a document that has such a name with all parts of what was asked are looked at again.
    """
    rows, of_rows = _perhaps([f"{table}.{name}" for name in columns], text)
    documents, of_documents = _named(table, text)
    foreign, parts = _having("foreign", text)
    alike = f"{table}.path IN (SELECT path FROM names WHERE \"foreign\" <> '' AND {foreign})"  # noqa: S608 - our own words
    own = f"({rows}) AND {documents}" if documents else rows
    return f"({own} OR {alike})", [*of_rows, *of_documents, *parts]


def _perhaps(columns: Sequence[str], text: str) -> tuple[str, list[str]]:
    """A condition that one of the columns may be what was asked, with its values: what it finds is looked at again.

    The database knows upper and lower case of ASCII letters only. It finds a text without `*`, and one that begins
    with such letters and ends with `*`, by its indexes; for another it goes through the rows it is left with.
    """
    asked = text.strip()  # its parts as asked: the small letter of another script may begin with an ASCII one
    begins = ASCII_PART.match(asked)
    if begins and begins[0] == asked:
        conditions, values = ["lower({}) = ?"], [asked.lower()]
    elif begins and begins[0] == asked.rstrip("*"):
        start = begins[0].lower()
        conditions, values = ["lower({}) >= ?", "lower({}) < ?"], [start, start[:-1] + chr(ord(start[-1]) + 1)]
    else:
        values = _longest(part.lower() for part in ASCII_PART.findall(asked))
        conditions = ["instr(lower({}), ?)"] * len(values)
    condition = " AND ".join(conditions) or "1"
    return " OR ".join(f"({condition.replace('{}', column)})" for column in columns), values * len(columns)


def _named(table: str, text: str) -> tuple[str, list[str]]:
    """A condition that a document has all parts of what was asked among its names, with its values.

    One text of each document is looked through, in place of all rows; none where an index finds the rows.
    """
    if ASCII_PART.fullmatch(text.strip().rstrip("*")):
        return "", []
    condition, parts = _having("text", text)
    return f"{table}.path IN (SELECT path FROM names WHERE {condition})", parts  # noqa: S608 - our own words


def _having(column: str, text: str) -> tuple[str, list[str]]:
    """A condition that folded names have all parts of what was asked, with its values."""
    parts = _longest(filter(None, text.strip().casefold().split("*")))
    return " AND ".join([f'instr("{column}", ?)'] * len(parts)) or "1", parts


def _longest(parts: Iterable[str]) -> list[str]:
    return sorted(parts, key=len, reverse=True)[:PARTS]


def _is(value: str, text: str) -> bool:
    """Whether a value is what was asked, upper and lower case alike in any script; `*` stands for anything."""
    first, *parts = text.strip().casefold().split("*")
    value = value.casefold()
    if not parts:
        return value == first
    if not value.startswith(first) or len(value) < len(first) + len(parts[-1]):
        return False
    *middle, last = parts
    at, end = len(first), len(value) - len(last)
    for part in middle:  # each at its first place after the one before: none further on can do better
        at = value.find(part, at, end)
        if at < 0:
            return False
        at += len(part)
    return at <= end and value.endswith(last)
