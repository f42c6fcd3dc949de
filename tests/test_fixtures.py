"""The documents under fixtures/: good ones with their findings, bad ones with their problems, reports byte for byte."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

import pytest

from runsheet import demo, evaluate, read
from runsheet.command.main import main
from runsheet.compute.rules import RULES
from runsheet.problem import has_errors
from runsheet.run.text import write
from tests import goldens

if TYPE_CHECKING:
    from pathlib import Path

GOOD = sorted((goldens.FIXTURES / "good").glob("*.toml"))
BAD = sorted((goldens.FIXTURES / "bad").glob("*.toml"))
EXPECTED = dict(goldens.outputs())
NO_RULE = {"direct", "weighed"}
"""Good documents that show something else than a rule."""


def names(paths: list[Path]) -> list[str]:
    return [path.stem for path in paths]


@pytest.mark.parametrize("path", EXPECTED, ids=lambda path: path.name)
def test_golden(path: Path) -> None:
    assert path.read_bytes().decode() == EXPECTED[path]()


def test_each_rule_has_a_document() -> None:
    rules = {rule.name for rule in RULES}
    assert set(names(GOOD)) == rules | NO_RULE


@pytest.mark.parametrize("path", [path for path in GOOD if path.stem not in NO_RULE], ids=lambda path: path.stem)
def test_the_document_of_a_rule_breaks_that_rule(path: Path) -> None:
    run, problems = read(path.read_text())
    assert run is not None
    assert not problems
    now = datetime.fromisoformat(path.with_suffix(".now").read_text().strip())
    assert {f.state for f in evaluate(run, now).quality if f.rule == path.stem} & {"fail", "warn"}


ALONE = re.compile(r"(?<![Ss]etup )\bchecks?\b(?! standards?\b)")


def test_no_sentence_leaves_open_which_check_is_meant() -> None:
    """But what falls due, whose words are those of the status line."""
    said = [rule.title for rule in RULES]
    for path in GOOD:
        run, _ = read(path.read_text())
        assert run is not None
        now = datetime.fromisoformat(path.with_suffix(".now").read_text().strip())
        said += [f.why for f in evaluate(run, now).quality if f.rule != "due"]
    assert len([words for words in said if "check standard" in words]) > 5
    assert [words for words in said if ALONE.search(words)] == []


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_a_good_document_is_written_as_it_was_read(path: Path) -> None:
    text = path.read_text()
    run, _ = read(text)
    assert run is not None
    assert write(run) == text


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_bad_document_has_an_error_with_a_place(path: Path) -> None:
    if (text := goldens.decoded(path)) is not None:
        _, problems = read(text)
        assert has_errors(problems)
        assert all(problem.path or problem.line or "nested" in problem.message for problem in problems)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
@pytest.mark.parametrize("command", ["check", "results", "report"])
def test_no_command_takes_a_bad_document(command: str, path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = path.read_bytes()
    assert main([command, str(path)]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert path.name in err
    assert "Traceback" not in err
    assert path.read_bytes() == before


def test_demo_runs_show_what_they_are_for() -> None:
    states = {}
    for name in demo.NAMES:
        run, problems = read(demo.text(name))
        assert run is not None
        assert not problems
        sheet = evaluate(run, demo.NOW[name])
        states[name] = (sheet.state, {due.what: due.state for due in sheet.due})
        assert "invented" in (run.run.title or "")
    assert states["water-day"] == ("todo", {"blank": "soon", "check": "ok"})
    assert states["soil-day"][0] == "fail"


def test_only_rules_that_list_every_verdict_list_a_pass() -> None:
    seen = set()
    for path in GOOD:
        run, _ = read(path.read_text())
        assert run is not None
        sheet = evaluate(run, datetime.fromisoformat(path.with_suffix(".now").read_text().strip()))
        seen |= {finding.rule for finding in sheet.quality if finding.state in ("pass", "todo")}
    listed = {rule.name for rule in RULES if rule.every_verdict}
    assert len(seen) > 5
    assert seen - {"review"} <= listed  # what a reviewer typed again is told both ways
