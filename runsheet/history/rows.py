"""The tables of a history.

Owns: the rows of each table; the columns of the cache, of the SQL and of the CSV follow from these. Invariant: texts,
numbers and None only. A laboratory with a server loads the same rows into its own database (`runsheet history --as
sql`).
"""

from __future__ import annotations

from typing import NamedTuple

SERIES = {
    "control": "control recovery",
    "spike": "spike recovery",
    "duplicate": "RPD of duplicates",
    "method-blank": "method blank",
    "replicates": "spread of replicate readings",
    "check": "check standard recovery",
    "second-source": "second-source recovery",
    "blank": "solvent blank as found",
    "slope": "slope of the curve",
    "lowest-level": "error at the lowest level",
}
"""What is charted, by its name in the tables."""
PROCEDURE = ("control", "spike", "duplicate", "method-blank", "replicates")
"""Those of the whole procedure: charted over all photometers, with a mark where one changed; the others are of one."""


class RunRow(NamedTuple):
    """One document of the folder."""

    path: str
    """Below the folder, with `/` between its parts."""
    stamp: str
    """Size, times and inode of the document and of its log when it was read, and what there was of entries kept
    elsewhere; it is read again when one changes."""
    problem: str
    """Why it could not be computed from; empty for a run that could."""
    id: str
    title: str
    method: str
    analyst: str
    instrument: str
    solvent: str
    opened: str
    """As written, with its offset; empty where the run does not say."""
    last: str
    """The latest reading, else the opening, UTC, for the order of runs only: some time even where neither is given."""
    read: str
    """The latest reading as written, with its offset, for people; empty where none has a time."""
    rows: int
    state: str
    """pass, qualified, fail or todo as of its latest reading, by the document without its log."""
    words: str
    """The same in words, with the numbers of warnings and of failures acted on."""


class PointRow(NamedTuple):
    """One figure of a control chart."""

    path: str
    row: str
    """The queue row, or the calibration."""
    what: str
    """One of `SERIES`."""
    method: str
    fraction: str
    """oil_grease, petroleum, or empty where it makes no difference."""
    instrument: str
    cell: str
    """mm."""
    solvent: str
    model: str
    """Model and weighting of the curve, where the figure depends on them."""
    unit: str
    at: str
    """As written, with its offset."""
    moment: str
    """The same in UTC, which sorts."""
    value: float
    low: float | None
    high: float | None
    """The method's limits in that run; of a method blank and of replicates as they are for this row."""
    lot: str
    counts: int
    """0 for a figure that gives no limits: held, superseded, or no verdict by the rule about its row."""
    analyst: str
    setting: str
    """The photometer with its cell and solvent, whatever the chart shares."""


class StudyRow(NamedTuple):
    """One result of a detection study or of a demonstration of capability."""

    path: str
    row: str
    kind: str
    """detection-spike, method-blank or capability."""
    method: str
    fraction: str
    instrument: str
    cell: str
    solvent: str
    unit: str
    at: str
    moment: str
    batch: str
    analyst: str
    value: float | None
    """The result; None where there is no number."""
    spiked: float | None
    """What the spike was made to, in the result's unit."""
    recovery: float | None
    """Percent."""
    detection: float | None
    """The method's detection limit in that run, and the day of its study."""
    studied: str
    left_out: str
    """Why it does not count; empty where it does."""


class ResultRow(NamedTuple):
    """One row of a queue, for searching."""

    path: str
    row: str
    kind: str
    sample: str
    client_id: str
    site: str
    fraction: str
    batch: str
    calibration: str
    at: str
    result: float | None
    unit: str
    basis: str
    """What a mg/kg is a kg of: dry, as received; empty for another unit."""
    reported: str
    flags: str
    """By the letters its method prints."""
    state: str
    """unread, open, accepted, held, void or superseded."""


class LotRow(NamedTuple):
    """Where a lot number stands in a run, and what of the run hangs on it."""

    path: str
    lot: str
    what: str
    """standard, check, second-source, control, solvent, acid, silica gel, drying agent ..."""
    of: str
    """The standard, row or batch that names it; empty for the whole run."""
    calibration: str
    """The calibration whose results hang on it; empty: not by a calibration."""
    batch: str
    """The batch whose results hang on it; empty: not by a batch."""


class StandsRow(NamedTuple):
    """One thing results of the client stand on; of runs that were issued only."""

    path: str
    what: str
    """As what: analyst, photometer, cell, standard, lot of ..., check standard before, row of finding ..."""
    name: str
    """A person's or a photometer's name, an id, a lot."""
    rows: str
    """The results' rows, as a JSON array."""


class IssuedRow(NamedTuple):
    """One result of a report that was issued."""

    path: str
    number: str
    at: str
    replaced: str
    """The number of the report that replaced it; empty for the last."""
    row: str
    sample: str
    client_id: str
    client: str
    fraction: str
    reported: str
    unit: str
    basis: str
    """What a mg/kg is a kg of, by the document as it is now."""
    flags: str


class NamesRow(NamedTuple):
    """All that a document is searched by: a `*` at the beginning is looked for here, not in each of its rows."""

    path: str
    text: str
    """Each name of its results and lots, and of what its issued results stand on, once; case-folded, one a line."""
    foreign: str
    """Those of them that are not all ASCII: the database cannot fold them itself. Mostly none."""


TABLES: dict[str, type[RunRow | PointRow | StudyRow | ResultRow | LotRow | StandsRow | IssuedRow | NamesRow]] = {
    "run": RunRow,
    "point": PointRow,
    "study": StudyRow,
    "result": ResultRow,
    "lot": LotRow,
    "stands": StandsRow,
    "issued": IssuedRow,
    "names": NamesRow,
}
"""The tables by their names. All but `run` name their document by `path`."""
GIVEN = tuple(name for name in TABLES if name != "names")
"""Those that other programs are given."""

SHARED = '"what", "method", "fraction", "instrument", "cell", "solvent", "model", "unit"'
"""What the points of one chart have in common."""
INDEXES = {
    "run": ('"id"',),
    "point": (f'{SHARED}, "counts", "moment", "path"',),
    "study": ('"method", "fraction"',),
    "result": ('lower("sample")', 'lower("client_id")', 'lower("site")', 'lower("row")'),
    "lot": ('lower("lot")',),
    "stands": ('lower("name")',),
    "issued": ('"path", "row"',),
    "names": (),
}
"""What each table is looked up by, an index each."""
OF_WORK = "what IN ('control', 'duplicate')"
"""Which points tell of a laboratory's own work: a question to `point_of_work` says it too."""
