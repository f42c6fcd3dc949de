"""Searching runs: a sample, a run, a lot and the results that hang on it; and the tables for other programs."""

from __future__ import annotations

import csv
import io
import re
import sqlite3
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from runsheet.history import cache, export, extract, search
from runsheet.history.cache import Tables
from runsheet.history.rows import GIVEN, LotRow, RunRow
from tests.history.folder import opened, put
from tests.make import row, standards


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = standards(lot="Q-1")
    made[-1] |= {"lot": "Q-2"}
    made[0] |= {"lot": "Q-3", "use": False, "reason": "cracked"}
    rows = [
        row("CCV1", 0.25, kind="check", expected=100, lot="K-1", cell_mm=10),
        row("ICV1", 0.25, kind="second-source", expected=100, lot="I-1", cell_mm=50),
        row("MB1", 0.001, kind="method-blank", cell_mm=10, batch="B1"),
        row("OF-1", 0.1, batch="B1", cell_mm=10),
        row("OF-2", 0.2, batch="B2", cell_mm=10),
        row("OF-3", 0.2, batch="B2", cell_mm=50, silica_gel=True),
        row("OF-4", batch="B2", cell_mm=10),
        row("OF-5", 0.3, batch="B2", cell_mm=10, void="spilt"),
        row("CCV2", kind="check", expected=100, lot="K-2", cell_mm=10),
        row("ICV2", 0.25, kind="second-source", expected=100, lot="I-2", cell_mm=10, void="a bubble"),
    ]
    put(
        tmp_path,
        0,
        rows,
        name="first",
        calibration=[{"id": "C1", "cell_mm": 10}, {"id": "C5", "cell_mm": 50}],
        standard=[s | {"calibration": "C1"} for s in made] + standards(name="T", calibration="C5", lot="Q-5"),
        batch=[{"id": "B1", "acid_lot": "A-1"}, {"id": "B2", "silica_gel_lot": "G-1"}],
        solvent={"name": "tetrachloroethylene", "lot": "T-1"},
        sample=[{"id": "OF-1", "client_id": "C/77", "site": "North drain"}],
    )
    put(tmp_path, 1, [row("OF-1", 0.1)], name="second", run={"id": "OF-run", "title": '=1+1; it\'s "odd"'})
    return tmp_path


def test_what_is_found_has_the_letters_its_report_prints(tmp_path: Path) -> None:
    put(tmp_path, 0, [row("A", 0.1, dilution=2)], name="own", method={"flags": {"D": "dil"}})
    with opened(tmp_path) as tables:
        assert [hit.result.flags for hit in search.samples(tables, "A")] == ["dil"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("OF-1", [("first", "OF-1"), ("OF-run", "OF-1")]),
        ("of-2", [("first", "OF-2")]),
        ("c/77", [("first", "OF-1")]),
        ("north*", [("first", "OF-1")]),
        ("OF-?", []),
        ("[O]F-1", []),
        ("%", []),
    ],
)
def test_samples_are_found_by_id_clients_id_and_site(folder: Path, text: str, found: list[tuple[str, str]]) -> None:
    with opened(folder) as tables:
        assert [(hit.run, hit.result.row) for hit in search.samples(tables, text)] == found


@pytest.mark.parametrize(
    ("lot", "uses", "touched"),
    [
        ("Q-1", ["standard S2", "standard S3", "standard S4"], ["OF-1", "OF-2", "MB1"]),
        ("q-2 ", ["standard S5"], ["OF-1", "OF-2", "MB1"]),
        ("Q-3", ["standard S1"], []),
        ("Q-5", [f"standard T{n}" for n in range(1, 6)], ["OF-3"]),
        ("K-1", ["check CCV1"], ["OF-1", "OF-2", "MB1"]),
        ("I-1", ["second-source ICV1"], ["OF-3"]),
        ("T-1", ["solvent"], ["OF-1", "OF-2", "OF-3", "MB1"]),
        ("A-1", ["acid B1"], ["OF-1", "MB1"]),
        ("G-1", ["silica gel B2"], ["OF-3"]),  # oil and grease has met none
        ("K-2", ["check CCV2"], []),  # not read: it has verified nothing
        ("I-2", ["second-source ICV2"], []),
    ],
)
def test_a_lot_touches_the_results_that_hang_on_it_each_once(
    folder: Path, lot: str, uses: list[str], touched: list[str]
) -> None:
    with opened(folder) as tables:
        (found,) = search.lots(tables, lot)
    assert list(found.uses) == uses
    assert [result.row for result in found.touched] == touched
    assert found.samples == sum(name.startswith("OF") for name in touched)


