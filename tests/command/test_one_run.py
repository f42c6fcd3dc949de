"""Every command as a new user would try it: what it prints where, and what it ends with."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, methods, read
from runsheet.command.main import main
from runsheet.figures import minute
from runsheet.run.disk import store
from runsheet.run.edit import Edit
from tests.make import at, document, row

if TYPE_CHECKING:
    from pathlib import Path

NOW = ["--now", demo.NOW["soil-day"].isoformat()]


@pytest.fixture
def soil(tmp_path: Path) -> Path:
    path = tmp_path / "soil day.toml"
    path.write_text(demo.text("soil-day"), encoding="utf-8")
    return path


def test_check_prints_findings_and_fails(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(soil), *NOW]) == 1
    out, err = capsys.readouterr()
    assert out.splitlines()[0] == "fail: check CCV3: recovers 87.1 %, limits 90-110"
    assert not err


def test_results_and_reports_do_not_fail_with_the_run(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words in (["results", "--as", "text"], ["results", "--as", "csv"], ["report", "--as", "markdown"]):
        assert main([words[0], str(soil), *words[1:], *NOW]) == 0
        out, err = capsys.readouterr()
        assert "GR-0422" in out
        assert not err


def test_results_as_json_have_the_shape_of_the_contract(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["results", str(soil), "--as", "json", *NOW]) == 0
    data = json.loads(capsys.readouterr().out)
    parts = [
        "format",
        "run",
        "now",
        "state",
        "setup",
        "calibrations",
        "rows",
        "fractions",
        "quality",
        "due",
        "stands_on",
        "problems",
        "trail",
    ]
    assert list(data) == parts
    row = "id kind sample batch calibration report drift net extract u_extract factor result unit U detection reporting"
    more = "flags reported recovery_percent rpd_percent state advice"
    assert {*row.split(), *more.split()} <= data["rows"][0].keys()
    curve = "id model weighting zero coefficients n levels r r2 s rse_percent rsd_percent range state why detection"
    assert {*curve.split(), "standards"} <= data["calibrations"][0].keys()
    assert data["quality"][0].keys() == {
        *("rule", "rows", "value", "low", "high", "state", "why", "unit", "affects", "acted_on"),
    }
    assert data["due"][0].keys() == {"what", "state", "readings_left", "minutes_left"}
    assert data["fractions"][0].keys() == {
        *("sample", "oil_grease", "petroleum", "polar", "U", "unit", "reported", "flags"),
    }


def test_text_fits_eighty_columns(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["report", str(soil)], ["results", str(soil)], ["methods"]):
        assert main([*command, *(NOW if command[0] != "methods" else [])]) == 0
        assert max(map(len, capsys.readouterr().out.splitlines())) <= 80


def test_report_is_written_to_a_file(soil: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "-out put.html"
    assert main(["report", str(soil), "--as", "html", f"-o{target}", *NOW]) == 0
    out, err = capsys.readouterr()
    assert not out
    assert str(target) in err
    page = target.read_text(encoding="utf-8")
    assert "<script" not in page
    assert "http" not in page


def test_a_report_is_not_written_over_its_run(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = soil.read_bytes()
    assert main(["report", str(soil), "-o", str(soil), *NOW]) == 2
    assert "is a run; what a command makes needs a file of its own" in capsys.readouterr().err
    assert soil.read_bytes() == before


def test_a_new_run_has_the_house_of_the_laboratory_file_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The file's reference says that it is copied into the run table of a new run."""
    house = 'name = "Orla House"\naddress = "1 Quay"\ncontact = "R. Holt"\naccreditation = "none"\nplace = "bench 2"\n'
    (tmp_path / "laboratory.toml").write_text(f"[laboratory]\n{house}dilutions = [0.5]\n", encoding="utf-8")
    assert main(["new", str(tmp_path / "a b.toml"), "--method", "plain"]) == 0
    run, _ = read((tmp_path / "a b.toml").read_text(encoding="utf-8"))
    assert run is not None
    about = run.run
    assert (about.laboratory, about.laboratory_address, about.laboratory_contact) == ("Orla House", "1 Quay", "R. Holt")
    assert (about.accreditation, about.place) == ("none", "bench 2")
    told = capsys.readouterr().err
    assert "laboratory.toml: laboratory.dilutions[1]" in told
    assert f"runsheet '{tmp_path / 'a b.toml'}' opens it" in told


