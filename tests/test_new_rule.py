"""A new rule needs its function and its `Rule`: it is walked here through sheet, screen, report and explanation."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING

from runsheet import evaluate
from runsheet.compute import rules
from runsheet.compute.results import Finding
from runsheet.compute.rules.rule import Rule
from runsheet.report import formats
from runsheet.report.making import Report
from runsheet.review import walk
from runsheet.review.entries import Audit
from runsheet.run.model import Action
from runsheet.screen import panes
from runsheet.show import findings
from tests.make import NOW, at, row, run

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pytest

    from runsheet.compute.rules.computed import Computed


def lucky(made: Computed) -> Iterator[Finding]:
    """No result is a lucky number."""
    for each in made.read:
        if each.is_reported and round(each.result or 0) == 10:
            yield Finding("lucky", (each.id,), each.result, None, 9, "fail", "ten is no result", "mg/L")


RULE = Rule("lucky", "lucky numbers", lucky, ("batch.replicate_percent",), point="batch", marks=True)


def test_a_new_rule_is_shown_everywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rules, "RULES", (*rules.RULES, RULE))
    monkeypatch.setitem(rules.BY_NAME, RULE.name, RULE)
    method = {"batch": {"replicate_percent": 10}, "sources": {"batch.replicate_percent": "our procedure 7"}}
    day = run([row("A", 0.25, at=at(60)), row("B", 0.2, at=at(61))], method=method)
    sheet = evaluate(day, datetime.fromisoformat(NOW))
    (found,) = [finding for finding in sheet.quality if finding.rule == "lucky"]
    assert (found.affects, found.acted_on, sheet.state) == (("A",), False, "fail")
    marked, other = sheet.rows
    assert (marked.fails, marked.flags, other.fails, other.flags) == (True, ("Q",), False, ())
    assert findings.basis(found, day.method) == ["replicate readings off their mean, at most 10 %: our procedure 7"]
    assert "fail: lucky A: ten is no result" in findings.lines(sheet)
    assert "fail: lucky A: ten is no result; no action noted" in walk.exceptions(sheet, Audit())
    quality = next(pane for pane in panes.PANES if pane.name == "quality")
    cells = [[column.text(finding) for column in quality.columns] for finding in quality.items(sheet)]
    assert any("lucky" in line for line in cells)
    for form in formats.FORMATS:
        assert "ten is no result" in formats.FORMATS[form](Report(sheet))
    acted = replace(day, action=(findings_action(found),))
    assert evaluate(acted, datetime.fromisoformat(NOW)).state == "qualified"


def findings_action(found: Finding) -> Action:
    """What a person notes about a finding."""
    return Action(rule=found.rule, rows=found.rows, taken="read again", by="I. Varga", at=at(90))
