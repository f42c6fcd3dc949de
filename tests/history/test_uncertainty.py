"""Uncertainty over a folder: from which results, and what is said where something is missing."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from runsheet import methods
from runsheet.command import main
from runsheet.compute.statistics import own_work
from runsheet.history import uncertainty
from runsheet.history.rows import PointRow
from tests.history.folder import control, opened, put, reading
from tests.make import row

if TYPE_CHECKING:
    from pathlib import Path

RECOVERIES = [96, 101, 99, 104, 98, 95, 102, 100, 97, 103, 99, 98]
PAIRS = [(10.0, 10.4), (20, 19.4), (8, 8.5), (18, 18.6), (12, 11.6), (15, 15.2), (9, 9.6), (11, 10.7), (14, 14.1)]
ROUND = (
    '[[round]]\nname = "R{n}"\nfraction = "oil_grease"\nassigned = 100\nresult = {result}\n'
    "s_percent = 8.8\nlaboratories = 33\n"
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    made = tmp_path / "runs"
    for day, recovery in enumerate(RECOVERIES):
        rows: list[dict[str, Any]] = [control("LCS1", recovery)]
        if day < len(PAIRS):
            one, two = PAIRS[day]
            rows += [row("A", reading(one)), row("AD", reading(two), kind="duplicate", of="A")]
        put(made, day, rows, method={"name": "m"})
    return made


def told(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    capsys.readouterr()
    assert main.main(["uncertainty", str(folder), "--as", "json", *more]) == 0
    (found,) = json.loads(capsys.readouterr().out)["evaluations"]
    assert isinstance(found, dict)
    return found


def test_the_parts_are_those_of_the_controls_and_duplicates_beside_numpy(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    found = told(folder, capsys, "--reference", "1.5")
    values = np.array(RECOVERIES, float)
    s = values.std(ddof=1) / values.mean() * 100
    rpd = np.mean([200 * abs(a - b) / (a + b) for a, b in PAIRS]) / 1.128
    bias = np.sqrt((values.mean() - 100) ** 2 + values.var(ddof=1) / len(values) + 1.5**2)
    assert (found["controls"], found["duplicates"], found["rounds"]) == (12, 9, 0)
    assert found["s_controls_percent"] == pytest.approx(s)
    assert found["s_duplicates_percent"] == pytest.approx(rpd, rel=1e-6)
    assert found["bias_percent"] == pytest.approx(bias)
    assert found["expanded_percent"] == pytest.approx(2 * np.sqrt(s**2 + rpd**2 + bias**2), rel=1e-6)


def test_six_rounds_give_the_bias_and_five_do_not(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    results = [102.4, 102.7, 101.9, 98.6, 101.8, 97.1]
    path = folder / "rounds.toml"
    path.write_text("".join(ROUND.format(n=n, result=result) for n, result in enumerate(results)), encoding="utf-8")
    found = told(folder, capsys)
    assert found["bias_from"] == "6 proficiency rounds"
    assert found["bias_percent"] == pytest.approx(2.72, abs=0.005)  # the example of TR 537
    path.write_text("".join(ROUND.format(n=n, result=result) for n, result in enumerate(results[:5])), encoding="utf-8")
    found = told(folder, capsys)
    assert found["bias_percent"] is None
    assert found["expanded_percent"] is None
    assert found["bias_from"].startswith("5 of 6 proficiency rounds; for the controls, --reference is")


def test_what_is_missing_is_said_and_the_lines_for_the_method_are_offered(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main.main(["uncertainty", str(folder)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "u(bias) not known: no proficiency rounds" in out
    assert "U, k = 2 not known: a part is missing" in out
    assert "bias_percent =" not in out
    assert '"uncertainty.precision_percent" = "12 controls, 9 duplicates, 2026-03-11 to 2026-03-22' in out


def test_the_lines_for_the_method_are_a_method_file_s(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Copied below a method file they are read, and say what was found."""
    assert main.main(["uncertainty", str(folder), "--reference", "1"]) == 0
    _, _, lines = capsys.readouterr().out.partition("[method.sources]:\n")
    method, problems = methods.parse('name = "own"\nunit = "mg/L"\n' + lines)
    assert problems == []
    assert method is not None
    assert method.uncertainty is not None
    found = told(folder, capsys, "--reference", "1")
    for name in ("precision_percent", "bias_percent"):
        assert float(str(getattr(method.uncertainty, name))) == pytest.approx(found[name], rel=0.005)
        assert (method.sources or {})[f"uncertainty.{name}"].endswith("Nordtest TR 537 and ISO 11352")


