"""A folder with planted cases gone through: each is told once, with its place, and nothing honest is told."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo
from runsheet.command import main
from runsheet.history import audit as audits
from runsheet.report import audit as told
from runsheet.review import signing
from runsheet.review.cases import KINDS
from runsheet.run import edit
from runsheet.run.disk import store
from tests.make import at, command, document, row

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

    Change = Callable[[Run], list[Edit]]

ROWS = [row(f"OF-{n}") for n in range(1, 13)]


def typed(
    folder: Path, name: str, *steps: tuple[Change, float, str], queue: list[Any] | None = None, **tables: Any
) -> None:
    """Type a run: each step with its minute and its reason."""
    path = folder / f"{name}.toml"
    about = {"id": name, "analyst": "M. Tarn"}
    path.write_text(document(ROWS if queue is None else queue, run=about, **tables), encoding="utf-8")
    opened = store.open_for_writing(path, "tarn", at(0))
    for change, minute, reason in steps:
        opened.accept(change(opened.run), at(minute), reason=reason)
    assert opened.close()


def read(number: int, value: str, minute: float | None) -> Change:
    def change(run: Run) -> list[Edit]:
        made = [edit.set_value(run, f"queue[{number}].readings", [Decimal(value)])]
        return made + ([edit.set_value(run, f"queue[{number}].at", at(minute))] if minute is not None else [])

    return change


def honest(*, first: int = 1, values: int = 100) -> list[tuple[Change, float, str]]:
    """Six rows read and entered at their time."""
    return [(read(n, f"0.{values + 7 * n}", 60 + 2 * n), 60 + 2 * n, "") for n in range(first, first + 6)]


def cases(folder: Path) -> list[tuple[str, str]]:
    runs, unread = audits.audited(folder)
    assert unread == []
    found = [(run.id, case.kind) for run in runs for case in run.cases]
    return found + [(place.path, "same-readings") for same in audits.same_readings(runs) for place in same.places]


def test_an_honest_day_has_no_case(tmp_path: Path) -> None:
    typed(tmp_path, "A", *honest())
    typed(tmp_path, "B", *honest(values=300))
    assert cases(tmp_path) == []


def amount(number: int, value: str) -> Change:
    return lambda run: [edit.set_value(run, f"queue[{number}].amount", Decimal(value))]


def limit(run: Run) -> list[Edit]:
    return [edit.set_value(run, "method.check.every_readings", 40)]


def sign(run: Run) -> list[Edit]:
    return [signing.sign(run, "M. Tarn", at(120))]


STEPS: dict[str, tuple[list[tuple[Change, float, str]], list[str]]] = {
    "early": ([(read(8, "0.2", 90), 80, "")], ["early"]),
    "late": ([(read(8, "0.2", 90), 120, "")], ["late"]),
    "bulk": ([(read(n, f"0.2{n:02}", None), 80 + n / 100, "") for n in range(2, 13)], ["bulk"]),
    "backwards": ([(read(8, "0.2", None), 80, ""), (read(9, "0.2", None), 70, "")], ["backwards"]),
    "unreasoned": ([(read(1, "0.2", None), 80, "")], ["unreasoned"]),
    "with a reason": ([(read(1, "0.2", None), 80, "misread")], []),
    "limits": ([(limit, 80, "the client's plan")], ["limits"]),
    "signing": ([(amount(1, "500"), 80, "weighed"), (sign, 120, "")], ["signing"]),
    "long before signing": ([(amount(1, "500"), 59, "weighed"), (sign, 120, "")], []),
}


@pytest.mark.parametrize("name", STEPS)
def test_each_planted_case_is_told(tmp_path: Path, name: str) -> None:
    steps, kinds = STEPS[name]
    begin = [(read(1, "0.107", 50), 50, "")]
    method = {"check": {"every_readings": 10}}
    typed(tmp_path, "A", *begin, *steps, method=method, queue=[{**each, "amount": 1000} for each in ROWS])
    assert cases(tmp_path) == [("A", kind) for kind in kinds]


def test_a_change_outside_and_a_broken_log_are_told(tmp_path: Path) -> None:
    for name in ("A", "B"):
        typed(tmp_path, name, *honest())
    a, b = tmp_path / "A.toml", tmp_path / "B.toml.log"
    a.write_text(a.read_text(encoding="utf-8").replace("0.121", "0.021"), encoding="utf-8")
    b.write_bytes(b.read_bytes().replace(b"0.121", b"0.021"))
    assert {("A", "outside"), ("B", "broken")} <= set(cases(tmp_path))


def test_qc_repeated_until_it_passed_is_told_by_its_rule(tmp_path: Path) -> None:
    queue = [
        row("CCV1", 0.02, kind="check", expected=100, at=at(60)),
        row("CCV2", 0.03, kind="check", expected=100, at=at(62)),
        row("CCV3", 0.25, kind="check", expected=100, at=at(64)),
    ]
    method = {"check": {"recovery_percent": [90, 110]}}
    (tmp_path / "A.toml").write_text(document(queue, run={"id": "A"}, method=method), encoding="utf-8")
    assert ("A", "voided-qc") in cases(tmp_path)


def test_the_same_raw_readings_in_two_runs_are_one_case_and_a_carried_curve_is_none(tmp_path: Path) -> None:
    typed(tmp_path, "A", *honest())
    typed(tmp_path, "B", *[(read(n + 3, f"0.{100 + 7 * n}", 90 + n), 90 + n, "") for n in range(1, 7)])
    runs, _ = audits.audited(tmp_path)
    (same,) = audits.same_readings(runs)
    assert [place.words for place in same.places] == ["A.toml OF-1 to OF-6", "B.toml OF-4 to OF-9"]
    assert list(map(str, same.readings)) == ["0.107", "0.114", "0.121", "0.128", "0.135", "0.142"]


def test_three_rows_alike_or_readings_about_zero_are_none(tmp_path: Path) -> None:
    typed(tmp_path, "A", *honest()[:3])
    typed(tmp_path, "B", *[(read(n, f"0.{100 + 7 * n}", 90 + n), 90 + n, "") for n in range(1, 4)])
    for name in ("C", "D"):
        typed(tmp_path, name, *[(read(n, "0.001", None), 90 + n, "") for n in range(1, 9)])
    assert cases(tmp_path) == []


def test_a_stretch_copied_within_one_run_is_told(tmp_path: Path) -> None:
    queue = [row(f"R{n}", value, at=at(60 + n)) for n, value in enumerate([0.11, 0.12, 0.13, 0.14] * 2)]
    (tmp_path / "A.toml").write_text(document(queue, run={"id": "A"}), encoding="utf-8")
    runs, _ = audits.audited(tmp_path)
    assert [[place.words for place in same.places] for same in audits.same_readings(runs)] == [
        ["A.toml R0 to R3", "A.toml R4 to R7"]
    ]


def test_counts_stand_beside_rates_and_few_cases_have_none(tmp_path: Path) -> None:
    typed(tmp_path, "A", *honest(), *[(read(n, "0.2", None), 80, "") for n in range(1, 6)])
    typed(tmp_path, "B", *honest(values=300), (read(1, "0.2", None), 80, ""))
    runs, unread = audits.audited(tmp_path)
    groups = list(audits.grouped(runs))
    by = {(group.by, group.name): group for group in groups if group.kind == "unreasoned"}
    analyst = by["analyst", "M. Tarn"]
    assert (analyst.cases, analyst.runs, analyst.of_runs, analyst.readings) == (
        6,
        2,
        2,
        sum(run.readings for run in runs),
    )
    few = [replace(run, analyst=run.id) for run in runs]
    rows = [told.group_cells(group) for group in audits.grouped(few) if group.by == "analyst"]
    assert [(name, count, rate == "few") for _, name, _, count, _, _, rate in rows] == [
        ("A", "5", False),
        ("B", "1", True),
    ]
    assert unread == []
    assert told.group_cells(by["analyst", "M. Tarn"]._replace(cases=5, readings=5))[-1] == "100"


def test_what_could_not_be_judged_is_told_in_every_form(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A table of cases was empty of a folder without a log, and a document was said to have errors, not which."""
    (tmp_path / "A.toml").write_text(document(ROWS), encoding="utf-8")
    (tmp_path / "B.toml").write_text(document(ROWS), encoding="utf-8")
    (tmp_path / "bad.toml").write_text("format = 1\n[run]\n", encoding="utf-8")
    (tmp_path / "empty.toml").write_text("", encoding="utf-8")
    why = {"bad.toml": "error: line 2: run.id: is required", "empty.toml": "the file is empty"}
    assert main.main(["audit", str(tmp_path), "--as", "csv"]) == 0
    told_ = capsys.readouterr().err.splitlines()
    for path, reason in why.items():
        assert f"runsheet: {path}: could not be read: {reason}" in told_
    for path in ("A.toml", "B.toml"):
        assert f"runsheet: {path}: no log: only the document could be judged" in told_
    assert "runsheet: run T is in 2 documents: A.toml, B.toml; what is in both is told and counted of both" in told_
    data = json.loads(command("audit", str(tmp_path), "--as", "json"))
    assert {each["path"]: each["why"] for each in data["unread"]} == why
    text = " ".join(command("audit", str(tmp_path)).split())
    assert all(f"- {path}: {reason}" in text for path, reason in why.items())