def test_a_new_runs_id_is_the_whole_name_of_its_file(tmp_path: Path) -> None:
    """Only `.toml` is an ending: the 11 of KB-03.11 would be lost from every page of its report."""
    for file, name in (("KB-03.11", "KB-03.11"), ("KB-03.11.toml", "KB-03.11"), ("x.TOML", "x")):
        assert main(["new", str(tmp_path / file), "--method", "plain"]) == 0
        run, _ = read((tmp_path / file).read_text(encoding="utf-8"))
        assert run is not None
        assert run.run.id == name
        (tmp_path / file).unlink()


def test_a_method_whose_file_has_an_error_is_not_just_no_method(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("RUNSHEET_CONFIG", str(tmp_path))
    (tmp_path / "methods").mkdir()
    (tmp_path / "methods" / "ours.toml").write_text('unit = "mg/L"\n[blank]\nabsorbance = "low"\n', encoding="utf-8")
    assert main(["new", str(tmp_path / "a.toml"), "--method", "ours"]) == 2
    told = capsys.readouterr().err
    assert "ours.toml: blank.absorbance" in told
    assert "no method 'ours'" in told


@pytest.mark.parametrize("name", ["check", "day", ".toml"])
def test_a_new_run_that_no_folders_history_finds_is_told_so(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`runsheet check` would not open it either: that is a command."""
    monkeypatch.chdir(tmp_path)
    assert main(["new", name, "--method", "plain"]) == 0
    told = capsys.readouterr().err
    assert f"runsheet open {name} opens it; the commands over a folder read NAME.toml only, and pass it over" in told
    assert main(["history", "."]) == 0
    assert "0 runs" in capsys.readouterr().out


def test_a_new_run_whose_name_begins_as_an_option_is_told_how_it_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new", "--method", "plain", "--", "-x.toml"]) == 0
    assert "runsheet -- -x.toml opens it" in capsys.readouterr().err


def test_new_makes_a_readable_run_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name in methods.names():
        path = tmp_path / f"{name}.toml"
        assert main(["new", str(path), "--method", name]) == 0
        run, problems = read(path.read_text(encoding="utf-8"))
        assert run is not None
        assert not problems
        assert run.method == methods.find(name)
        before = path.read_bytes()
        assert main(["new", str(path), "--method", name]) == 2
        assert path.read_bytes() == before
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["check", "nothing.toml"], "nothing.toml"),
        (["check", "."], "directory"),
        (["frobnicate"], "neither a file nor a command"),
        (["new", "no/such/folder/x.toml", "--method", "plain"], "No such file"),
        (["new", "x.toml", "--method", "nosuch"], "tph-water"),
        (["methods", "nosuch"], "tph-water"),
        (["demo", "nosuch"], "water-day"),
        (["open"], "needs a terminal"),
    ],
)
def test_a_refusal_says_why(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert not out
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("now", "said"), [("2026-04-22T15:30", "has no offset"), ("today", "is no date and time")], ids=["local", "word"]
)
def test_a_time_must_have_its_offset(now: str, said: str, soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(["check", str(soil), "--now", now])
    assert said in capsys.readouterr().err


def test_methods_show_sources_and_cautions(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["methods", "tph-water"]) == 0
    out = capsys.readouterr().out
    assert "EPA SW-846 8000D" in out
    assert "licensed practice decides" in " ".join(out.split())


def run(*words: str, stdin: int = subprocess.DEVNULL) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "runsheet", *words], stdin=stdin, capture_output=True, text=True, check=False, timeout=60
    )


def test_demo_without_a_terminal_is_its_report() -> None:
    done = run("demo")
    assert done.returncode == 0
    assert done.stdout.startswith("Test report. Draft, not issued")
    assert not done.stderr


def test_a_reader_that_leaves_is_no_error() -> None:
    shell = f"{sys.executable} -m runsheet demo | head -1"
    done = subprocess.run(
        ["bash", "-o", "pipefail", "-c", shell], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0
    assert "Traceback" not in done.stderr


def test_help_loads_neither_numpy_nor_the_screen() -> None:
    code = (
        "import sys; from runsheet.command.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'textual', 'tomli_w', 'decimal'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout.splitlines()[-1] == "[]"


def test_log_prints_and_verifies(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from runsheet.run import edit
    from runsheet.run.disk import store

    opened = store.open_for_writing(soil, "tester", demo.NOW["soil-day"])
    opened.accept([edit.set_value(opened.run, "queue[1].note", "looked at twice")], demo.NOW["soil-day"], "a reason")
    opened.close()
    assert main(["log", str(soil)]) == 0
    assert "looked at twice" in capsys.readouterr().out
    assert main(["log", str(soil), "--verify"]) == 0
    assert "whole" in capsys.readouterr().out
    log = soil.with_name(soil.name + ".log")
    log.write_bytes(log.read_bytes().replace(b"looked at twice", b"looked at never"))
    assert main(["log", str(soil), "--verify"]) == 1
    assert "was changed" in capsys.readouterr().out


def test_a_change_from_outside_is_listed_by_verify_and_its_limit_is_said(
    soil: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from runsheet.run import edit
    from runsheet.run.disk import store

    now = demo.NOW["soil-day"]
    opened = store.open_for_writing(soil, "tester", now)
    opened.accept([edit.set_value(opened.run, "queue[1].note", "looked at twice")], now, "a reason")
    opened.close()
    text = soil.read_text(encoding="utf-8")
    soil.write_text(text.replace("0.051", "0.061", 1), encoding="utf-8")
    assert main(["log", str(soil), "--verify"]) == 1
    told = capsys.readouterr().out
    last = minute(now.isoformat())
    assert f"changed outside the log, after {last}: queue[" in told
    assert "log whole, document changed outside it: 1 value was changed outside the log" in told
    assert "could have written the log anew" in told
    opened = store.open_for_writing(soil, "tester", now)  # opening and leaving does not wash it out
    action = {"rule": "trail", "rows": [], "taken": "read against the notebook", "by": "R. Holt", "at": now}
    assert main(["log", str(soil), "--verify"]) == 1
    opened.accept([edit.insert_row(opened.run, "action", 1, action)], now)
    opened.close()
    assert main(["log", str(soil), "--verify"]) == 0
    told = capsys.readouterr().out
    assert told.count(f"changed outside the log, after {last} and before {last}: queue[") == 1
    assert told.count("[0.051] to [0.061]") == 2


def test_a_run_without_a_log_is_told_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "run.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    assert main(["log", str(path)]) == 2
    assert main(["log", str(path), "--verify"]) == 2
    assert capsys.readouterr().err.count("run.toml: it has no edit log; one begins when it is opened for work") == 2


def test_a_log_is_verified_or_its_document_s_digest_printed(tmp_path: Path) -> None:
    """With both, the digest was printed, the log not looked at, and the exit code 0."""
    path = tmp_path / "run.toml"
    path.write_text(document([row("A", 0.1)]), encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["log", str(path), "--verify", "--digest"])
    assert ended.value.code == 2


def test_a_log_that_was_taken_away_is_no_log_that_never_began(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`check` fails the run for it; `log --verify` said that a log begins when the run is opened, and ended with 2."""
    path = tmp_path / "run.toml"
    path.write_text(document([row("A", 0.1)], run={"id": "T", "log": "5" * 64}), encoding="utf-8")
    assert main(["log", str(path), "--verify"]) == 1
    assert "log broken: the log that [run] log names is not there" in capsys.readouterr().out
    assert main(["log", str(path)]) == 2
    assert "the log that [run] log names is not there" in capsys.readouterr().err


def test_an_empty_log_is_said_to_be_empty_and_not_to_be_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row("A", 0.1)], run={"id": "T", "log": "5" * 64}), encoding="utf-8")
    (tmp_path / "run.toml.log").touch()
    for command in (["log", "--verify"], ["check"]):
        assert main([command[0], str(path), *command[1:]]) == 1
        assert "log broken: the log is empty" in capsys.readouterr().out


