"""The reviewer's page: what reviewers look at, in their order, each point from the run."""

from __future__ import annotations

from datetime import datetime

import pytest

from runsheet import demo, evaluate, read
from runsheet.report.blocks import Facts, Heading
from runsheet.report.cover import first_look
from runsheet.report.making import Report
from runsheet.report.reviewer_points import POINTS
from runsheet.review.entries import Audit, Late
from tests.make import NOW, at, row, standards
from tests.make import run as made_run

ORDER = [
    "Sample times and pH",
    "Weights and volumes",
    "Zero and blanks",
    "Setup checks",
    "Standards left out",
    "Second source",
    "Brackets",
    "Batch quality control",
    "Dilutions, raw readings",
    "Corrections",
    "Order of times",
    "Detection study",
]
"""Common practice, no source."""


def points(queue: list[dict[str, object]], audit: Audit | None = None, **tables: object) -> dict[str, str]:
    """Answer the points for a run of these rows."""
    sheet = evaluate(made_run(queue, **tables), datetime.fromisoformat(NOW))
    blocks = list(first_look(Report(sheet, audit or Audit())))
    return dict(next(b for b in reversed(blocks) if isinstance(b, Facts)).pairs)


def test_the_points_stand_in_the_order_reviewers_look() -> None:
    assert [name for name, _ in POINTS] == ORDER
    run, _ = read(demo.text("soil-day"))
    assert run is not None
    blocks = list(first_look(Report(evaluate(run, demo.NOW["soil-day"]))))
    asked = next(at for at, block in enumerate(blocks) if block == Heading("What reviewers look at first"))
    found = blocks[asked + 1]
    assert isinstance(found, Facts)
    assert [name for name, _ in found.pairs] == ORDER


CASES = [
    ("Sample times and pH", "pH 1.8 to 6.5 in 2 of 2 samples; above 2: OF-2."),
    ("Sample times and pH", "Longest holding 2.0 of 28 days (OF-1)."),
    ("Weights and volumes", "3 rows of samples, duplicates and spikes (water): amount 940 to 1000 mL, extract 100 mL."),
    ("Zero and blanks", "1 solvent blank, net 0.002. Re-zeroed: SB1."),
    ("Standards left out", "S5 at 200 mg/L: flask not to the mark."),
    ("Second source", "ICV1 lot Q-2:"),
    ("Second source", "Standards' lots: Q-1."),
    ("Dilutions, raw readings", "OF-2D 5x: 0.2 (OF-2 1x: 0.9)."),
    ("Corrections", "Superseded: OF-2."),
    ("Order of times", "WARN SB1: read at 08:50, before OF-2D above it"),
    ("Order of times", "Entered late: OF-1 by 67 min."),
    ("Detection study", "studied 2026-02-11, 28 days before the run."),
]


@pytest.mark.parametrize(("point", "says"), CASES)
def test_each_point_says_what_the_run_holds(point: str, says: str) -> None:
    made = standards(lot="Q-1")
    made[-1] |= {"use": False, "reason": "flask not to the mark"}
    sample = [
        {"id": "OF-1", "collected": at(-48 * 60 + 60), "pH": 1.8},
        {"id": "OF-2", "collected": at(-24 * 60), "pH": 6.5},
    ]
    queue = [
        row("ICV1", 0.25, kind="second-source", expected=100, lot="Q-2", at=at(50)),
        row("OF-1", 0.112, at=at(60)),
        row("OF-2", 0.9, amount=940, at=at(70), report=False, reason="above the range"),
        row("OF-2D", 0.2, amount=940, sample="OF-2", dilution=5, at=at(80)),
        row("SB1", 0.002, kind="blank", rezeroed=True, at=at(50)),
    ]
    method = {
        "limits": {"detection": 0.5, "reporting": 2.0, "studied": at(-28 * 24 * 60).date()},
        "holding": {"collection_to_analysis_days": 28},
    }
    about = {"id": "R", "opened": at(0)}
    audit = Audit(entries=3, late=(Late("OF-1", at(60), at(127)),))
    told = points(queue, audit, standard=made, sample=sample, method=method, run=about)
    assert says in told[point]


def test_an_empty_run_answers_every_point() -> None:
    told = points([], standard=[])
    assert list(told) == ORDER
    assert all(told.values())
    assert told["Zero and blanks"] == "No zero standard. No solvent blank was read."
    assert told["Second source"] == "None was read."
    assert told["Corrections"] == "No baseline subtracted. No edit log beside the document."