def sources(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, str]:
    """What the lines for the method say their figures stand on."""
    capsys.readouterr()
    assert main.main(["uncertainty", str(folder), *more]) == 0
    _, _, lines = capsys.readouterr().out.partition("[method.sources]:\n")
    method, _ = methods.parse('name = "own"\nunit = "mg/L"\n' + lines)
    assert method is not None
    return dict(method.sources or {})


def test_a_bias_of_controls_can_be_computed_again_from_what_is_printed(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main.main(["uncertainty", str(folder), "--reference", "1.5"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    found = re.search(r"u\(bias\) ([\d.]+) %: bias (-?[\d.]+) %, s / sqrt n ([\d.]+) %, reference ([\d.]+) %", out)
    assert found is not None, out
    u, *parts = map(float, found.groups())
    assert u == pytest.approx(np.sqrt(sum(part**2 for part in parts)), rel=0.005)
    assert "from n controls sqrt(bias^2 + s^2 / n + u(reference)^2) with s of their recoveries" in out


def test_a_source_names_only_what_is_in_the_figure(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Duplicates too few to count, the days of the controls, the reference that was given."""
    found = sources(folder, capsys, "--since", "2026-03-13", "--reference", "1.5")
    named = "10 controls, 2026-03-13 to 2026-03-22, without duplicates"
    assert found["uncertainty.precision_percent"] == f"{named}; Nordtest TR 537 and ISO 11352"
    named = "10 controls (no proficiency rounds), 2026-03-13 to 2026-03-22, reference 1.5 %"
    assert found["uncertainty.bias_percent"] == f"{named}; Nordtest TR 537 and ISO 11352"


def test_a_bias_of_rounds_is_not_dated_by_the_controls(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = "".join(ROUND.format(n=n, result=result) for n, result in enumerate([102, 103, 102, 99, 102, 97]))
    (folder / "rounds.toml").write_text(text, encoding="utf-8")
    found = sources(folder, capsys)
    assert found["uncertainty.bias_percent"] == "6 proficiency rounds; Nordtest TR 537 and ISO 11352"
    dated = "".join(f"{each}date = 2025-0{n}-01\n" for n, each in enumerate(text.split("[[round]]")[1:], 1))
    dated = dated.replace("\nname", "\n[[round]]\nname")
    (folder / "rounds.toml").write_text(dated, encoding="utf-8")
    found = sources(folder, capsys)
    named = "6 proficiency rounds, 2025-01-01 to 2025-06-01"
    assert found["uncertainty.bias_percent"] == f"{named}; Nordtest TR 537 and ISO 11352"


def test_rounds_without_a_date_are_told_where_a_day_was_asked_for(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "".join(ROUND.format(n=n, result=result) for n, result in enumerate([102, 103, 102, 99, 102, 97]))
    (folder / "rounds.toml").write_text(text, encoding="utf-8")
    assert told(folder, capsys)["bias_from"] == "6 proficiency rounds"
    found = told(folder, capsys, "--since", "2026-03-12")
    assert found["bias_from"] == "6 proficiency rounds, 6 of them without a date"
    (folder / "rounds.toml").write_text(f"{text}date = 2026-03-11\n", encoding="utf-8")
    found = told(folder, capsys, "--since", "2026-03-12")
    assert found["bias_from"].startswith("5 of 6 proficiency rounds, 5 of them without a date; for the controls")


def test_of_two_fractions_of_a_method_it_is_said_that_its_lines_hold_for_both(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    both = "a method has one set of these for both fractions"
    assert main.main(["uncertainty", str(folder)]) == 0
    assert both not in " ".join(capsys.readouterr().out.split())
    for day in range(10):
        put(folder, day + 20, [control("LCS1", 90 + day, silica_gel=True)], method={"name": "m"})
    assert main.main(["uncertainty", str(folder)]) == 0
    assert " ".join(capsys.readouterr().out.split()).count(both) == 2


@pytest.mark.parametrize("text", ["2026-1-1", "11/03/2026", "yesterday", "2026", ""])
@pytest.mark.parametrize("option", [("uncertainty", "--since"), ("baseline", "--to")])
def test_a_day_that_is_none_is_refused(option: tuple[str, str], text: str, folder: Path) -> None:
    """Compared as text, one day would leave everything out and another nothing."""
    command, name = option
    more = ["--of", "control", "--by", "M. Tarn", "--why", "a test"] if command == "baseline" else []
    with pytest.raises(SystemExit) as refused:
        main.main([command, str(folder), *more, name, text])
    assert refused.value.code == 2


def test_where_nothing_is_known_no_lines_are_announced(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path / "runs", 0, [control("LCS1", 100)])
    assert main.main(["uncertainty", str(tmp_path / "runs")]) == 0
    assert "a method file" not in capsys.readouterr().out


def test_few_controls_tell_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    for day in range(9):
        put(tmp_path / "runs", day, [control("LCS1", 100 + day % 3)])
    put(tmp_path / "runs", 9, [control("LCS1", 50, report=False, reason="read again"), control("LCS2", 100)])
    with opened(tmp_path / "runs") as tables:
        ((found,), problems) = uncertainty.evaluations(tables)
    assert (found.controls, found.apart, problems) == (10, (1, 0), [])
    with opened(tmp_path / "runs") as tables:
        ((found,), _) = uncertainty.evaluations(tables, since="2026-03-13")
    assert (found.controls, found.parts.controls) == (8, None)


def test_a_rounds_file_with_errors_is_told_and_not_used(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "rounds.toml").write_text('[[round]]\nname = "R1"\nassigned = 0\n', encoding="utf-8")
    assert main.main(["uncertainty", str(folder)]) == 0
    assert "rounds.toml: error: round[1]" in " ".join(capsys.readouterr().out.split())


def test_many_runs_give_what_their_values_give(folder: Path) -> None:
    """To the last bit, of two methods and from a day on; a copied run counts once, one held or superseded never."""
    for day, recovery in enumerate(RECOVERIES):
        put(folder, day + 40, [control("LCS1", recovery * 1.001), control("LCS2", 90 + recovery / 11)])
    superseded = control("LCS1", 50, report=False, reason="read again")
    put(folder, 60, [superseded, control("LCS2", 97.3)])
    (folder / "a copy.toml").write_bytes((folder / "day-041.toml").read_bytes())
    for since in ("", "2026-03-13", "2026-04-25", "2027-01-01"):
        with opened(folder) as tables:
            found, _ = uncertainty.evaluations(tables, since, reference=1.5)
            points = [PointRow(*row) for row in tables.rows("SELECT * FROM point ORDER BY moment, path, rowid")]  # type: ignore[arg-type]
        assert [each.method for each in found] == ["", "m"]
        for each in found:
            mine = [p for p in points if p.method == each.method and p.at >= since and p.path != "day-041.toml"]
            values, days = {}, {}
            for what in ("control", "duplicate"):
                counted = [p for p in mine if p.what == what and p.counts]
                values[what], days[what] = [p.value for p in counted], sorted(p.at[:10] for p in counted)
            controls, duplicates = values["control"], values["duplicate"]
            assert each.parts.controls == own_work.of_controls(controls)
            assert each.parts.duplicates == own_work.of_duplicates(duplicates)
            enough = len(controls) >= own_work.CONTROLS_FROM
            assert each.parts.bias == (own_work.bias_of_one(controls, 1.5) if enough else None)
            assert (each.controls, each.duplicates) == (len(controls), len(duplicates))
            held = [sum(p.what == what and not p.counts for p in mine) for what in ("control", "duplicate")]
            assert list(each.apart) == held
            assert each.control_days == tuple(days["control"][:1] + days["control"][-1:])
            assert each.duplicate_days == tuple(days["duplicate"][:1] + days["duplicate"][-1:])
            both = sorted(days["control"] + days["duplicate"])
            assert (each.first, each.last) == ((both[0], both[-1]) if both else ("", ""))


def test_an_uncertainty_is_answered_by_an_index_alone(folder: Path) -> None:
    with opened(folder) as tables:
        asked: list[str] = []
        tables.connection.set_trace_callback(asked.append)
        uncertainty.evaluations(tables)
        tables.connection.set_trace_callback(None)
        plans = [str(row) for query in asked for row in tables.rows(f"EXPLAIN QUERY PLAN {query}")]
    assert plans
    assert not [plan for plan in plans if " point " in plan and "USING COVERING INDEX point_of_work" not in plan]


def test_no_sentence_speaks_of_a_spread_that_is_not_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One control gives no u(Rw) to be without anything, and one round is no plural."""
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    rows = [control("LCS1", 99), row("A", reading(10)), row("AD", reading(11), kind="duplicate", of="A")]
    rows[2]["report"], rows[2]["reason"] = False, "the wrong bottle"
    put(tmp_path / "runs", 0, rows)
    (tmp_path / "runs" / "rounds.toml").write_text(ROUND.format(n=1, result=99), encoding="utf-8")
    assert main.main(["uncertainty", str(tmp_path / "runs")]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "s(duplicates) not known: 0 of 8 duplicates u(Rw) not known" in out
    assert "u(bias) not known: 1 of 6 proficiency rounds, and 1 of 10 controls" in out
    assert "Not in it 1 duplicate held, superseded or not judged" in out


@pytest.mark.parametrize("field", ['method = "tph water"', 'fraction = "petroleum"'])
def test_a_round_that_no_run_of_the_folder_is_of_is_named(
    folder: Path, field: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistyped method would leave it out in silence, and "no proficiency rounds" be said of a file that has one."""
    first, second = (ROUND.format(n=n, result=99) for n in (1, 2))
    second = "".join(line for line in second.splitlines(keepends=True) if not line.startswith(field.partition(" ")[0]))
    (folder / "rounds.toml").write_text(f"{first}{second}{field}\n", encoding="utf-8")
    assert main.main(["uncertainty", str(folder), "--as", "json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [each["rounds"] for each in data["evaluations"]] == [1]
    (problem,) = data["problems"]
    assert problem.startswith("rounds.toml: round R2 counts for nothing: no run has a control or duplicate of ")


def test_a_round_that_is_there_twice_is_named(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Three rounds pasted twice are no six, and give a bias a weight it has not."""
    three = "".join(ROUND.format(n=n, result=99) for n in range(3))
    other = ROUND.format(n=0, result=99).replace("oil_grease", "petroleum")
    (folder / "rounds.toml").write_text(three + three + other, encoding="utf-8")
    assert main.main(["uncertainty", str(folder), "--as", "json"]) == 0
    data = json.loads(capsys.readouterr().out)
    said = [problem for problem in data["problems"] if "counts once" in problem]
    assert said == [f"rounds.toml: round R{n}, oil and grease, is there 2 times and counts once" for n in range(3)]
    assert [each["rounds"] for each in data["evaluations"]] == [3]
    assert data["evaluations"][0]["apart"] == {"controls": 0, "duplicates": 0}
