"""The CSV: one header, what stands in its columns, and no harm in a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import datetime
from pathlib import Path

from runsheet import demo, evaluate, read
from runsheet.history.audit import Audited
from runsheet.report import audit, csv_table
from runsheet.review.cases import Case
from tests.make import NOW, Table, at, row, run


def lines(*queue: Table, **tables: object) -> list[dict[str, str]]:
    """Each row of the CSV by its columns."""
    text = csv_table.write(evaluate(run(queue, **tables), datetime.fromisoformat(NOW)))
    return list(csv.DictReader(text.splitlines(), strict=True))


def test_the_header_is_the_same_for_every_run_and_says_what_each_column_is() -> None:
    texts = [csv_table.write(evaluate(run(), datetime.fromisoformat(NOW)))]
    for name in demo.NAMES:
        day, _ = read(demo.text(name))
        assert day is not None
        texts.append(csv_table.write(evaluate(day, demo.NOW[name])))
    heads = {text.splitlines()[0] for text in texts}
    assert [head.replace('"', "").split(",") for head in heads] == [list(csv_table.HEADER)]
    assert len(set(csv_table.HEADER)) == len(csv_table.HEADER)
    assert all(csv_table.BESIDE.values())


def test_the_readme_says_what_each_column_is() -> None:
    words = " ".join((Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").split())
    assert [key for key in csv_table.HEADER if f"`{key}`" not in words] == []
    assert [said for said in csv_table.BESIDE.values() if said not in words] == []


def test_the_polar_part_stands_at_the_petroleum_row() -> None:
    whole, part = lines(row("A", 0.25, at=at(60)), row("AT", 0.15, sample="A", silica_gel=True, at=at(61)))
    assert (part["polar_reported"], part["polar_U"] > "0") == ("4.0", True)
    assert round(float(part["polar"]), 9) == 4
    assert whole["polar"] == whole["polar_reported"] == ""


def test_what_fails_names_what_it_affects_and_the_result_carries_q() -> None:
    method = {"check": {"recovery_percent": [90, 110]}, "receipt": {"temperature_c": [0, 6]}}
    sample = [{"id": "A", "site": "=north", "client_id": "-1", "collected": at(0), "received_c": 12}]
    queue = [row("A", 0.25, at=at(60)), row("K", 0.2, kind="check", expected=100, at=at(70))]
    result, check = lines(*queue, method=method, sample=sample)
    assert (result["flags"], result["affected_by"].split("; ")[-1]) == ("QY", "receipt A")
    assert check["affects"] == "A"
    assert (result["site"], result["client_id"]) == ("'=north", "-1")
    assert "continuing calibration verification (check standard) after: K 80 %, fail" in result["stands_on"]
    assert check["stands_on"] == ""


def test_no_text_of_the_audit_is_run_by_a_spreadsheet_that_cuts_elsewhere() -> None:
    case = Case("voided-qc", ("SB1",), "", "", "x\n=1+1")
    made = Audited("a.toml", "a;=1+1", " =1+1", "p|@SUM(A1)", "2026-03", "pass", "no log", (case,))
    (line,) = csv.DictReader(io.StringIO(audit.csv([made], [])))
    assert (line["run"], line["analyst"], line["photometer"]) == ("a;'=1+1", "' =1+1", "p|'@SUM(A1)")
    assert line["what"] == "x\n'=1+1"
