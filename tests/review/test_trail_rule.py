"""A document changed outside its log, or a log that is broken: told wherever results are, and settled by an action."""

from __future__ import annotations

import json
import shutil
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from runsheet import demo
from runsheet.command.main import main
from runsheet.run import edit
from runsheet.run.disk import store
from runsheet.run.disk.files import log_of

if TYPE_CHECKING:
    from pathlib import Path

NOW = demo.NOW["soil-day"]


@pytest.fixture
def soil(tmp_path: Path) -> Path:
    path = tmp_path / "soil.toml"
    path.write_text(demo.text("soil-day"), encoding="utf-8")
    worked(path, "run.note", "worked on")
    return path


def worked(path: Path, place: str, value: Any, minutes: float = 0) -> None:
    """Open the run for work and change one value through the log."""
    opened = store.open_for_writing(path, "tarn", NOW)
    opened.accept([edit.set_value(opened.run, place, value)], NOW + timedelta(minutes=minutes), reason="told so")
    assert opened.close(10)


def by_hand(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def results(path: Path, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    assert main(["results", str(path), "--as", "json", "--now", NOW.isoformat()]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def about(found: dict[str, Any]) -> list[tuple[str, bool, list[str]]]:
    return [(f["state"], f["acted_on"], f["affects"]) for f in found["quality"] if f["rule"] == "trail"]


def test_a_whole_log_says_so_and_gives_no_finding(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = results(soil, capsys)
    assert (found["trail"], about(found)) == ({"state": "whole", "why": "", "outside": []}, [])


def test_without_a_log_there_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "run.toml"
    path.write_text(demo.text("soil-day"), encoding="utf-8")
    assert results(path, capsys)["trail"]["state"] == "none"


def test_a_reading_changed_by_hand_fails_and_gives_its_result_q(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    by_hand(soil, "0.051", "0.061")  # G-4
    found = results(soil, capsys)
    assert found["trail"]["state"] == "changed"
    (change,) = found["trail"]["outside"]
    assert (change["old"], change["new"], change["before"]) == ("[0.051]", "[0.061]", "")
    assert about(found) == [("fail", False, ["G-4"])]
    assert next(row for row in found["rows"] if row["id"] == "G-4")["flags"][-1] == "Q"


def test_a_change_that_moves_nothing_only_warns(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    by_hand(soil, 'client = "Gravel Row Depot (invented)"', 'client = "Another (invented)"')
    found = results(soil, capsys)
    assert (found["trail"]["state"], about(found)) == ("changed", [("warn", False, [])])


def test_a_change_is_not_washed_out_by_opening_and_working_on(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    by_hand(soil, "0.051", "0.061")
    worked(soil, "run.note", "and on", 30)
    found = results(soil, capsys)
    assert about(found) == [("fail", False, ["G-4"])]
    assert found["trail"]["outside"][0]["before"] != ""


def test_an_action_after_the_change_settles_it_and_q_stays(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    by_hand(soil, "0.051", "0.061")
    worked(soil, "run.note", "and on", 30)
    for minutes, settles in ((-60, False), (31, True)):
        action: dict[str, Any] = {"rule": "trail", "rows": [], "taken": "typed from the notebook", "by": "M. Tarn"}
        action |= {"at": NOW + timedelta(minutes=minutes)}
        opened = store.open_for_writing(soil, "tarn", NOW)
        made = edit.insert_row(opened.run, "action", len(opened.run.action) + 1, action)
        opened.accept([made], NOW + timedelta(minutes=40))
        opened.close(10)
        found = results(soil, capsys)
        assert about(found) == [("fail", settles, ["G-4"])]
        assert "Q" in next(row for row in found["rows"] if row["id"] == "G-4")["flags"]


def test_the_log_of_another_run_is_broken_and_affects_everything(
    soil: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = tmp_path / "other.toml"
    other.write_text(demo.text("water-day"), encoding="utf-8")
    worked(other, "run.note", "another")
    shutil.copy(log_of(other), log_of(soil))
    found = results(soil, capsys)
    assert found["trail"]["state"] == "broken"
    ((state, acted, affects),) = about(found)
    assert (state, acted, len(affects)) == ("fail", False, 8)
    assert main(["check", str(soil), "--now", NOW.isoformat()]) == 1
    assert "fail: trail: log broken" in capsys.readouterr().out


@pytest.mark.parametrize(("by", "settles"), [("M. Tarn", False), ("m tarn", False), ("R. Holt", True)])
def test_a_broken_log_is_answered_by_another_than_the_analyst(
    soil: Path,
    capsys: pytest.CaptureFixture[str],
    by: str,
    settles: bool,  # noqa: FBT001 - a parameter's value
) -> None:
    text = soil.read_text(encoding="utf-8")
    at = NOW.isoformat().replace("T", " ")
    action = ["[[action]]", 'rule = "trail"', "rows = []", 'taken = "the log was lost"', f'by = "{by}"', f"at = {at}"]
    soil.write_text("\n".join([text, *action, ""]), encoding="utf-8")
    lines = log_of(soil).read_bytes().splitlines(keepends=True)
    log_of(soil).write_bytes(lines[0] + lines[-1].replace(b"told so", b"told me"))
    found = results(soil, capsys)
    assert (found["trail"]["state"], about(found)[0][1]) == ("broken", settles)


def test_the_report_lists_every_change_and_says_what_a_log_cannot_show(
    soil: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    by_hand(soil, "0.051", "0.061")
    assert main(["report", str(soil), "--now", NOW.isoformat()]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "log whole, document changed outside it" in told
    assert "CHANGED OUTSIDE THE EDIT LOG" in told.upper()
    assert "[0.051] [0.061]" in told
    assert "could have written the log anew" in told
