"""Searching many runs: a sample, a lot, a run.

Owns: what a text is looked up in, and which results hang on a lot. Invariant: a lot touches what was computed or
verified with it: a standard's lot the results of its calibration, a solvent's its run, a batch's its batch.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from runsheet.history.rows import LotRow, ResultRow

if TYPE_CHECKING:
    from runsheet.history.cache import Tables


class Place(NamedTuple):
    """A lot in a run, with the results that hang on it."""

    lot: LotRow
    run: str
    last: str
    """The run's latest reading, UTC."""
    touched: tuple[ResultRow, ...]


class Hit(NamedTuple):
    """A row that reads a sample looked for."""

    run: str
    last: str
    result: ResultRow


FIELD = ("sample", "duplicate", "spike", "spike-duplicate")
"""Kinds whose results belong to a sample."""


def samples(tables: Tables, text: str) -> list[Hit]:
    """Find rows by a sample's id, the client's id for it, its site, or the row's id; `*` stands for anything.

    Upper and lower case are alike. In order of time.
    """
    columns = ("sample", "client_id", "site", "row")
    where = " OR ".join(f"lower(result.{name}) GLOB ?" for name in columns)
    query = (
        f"SELECT run.id, run.last, result.* FROM result JOIN run ON run.path = result.path WHERE {where} "  # noqa: S608
        "ORDER BY run.last, result.path, result.rowid"
    )
    rows = tables.rows(query, *[_pattern(text)] * len(columns))
    return [Hit(str(run), str(last), ResultRow(*row)) for run, last, *row in rows]  # type: ignore[arg-type]


def lots(tables: Tables, text: str) -> list[Place]:
    """Find where a lot is used, and the results that hang on it, in order of time."""
    query = (
        "SELECT run.id, run.last, lot.* FROM lot JOIN run ON run.path = lot.path WHERE lower(lot.lot) GLOB ? "
        "ORDER BY run.last, lot.path, lot.rowid"
    )
    found = []
    for run, last, *values in tables.rows(query, _pattern(text)):
        lot = LotRow(*map(str, values))
        found.append(Place(lot, str(run), str(last), tuple(_touched(tables, lot))))
    return found


def _touched(tables: Tables, lot: LotRow) -> list[ResultRow]:
    marks = ", ".join("?" * len(FIELD))
    query = f"SELECT * FROM result WHERE path = ? AND kind IN ({marks}) AND state NOT IN ('unread', 'void')"  # noqa: S608 - our own names
    values: list[object] = [lot.path, *FIELD]
    if lot.calibration:
        query, values = f"{query} AND calibration = ?", [*values, lot.calibration]
    elif lot.batch:
        query, values = f"{query} AND batch = ?", [*values, lot.batch]
    elif lot.of:  # a standard that was left out, a control: nothing hangs on it
        return []
    return [ResultRow(*row) for row in tables.rows(f"{query} ORDER BY rowid", *values)]  # type: ignore[arg-type]


def runs(tables: Tables, text: str) -> list[tuple[str, str, str, str]]:
    """Find runs by id or title: id, title, path, state; in order of time."""
    pattern = _pattern(text)
    rows = tables.rows(
        "SELECT id, title, path, state FROM run WHERE lower(id) GLOB ? OR lower(title) GLOB ? ORDER BY last, path",
        pattern,
        pattern,
    )
    return [(str(name), str(title), str(path), str(state)) for name, title, path, state in rows]


def _pattern(text: str) -> str:
    """Make the pattern of what was asked: only the star is special."""
    return "".join(f"[{sign}]" if sign in "[?" else sign for sign in text.lower())
