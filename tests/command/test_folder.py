"""The commands over a folder: what they print, their exit codes, and how they refuse."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from typing import TYPE_CHECKING

import psutil
import pytest

from runsheet.command.main import main
from tests import many
from tests.history.folder import put
from tests.history.test_studies import demonstrate, study
from tests.make import at, command, row

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("bench one")
    many.write(made, 25)
    (made / "broken.toml").write_text("format = 1\n[run]\nid =", encoding="utf-8")
    return made


def test_history_as_text_says_charts_limits_and_findings(folder: Path) -> None:
    told = command("history", str(folder))
    assert "History of bench one" in told
    assert "25 runs, 2026-03-11 to 2026-04-04; 1 document not computed." in told
    assert "broken.toml: not computed:" in told
    assert "control recovery, oil and grease, tph-water" in told
    assert "Own limits" in told
    assert max(map(len, told.splitlines())) <= 80


def test_history_of_one_kind_with_other_rules_and_fewer_points(folder: Path) -> None:
    told = command("history", str(folder), "--of", "check", "--points", "8", "--rules", "1,2,3,4,5,6,7,8")
    assert "8, the latest of 50" in told
    assert "second-source" not in told
    assert "Provisional" in told


@pytest.mark.parametrize("form", ["markdown", "html", "csv", "sql"])
def test_history_in_every_form(folder: Path, form: str, tmp_path: Path) -> None:
    out = tmp_path / "history out"
    assert main(["history", str(folder), "--as", form, "-o", str(out)]) == 0
    told = out.read_text(encoding="utf-8")
    assert told.startswith(
        {"markdown": "# History", "html": "<!DOCTYPE html>", "csv": '"path","row","what"', "sql": "BEGIN;"}[form]
    )
    assert told.count("<svg") == (9 if form == "html" else 0)
    assert b"\r" not in out.read_bytes()  # plain line ends, in every form


def test_detection_says_the_figure_and_what_is_missing(tmp_path: Path) -> None:
    study(tmp_path)
    demonstrate(tmp_path, 9, 92, 98, 101, 95)
    told = command("detection", str(tmp_path), "--now", "2026-06-01T00:00:00+01:00")
    assert "0.757 mg/L, complete" in told
    assert "detection = 0.76" in told
    assert "PASS" in told
    assert "1664B" in command("detection", str(tmp_path), "--criteria", "1664-oil-grease")


@pytest.mark.parametrize("now", ["2026-01-01T00:00:00+01:00", "2030-01-01T00:00:00+01:00"])
def test_a_study_of_which_nothing_counts_that_day_says_no_more(now: str, tmp_path: Path) -> None:
    """The spikes have their added_mg and the blanks their numbers, and a demonstration of later is none of that day."""
    study(tmp_path)
    demonstrate(tmp_path, 9, 92, 98, 101, 95)
    told = command("detection", str(tmp_path), "--now", now)
    assert "Spiked at              no spike counts" in told
    assert "MDL_b                  no method blank counts" in told
    assert "added_mg is not given" not in told
    assert ("Initial demonstration" in told) == now.startswith("2030")


def test_find_says_where_and_ends_with_1_where_nothing_is(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = command("find", str(folder), "SS-0")
    assert "SS-0    25  2026-03-11  2026-04-04" in told
    assert "broken.toml: not computed" in told
    assert "W-3-4" in command("find", str(folder), "w-3-4")
    assert main(["find", str(folder), "no such thing"]) == 1
    assert "In none of these" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["history", "/no/such/folder"], "No such file or directory"),
        (["history", ".", "--rules", "1,9"], "no run rule 9"),
        (["history", ".", "-o", "/no/such/place"], "No such file"),
    ],
)
def test_what_cannot_be_done_is_refused_in_words(
    words: list[str], why: str, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    told = capsys.readouterr()
    assert (told.out, why in told.err) == ("", True)


@pytest.mark.parametrize("bad", [["--points", "1"], ["--points", "x"], ["--rules", "a"], ["--of", "mood"]])
def test_bad_arguments_end_with_2(bad: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["history", ".", *bad])
    assert ended.value.code == 2
    assert "usage" in capsys.readouterr().err


def test_a_name_that_would_run_or_steer_is_shown_harmless(tmp_path: Path) -> None:
    put(tmp_path, 0, [], name="x", run={"id": "<script>\x1b[2J", "title": "=1"})
    for form in ("text", "markdown", "html"):
        told = command("find", str(tmp_path), "*script*", "--as", form)
        assert "\x1b" not in told
        assert "<script>" not in told or form == "text"


def test_an_interrupt_stops_the_reading_keeps_what_was_read_and_leaves_no_process(tmp_path: Path) -> None:
    many.write(tmp_path / "runs", 400)
    run = subprocess.Popen(
        [sys.executable, "-m", "runsheet", "history", str(tmp_path / "runs")],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "RUNSHEET_CACHE": str(tmp_path / "cache")},
        text=True,
    )
    deadline = time.monotonic() + 20
    while _kept(tmp_path / "cache") < 100 and time.monotonic() < deadline:
        time.sleep(0.02)
    workers = psutil.Process(run.pid).children()
    run.send_signal(signal.SIGINT)
    out, err = run.communicate(timeout=20)
    assert (run.returncode, out) == (2, "")
    assert err == "runsheet: stopped; what was read is kept for the next time\n"
    assert 100 <= _kept(tmp_path / "cache") < 400
    assert not [worker for worker in workers if worker.is_running()]


def _kept(cache: Path) -> int:
    """Count the documents a cache holds."""
    for file in cache.glob("*.sqlite3"):
        connection = sqlite3.connect(file)
        try:
            return int(connection.execute("SELECT count(*) FROM run").fetchone()[0])
        except sqlite3.OperationalError:  # not made yet
            return 0
        finally:
            connection.close()
    return 0


def test_charts_and_studies_as_json_are_those_of_the_pages(folder: Path, tmp_path: Path) -> None:
    data = json.loads(command("history", str(folder), "--as", "json"))
    control = next(chart for chart in data["charts"] if chart["what"] == "control")
    assert control["limits"]["n"] == len(control["points"])
    assert control["limits"]["action"][0] < control["limits"]["mean"] < control["limits"]["action"][1]
    assert control["of"] == 25
    assert control["baseline"] is None
    assert {"per_day", "low", "high", "confidence"} == set(control["slope"])
    study(tmp_path / "studied")
    data = json.loads(
        command("detection", str(tmp_path / "studied"), "--as", "json", "--now", "2026-06-01T00:00:00+01:00")
    )
    (made,) = data["detection"]
    assert made["complete"]
    assert made["mdl"] == pytest.approx(0.757, abs=0.0005)
    assert made["offered"] == "0.76"


@pytest.mark.parametrize("name", ["history", "detection", "uncertainty"])
def test_what_was_not_read_is_told_as_text_and_as_data(name: str, tmp_path: Path) -> None:
    """Without it a figure seems to stand on every run there is."""
    put(tmp_path, 0, [row("LCS1", 0.2, kind="control", added_mg=8)])
    (tmp_path / "broken.toml").write_text("", encoding="utf-8")
    said = "broken.toml: not computed: the file is empty"
    assert said in " ".join(command(name, str(tmp_path)).split())
    data = json.loads(command(name, str(tmp_path), "--as", "json"))
    assert said in [*data.get("findings", ()), *data.get("problems", ())]


def test_a_state_found_has_its_numbers_beside_it_and_is_the_documents_alone(tmp_path: Path) -> None:
    """ "qualified" alone reads as fit, and what the log says of the document is not looked at in a search."""
    method = {"check": {"recovery_percent": [90, 110], "closing": False}}
    action = {"rule": "check", "rows": ["CCV1"], "taken": "cell rinsed", "by": "M. Tarn", "at": at(600)}
    rows = [row("A", 0.2), row("CCV1", 0.5, kind="check", expected=100)]
    put(tmp_path, 0, rows, name="K", method=method, action=[action])
    told = " ".join(command("find", str(tmp_path), "K").split())
    assert "run document state, by the document without its log" in told
    assert "K K.toml with reservations: 1 of 1 results carry Q, 2 warnings, 1 failure acted on" in told


def test_a_page_about_the_folder_one_stands_in_is_headed_by_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "bench one").mkdir()
    monkeypatch.chdir(tmp_path / "bench one")
    for name in ("history", "audit"):
        assert f'content: "{name} of bench one ' in command(name, ".", "--as", "html")


@pytest.mark.parametrize(("name", "why"), [("history", "not computed: the file is empty"), ("audit", "could not be")])
def test_a_table_for_another_program_does_not_keep_what_was_not_read_to_itself(
    name: str, why: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(tmp_path, 0, [row("LCS1", 0.2, kind="control", added_mg=8)])
    (tmp_path / "broken.toml").write_text("", encoding="utf-8")
    assert main([name, str(tmp_path), "--as", "csv"]) == 0
    told = capsys.readouterr()
    assert f"runsheet: broken.toml: {why}" in told.err
    assert "broken" not in told.out


def test_a_report_with_a_history_too_short_says_so_and_what_was_not_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asked for control charts, a report without a word of them reads as in control."""
    path = put(tmp_path, 0, [row("LCS1", 0.2, kind="control", added_mg=8)])
    (tmp_path / "broken.toml").write_text("", encoding="utf-8")
    assert main(["report", str(path), "--history", str(tmp_path)]) == 0
    told = capsys.readouterr()
    assert "None: no figure of this run has 10 points or more from the runs before it." in told.out
    assert "runsheet: broken.toml: not computed: the file is empty" in told.err