def test_a_lot_of_no_run_is_nowhere_and_a_copied_run_counts_once(folder: Path) -> None:
    (folder / "a copy.toml").write_bytes((folder / "first.toml").read_bytes())
    with opened(folder) as tables:
        assert search.lots(tables, "Z-9") == []
        assert len(search.lots(tables, "Q-5")) == 1
        assert len(search.samples(tables, "OF-3")) == 1
        counts = [line["counts"] for line in csv.DictReader(io.StringIO(export.points(tables), newline=""))]
        charted = tables.rows("SELECT count(*) FROM point WHERE counts = 1 AND path NOT IN (SELECT path FROM twice)")
    assert [(counts.count("1"),)] == charted


def test_letters_of_any_script_are_alike_in_upper_and_lower_case(tmp_path: Path) -> None:
    put(tmp_path, 0, [row("OF-1", 0.1)], sample=[{"id": "OF-1", "site": "Ångström Öst"}])
    with opened(tmp_path) as tables:
        for text in ("Ångström Öst", "ångström öst", "ÅNGSTRÖM*", " *öst "):
            assert len(search.samples(tables, text)) == 1
        assert search.samples(tables, "ängström öst") == []


def test_runs_are_found_by_id_and_title(folder: Path) -> None:
    with opened(folder) as tables:
        assert [name for name, *_ in search.runs(tables, "of*")] == ["OF-run"]
        assert [name for name, *_ in search.runs(tables, "*odd*")] == ["OF-run"]


def test_the_sql_loads_into_an_empty_database_and_holds_the_same(folder: Path) -> None:
    with opened(folder) as tables:
        loaded = sqlite3.connect(":memory:")
        loaded.executescript("\n".join(export.sql(tables)))
        named = loaded.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        assert [name for (name,) in named] == list(GIVEN)
        assert set(GIVEN) == {"run", "point", "study", "result", "lot", "stands", "issued"}
        for name in GIVEN:
            query = f'SELECT * FROM "{name}" ORDER BY rowid'  # noqa: S608
            assert sorted(loaded.execute(query).fetchall(), key=repr) == sorted(tables.rows(query), key=repr)
            assert loaded.execute(query).fetchall() or name in ("stands", "issued")  # none of these runs is
        loaded.close()


def test_the_csv_holds_every_point_and_no_formula(folder: Path) -> None:
    put(folder, 3, [row("=HYPERLINK(1)", 0.001, kind="blank")], name="third")
    with opened(folder) as tables:
        rows = list(csv.DictReader(io.StringIO(export.points(tables), newline="")))
        count = tables.rows("SELECT count(*) FROM point")[0][0]
    assert len(rows) == count
    assert "'=HYPERLINK(1)" in {line["row"] for line in rows}
    assert float(next(line["value"] for line in rows if line["what"] == "check")) == pytest.approx(100)


@pytest.mark.parametrize(
    ("value", "text", "found"),
    [
        ("abc", "a*c", True), ("abc", "*", True), ("", "*", True), ("abc", "a*b", False), ("aba", "a*a", True),
        ("a", "a*a", False), ("abab", "*ab*ab", True), ("abab", "ab*ab*ab", False), ("x", "", False), ("", "", True),
        ("abcb", "*b", True), ("Straße", "*STRASSE", True), ("a.c", "a.*", True), ("abc", "**c", True),
    ],
)  # fmt: skip
def test_a_star_stands_for_anything(value: str, text: str, found: bool) -> None:  # noqa: FBT001
    assert search._is(value, text) == found  # noqa: SLF001 - the one rule of what was asked


@given(st.text("ab*", max_size=8), st.text("ab", max_size=8))
def test_a_star_finds_what_a_regular_expression_finds(text: str, value: str) -> None:
    pattern = ".*".join(map(re.escape, text.split("*")))
    assert search._is(value, text) == (re.fullmatch(pattern, value) is not None)  # noqa: SLF001


LETTERS = "abAB1-éİi sßk\N{KELVIN SIGN}"
"""Also one whose small letter begins with an ASCII one, and two that are ASCII letters when case is folded."""
NAMES = st.text(LETTERS, max_size=6)


