"""Every reported figure of both invented days, computed again from the text of the report alone."""

from __future__ import annotations

import re

import pytest

from runsheet import demo, evaluate, read
from runsheet.report import formats
from runsheet.report.making import Report
from tests.report import recompute


def report(name: str) -> str:
    """The full report of an invented day as text."""
    run, _ = read(demo.text(name))
    assert run is not None
    return formats.FORMATS["text"](Report(evaluate(run, demo.NOW[name])))


@pytest.mark.parametrize(("name", "least"), [("water-day", 440), ("soil-day", 670)])
def test_every_figure_comes_out_of_the_text_alone(name: str, least: int) -> None:
    said = recompute.compare(report(name))
    assert said.differences == []
    assert said.count > least


@pytest.mark.parametrize(
    ("printed", "instead", "where"),
    [
        (r"^(G-2 .*)9\.8( )", r"\g<1>9.7\2", "G-2 factor"),
        (r"^(S3  .*)0\.199", r"\g<1>0.189", "calibration C1 a"),
        (r"^(G-1  +oil and +)244", r"\g<1>245", "client's G-1 oil and grease"),
        (r"^(MS1T .*)0\.2( )", r"\g<1>0.3\2", "MS1T recovery"),
    ],
)
def test_a_figure_changed_on_the_paper_is_found(printed: str, instead: str, where: str) -> None:
    changed, count = re.subn(printed, instead, report("soil-day"), count=1, flags=re.MULTILINE)
    assert count == 1
    assert any(each.startswith(where) for each in recompute.compare(changed).differences)