def test_a_kind_of_chart_that_no_run_has_is_no_run_without_figures(tmp_path: Path) -> None:
    put(tmp_path, 0, [row("LCS1", 0.2, kind="control", added_mg=8)])
    told = command("history", str(tmp_path), "--of", "spike")
    assert "No run has a figure of spike recovery to chart." in told
    held = {"every_readings": 10, "recovery_percent": [90, 110], "closing": True}
    rows = [row("LCS1", 0.2, kind="control", added_mg=8), row("CCV", 0.1, kind="check", expected=100)]
    put(tmp_path, 0, rows, method={"check": held})
    assert "Without a point that counts" in command("history", str(tmp_path))
    assert "Without a point that counts" not in command("history", str(tmp_path), "--of", "spike")


def test_one_point_is_too_few_for_a_baseline(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    put(tmp_path, 0, [row("LCS1", 0.2, kind="control", added_mg=8)])
    assert main(["baseline", str(tmp_path), "--of", "control", "--by", "M. Tarn", "--why", "a year"]) == 2
    assert "not frozen, 1 point; a baseline needs 20" in capsys.readouterr().err


def test_each_part_of_a_table_too_wide_names_its_rows(tmp_path: Path) -> None:
    """The second part had the run alone, which several rows share."""
    for day in (0, 1):
        rows = [row("W-1", 0.1), row("W-2", 0.2)]
        put(tmp_path, day, rows, name="water-of-the-outfalls", run={"id": "R"}, sample=[{"id": "W-1", "site": "weir"}])
        (tmp_path / "water-of-the-outfalls.toml").rename(tmp_path / f"water-of-the-outfalls-{day}.toml")
    lines = command("find", str(tmp_path), "W-*").splitlines()
    last = [line.split() for line in lines if "accepted" in line]
    assert [line[2] for line in last] == ["W-1", "W-2"]


def test_a_row_found_says_what_a_kilogram_is_and_that_it_is_superseded(tmp_path: Path) -> None:
    """The report's table has both: a superseded row stood as accepted, a dry result in mg/kg of anything."""
    rows = [
        row("J-1", 0.4, amount=10, solids_percent=80, sample="J", report=False, reason="spilt"),
        row("J-2", 0.2, amount=10, solids_percent=80, sample="J"),
        row("J-3", 0.1, amount=10),
    ]
    put(tmp_path, 0, rows, method={"unit": "mg/kg"})
    lines = command("find", str(tmp_path), "J*", "--as", "markdown").splitlines()
    ends = [line.split(" | ")[-2:] for line in lines if "day-000" in line]
    assert ends == [["mg/kg dry", "superseded |"], ["mg/kg dry", "accepted |"], ["mg/kg as received", "accepted |"]]


def test_a_site_nowhere_is_said_to_be_nowhere(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["find", str(tmp_path), "weir"]) == 1
    assert "no run, title, sample, client's id, site, row or lot" in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize("text", ["", " "])
def test_nothing_is_not_searched_for(text: str, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A script with an empty variable was told of each row without a site."""
    assert main(["find", str(folder), text]) == 2
    assert "nothing was asked for" in capsys.readouterr().err