def test_a_document_made_from_its_log_for_a_look_is_not_said_to_be_made(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "run.toml"
    path.write_text(document([row("A", 0.1)]), encoding="utf-8")
    opened = store.open_for_writing(path, "M. Tarn", at(0))
    opened.accept([Edit("set", "run.title", None, "a title")], at(1))
    assert opened.close()
    path.unlink()
    main(["check", str(path)])
    assert "run.toml was missing: this is the run its log holds" in capsys.readouterr().err
    assert not path.exists()


@pytest.mark.parametrize("words", ["not a document", '[run]\nid = "no format"\n'])
def test_a_file_that_cannot_be_opened_for_work_is_promised_no_log(
    words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "run.toml"
    path.write_text(words, encoding="utf-8")
    assert main(["log", str(path)]) == 2
    assert capsys.readouterr().err == f"runsheet: {path}: it has no edit log\n"


def test_a_folder_is_not_said_to_be_opened_for_work(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", str(tmp_path)]) == 2
    assert capsys.readouterr().err.endswith(": a folder stands in the file's place\n")


def test_one_entry_ahead_is_one_and_a_log_that_is_whole_was_not_acted_on(
    soil: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from runsheet.run import edit
    from runsheet.run.disk import store

    now = demo.NOW["soil-day"]
    opened = store.open_for_writing(soil, "tester", now)
    action = {"rule": "trail", "rows": [], "taken": "nothing was wrong", "by": "R. Holt", "at": now}
    opened.accept([edit.insert_row(opened.run, "action", 1, action)], now)
    opened.flush()
    before = soil.read_bytes()
    assert main(["log", str(soil), "--verify"]) == 0
    assert ": log whole\n" in capsys.readouterr().out
    opened.accept([edit.set_value(opened.run, "queue[1].note", "looked at twice")], now)
    opened.close()
    soil.write_bytes(before)
    main(["check", str(soil), *NOW])
    assert "1 entry of its log is ahead of it and is counted in" in capsys.readouterr().err


def test_a_pipe_in_the_place_of_the_log_hangs_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "run.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    os.mkfifo(tmp_path / "run.toml.log")
    assert main(["log", str(path)]) == 2
    assert "run.toml" in capsys.readouterr().err


def test_a_name_that_would_steer_the_terminal_is_shown_harmless(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "/no/such/\x1b[2J.toml"]) == 2
    told = capsys.readouterr().err
    assert "\x1b" not in told
    assert "\\x1b[2J" in told


def test_the_short_report_is_the_clients_pages(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["report", str(soil), *NOW]) == 0
    whole = capsys.readouterr().out
    assert main(["report", str(soil), "--short", *NOW]) == 0
    short = capsys.readouterr().out
    assert "What each result stands on" in whole
    assert "What each result stands on" not in short
    assert "the client's pages" in " ".join(short.split())


def test_the_digest_is_the_one_reports_print(soil: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["log", str(soil), "--digest"]) == 0
    digest = capsys.readouterr().out.strip()
    assert len(digest) == 64
    assert main(["report", str(soil), *NOW]) == 0
    assert digest in capsys.readouterr().out
    soil.write_text(soil.read_text(encoding="utf-8").replace("amount = 9.8", "amount = 9.7"), encoding="utf-8")
    assert main(["log", str(soil), "--digest"]) == 0
    assert capsys.readouterr().out.strip() != digest


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["repot", "x"], "repot: no such command; did you mean report?"),
        (["chekc"], "chekc: no such command; did you mean check?"),
        (["zzz", "x"], "zzz: no such command; runsheet --help lists them"),
        (["day.toml", "x"], "unrecognized arguments: x"),
    ],
)
def test_a_command_that_there_is_not_is_named(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    try:
        code = main(words)
    except SystemExit as end:
        code = end.code  # type: ignore[assignment]
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.splitlines()[-1].endswith(said)


def test_a_file_called_like_a_command_is_no_misspelt_command(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "repot").touch()
    monkeypatch.chdir(tmp_path)
    assert main(["repot"]) == 2
    assert "no such command" not in capsys.readouterr().err