def test_a_case_names_each_row_of_its_stretch_once(tmp_path: Path) -> None:
    typed(tmp_path, "A", queue=[row("R", 0.211, 0.212, 0.213)], standard=[], calibration=[])
    typed(tmp_path, "B", queue=[row("R", 0.211, 0.212, 0.213)], standard=[], calibration=[])
    typed(tmp_path, "C", queue=[row(f"R{n}", 0.3 + n / 100) for n in range(5)], standard=[], calibration=[])
    typed(tmp_path, "D", queue=[row(f"Q{n}", 0.3 + n / 100) for n in range(5)], standard=[], calibration=[])
    data = json.loads(command("audit", str(tmp_path), "--as", "json"))
    assert [(case["document"], case["rows"]) for case in data["cases"]] == [
        ("A.toml", "R"),
        ("C.toml", "R0 R1 R2 R3 R4"),
    ]


@pytest.mark.parametrize("form", ["text", "markdown", "html", "csv", "json"])
def test_every_form_tells_every_case(tmp_path: Path, capsys: pytest.CaptureFixture[str], form: str) -> None:
    (tmp_path / "soil.toml").write_text(demo.text("soil-day"), encoding="utf-8")
    typed(tmp_path, "A", (read(8, "0.2", 90), 80, ""), (read(8, "=1".replace("=1", "0.3"), None), 91, ""))
    (tmp_path / "bad.toml").write_text("format = 1\n[run]\n", encoding="utf-8")
    assert main.main(["audit", str(tmp_path), "--as", form]) == 0
    out = capsys.readouterr().out
    assert "OF-8: read" in out
    if form == "csv":
        lines = list(csv.DictReader(io.StringIO(out)))
        assert list(lines[0]) == list(told.HEADER)
        assert {line["kind"] for line in lines} <= set(KINDS)
    elif form == "json":
        data = json.loads(out)
        assert [each["path"] for each in data["unread"]] == ["bad.toml"]
        assert len(data["cases"]) >= 2
    else:
        for words in ("Nobody is accused", "no log", "bad.toml"):
            assert words in " ".join(out.split())


def test_readings_are_counted_not_rows_and_a_run_in_two_documents_is_named(tmp_path: Path) -> None:
    """Three fillings of a cell are three readings; a copied run is one run, whose cases are told of each document."""
    rows = [row("A", 0.2, 0.21, 0.2), row("B", 0.15), row("C")]
    (tmp_path / "a.toml").write_text(document(rows, run={"id": "K", "log": "5" * 64}, standard=[]), encoding="utf-8")
    runs, _ = audits.audited(tmp_path)
    assert [run.readings for run in runs] == [4]
    (tmp_path / "copy of a.toml").write_bytes((tmp_path / "a.toml").read_bytes())
    words = " ".join(command("audit", str(tmp_path)).split())
    assert "1 run in 2 documents with 8 readings" in words
    page = command("audit", str(tmp_path), "--as", "markdown")
    assert "| cases | in documents | readings |" in page
    assert "| the edit log does not prove the document | 2 | 2 of 2 | 8 |" in page
    assert "run K is in 2 documents: a.toml, copy of a.toml; what is in both is told and counted of both" in words
    assert json.loads(command("audit", str(tmp_path), "--as", "json"))["twice"] == [
        {"run": "K", "documents": ["a.toml", "copy of a.toml"]}
    ]