@given(st.lists(NAMES, max_size=12), st.text(LETTERS + "*", max_size=5))
@example(["İi"], "İi")
@example(["\N{KELVIN SIGN}1"], "\N{KELVIN SIGN}1")
@example(["\N{KELVIN SIGN}1"], "k1")
@example(["Stra\xdfe", "other"], "*asse")
def test_the_database_passes_over_nothing_that_is_what_was_asked(names: list[str], text: str) -> None:
    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE TABLE run (id TEXT, title TEXT, path TEXT, words TEXT, last TEXT)")
    connection.execute('CREATE INDEX by_id ON run (lower("id"))')
    connection.executemany(
        "INSERT INTO run VALUES (?, 'a title', ?, 'pass', '')", [(n, str(at)) for at, n in enumerate(names)]
    )
    found = [int(path) for _, path, _, _ in search.runs(Tables(connection, Path()), text)]
    connection.close()
    assert sorted(found) == [at for at, name in enumerate(names) if search._is(name, text)]  # noqa: SLF001


@given(st.lists(st.text(LETTERS + "\n", max_size=6), max_size=12), st.text(LETTERS + "\n*", max_size=6))
@example(["\u0130i"], "*\u0130i")
@example(["Stra\xdfe", "other"], "STRASSE")
@example(["Stra\xdfe", "other"], "strass*")
@example(["Stra\xdfe 1", "x"], "*asse*1")
@example(["\u01301"], "i*")
@example(["ab", "b", "a"], "*a*b*")
def test_no_document_is_passed_over_whose_names_have_what_was_asked(names: list[str], text: str) -> None:
    """Each name a lot, two to a document."""
    connection = cache._made(sqlite3.connect(":memory:"))  # noqa: SLF001 - the tables of a cache
    for path in range(0, len(names), 2):
        own = tuple(LotRow(str(path), name, str(at), "", "", "") for at, name in enumerate(names[path : path + 2]))
        run = RunRow(str(path), "", "", str(path), "", "", "", "", "", "", "", "", 0, "", "")
        cache.keep(connection, [extract.Facts(run, lots=own, names=(extract._names(str(path), (), own, ()),))])  # noqa: SLF001
    found = {(place.lot, int(place.path)) for place in search.lots(Tables(connection, Path()), text)}
    connection.close()
    assert found == {(name, at // 2 * 2) for at, name in enumerate(names) if search._is(name, text)}  # noqa: SLF001


@pytest.mark.parametrize("text", ["OF-1", "of-*", "OF*1", "*F-1", "*f-*", "\xf6st", "\xf6*", "*\xf6*"])
def test_no_text_is_looked_for_in_all_rows(text: str, folder: Path) -> None:
    with opened(folder) as tables:
        asked: list[str] = []
        tables.connection.set_trace_callback(asked.append)
        search.samples(tables, text)
        search.lots(tables, text)
        search.recall(tables, text)
        tables.connection.set_trace_callback(None)
        plans = [str(row) for query in asked for row in tables.rows(f"EXPLAIN QUERY PLAN {query}")]
    assert plans
    assert not [plan for plan in plans if re.search("SCAN (result|lot|stands|run)", plan)]


def test_many_stars_take_no_more_than_a_few_steps_a_sign(folder: Path) -> None:
    """Counted, not timed: each part is looked for once, from where the one before ended."""
    looked: list[int] = []

    class Counted(str):
        __slots__ = ()

        def casefold(self) -> Counted:
            return self

        def find(self, part: str, start: int = 0, end: int = 10**9) -> int:  # type: ignore[override]
            looked.append(start)
            return super().find(part, start, end)

    assert not search._is(Counted("a" * 5000), "*" + "a*" * 40 + "b")  # noqa: SLF001
    assert len(looked) <= 40
    with opened(folder) as tables:
        assert search.samples(tables, "*a" * 2000 + "*") == []


def test_a_search_asks_the_database_for_no_more_than_plain_parts(folder: Path) -> None:
    with opened(folder) as tables:
        asked: list[str] = []
        tables.connection.set_trace_callback(asked.append)
        search.samples(tables, "*a*a*a*a*a*")
        search.lots(tables, "*a*a*a*a*a*")
        search.runs(tables, "*a*a*a*a*a*")
    assert not [query for query in asked if "GLOB" in query or "LIKE" in query]
