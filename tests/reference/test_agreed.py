"""What is told of a random day in several places is told the same in each: table, CSV, JSON, sentence, verdict."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w

from runsheet import evaluate, read
from runsheet.compute.limits import letters
from runsheet.report import as_json, client_sections, csv_table
from runsheet.report.blocks import Paragraph
from runsheet.show import client_results, findings, stands_on, state
from tests.effort import tries
from tests.reference.days import Day

if TYPE_CHECKING:
    from runsheet.compute.results import Finding, Sheet

OWN = {"U": "nd", "J": "est", "Q": "qc", "B": "bl"}
"""Letters of a method's own, as an authority may ask for them."""
BESIDE = ("net", "extract", "factor", "result", "unit", "U", "detection", "reporting", "reported", "recovery_percent",
          "rpd_percent", "advice")  # fmt: skip
"""Figures of a row that CSV and JSON have by one name."""
RULES = {"method-blank": ("method-blank", "negative"), "control-duplicate": ("control", "control-pair"),
         "spike-duplicate": ("spike", "spike-pair")}  # fmt: skip
"""The rules on the rows of batch quality control, where they are not called as the kind."""


@pytest.fixture(params=range(tries(80)))
def sheet(request: pytest.FixtureRequest) -> Sheet:
    """A random day; of half of them the method prints letters of its own, and every failure is acted on."""
    day = Day(request.param)
    document = day.document
    if request.param % 2:
        document["method"]["flags"] = OWN
        failing = [f for f in of(document, day.now).quality if f.state == "fail"]
        act = {"taken": "cell rinsed", "by": "M. Tarn", "at": day.now}
        document["action"] = [{"rule": f.rule, "rows": list(f.rows)} | act for f in failing]
    return of(document, day.now)


def of(document: dict[str, Any], now: Any) -> Sheet:
    run, _ = read(tomli_w.dumps(document))
    assert run is not None
    return evaluate(run, now)


def test_csv_and_json_have_the_same_figures(sheet: Sheet) -> None:
    data = as_json.as_data(sheet)
    table = {line["id"]: line for line in csv.DictReader(io.StringIO(csv_table.write(sheet)))}
    for row in data["rows"]:
        told = {name: "" if row[name] is None else str(row[name]) for name in BESIDE}
        assert {name: table[row["id"]][name].lstrip("'") for name in BESIDE} == told


def test_the_clients_table_has_each_result_once_and_the_legend_its_letters(sheet: Sheet) -> None:
    lines, given = client_results.results(sheet), letters(sheet.run.method)
    told = [(line.rows, line.result, line.flags) for line in lines if len(line.rows) == 1 and line.analysed]
    timed = [
        ((row.id,), row.reported or "no result", "".join(given[flag] for flag in row.flags))
        for row in sheet.rows
        if row.for_client and row.row.at
    ]
    assert sorted(told) == sorted(timed)
    used = {flag for line in lines for flag in line.given}
    told_of = client_sections.legend(used, sheet)
    legend = " ".join(block.text for block in told_of if isinstance(block, Paragraph))
    assert {given[flag] for flag in used} == set(re.findall(r"(?:^Flags: |; )(\w+) ", legend)) - {"the"}


def test_the_numbers_of_the_state_are_those_of_the_table_and_of_the_findings(sheet: Sheet) -> None:
    words, told = state.words(sheet), findings.lines(sheet)
    failing = [line for line in told if line.startswith("fail: ")]
    acted = sum("; acted on: " in line for line in failing)
    assert number(words, r"(\d+) failures? not acted on") == len(failing) - acted
    assert number(words, r"(\d+) failures? acted on") == acted
    assert number(words, r"(\d+) warnings?") == sum(line.startswith("warn: ") for line in told)
    if sheet.state == "qualified":
        carried = re.search(r"(\d+) of (\d+) results carry (\w+)", words)
        assert carried is not None
        mark = letters(sheet.run.method)["Q"]
        lines = [line for line in client_results.results(sheet) if len(line.rows) == 1]
        read_ = [line for line in lines if line.result != "not read yet"]
        assert (int(carried[1]), int(carried[2]), carried[3]) == (
            sum(mark in line.flags for line in read_), len(read_), mark,
        )  # fmt: skip


def number(words: str, pattern: str) -> int:
    found = re.search(pattern, words)
    return int(found[1]) if found else 0


def test_what_a_result_stands_on_has_value_and_verdict_of_a_finding(sheet: Sheet) -> None:
    kinds = {row.id: row.kind for row in sheet.rows}
    for standing in stands_on.standings(sheet):
        for support in standing.supports:
            if support.role in ("calibration", "before", "after", "study") or not support.ids:
                continue
            (name,) = support.ids
            rules = RULES.get(kinds[name], (kinds[name],))
            judged = [f for f in sheet.quality if f.rule in rules and f.rows[-1] == name]
            assert (support.measured, support.verdict) in [(told(f, support.unit), f.state) for f in judged]


def told(finding: Finding, unit: str) -> str:
    """The value of a finding as it stands beside a result, which says of what it is."""
    value = findings.value(finding)
    word = "RPD" if unit == stands_on.RPD else "difference" if unit.endswith("difference") else ""
    return f"{value} {word}".strip()
