"""The record: whatever a document holds of standards, batches, samples, setup checks and rows is printed as typed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest

from runsheet import evaluate
from runsheet.report import formats, record_sections
from runsheet.report.making import Report
from tests.make import NOW, at, row, run, standards

ROW: dict[str, Any] = {
    "sample": "smp-a", "batch": "bat-a", "calibration": "C1", "cell_mm": 10, "matrix": "solid", "dilution": 7,
    "silica_gel": True, "analyst": "ana-row", "added_mg": 31, "material": "mat-row", "response_factor": 1.37,
    "lot": "lot-row", "expires": at(9000).date(), "full_g": 712.5, "empty_g": 311.5, "density": 1.03,
    "not_sample_ml": 5.5, "dish_g": 21.25, "wet_g": 33.75, "dry_g": 30.5, "silica_gel_g": 3.21,
    "extracted": at(30), "note": "note-row", "extract_ml": 101, "kind": "control", "amount": None,
}  # fmt: skip
TABLES: dict[str, dict[str, Any]] = {
    "standard": {
        "id": "STD", "calibration": "C1", "stock": 4130, "aliquot_ml": 2.5, "final_ml": 103, "readings": [0.2512],
        "at": at(26), "lot": "lot-std", "expires": at(9100).date(), "certificate": "cert-std", "note": "note-std",
    },
    "batch": {
        "id": "bat-a", "started": at(-60), "finished": at(-31), "analyst": "ana-bat", "technique": "tech-bat",
        "solvent_lot": "sol-bat", "acid_lot": "acid-bat", "silica_gel_lot": "gel-bat", "drying_agent_lot": "dry-bat",
        "note": "note-bat",
    },
    "sample": {
        "id": "smp-a", "site": "site-smp", "collected": at(-1441), "sampler": "by-smp", "received": at(-601),
        "received_c": 4.7, "on_ice": True, "container": "jar-smp", "preservative": "pre-smp", "pH": 1.83,
        "pH_adjusted": "adj-smp", "client_id": "cid-smp", "note": "note-smp",
    },
    "setup": {"check": "zero", "readings": [0.0011], "reads": "absorbance", "at": at(11), "note": "note-set"},
}  # fmt: skip


@pytest.fixture(scope="module")
def report() -> str:
    """The Markdown report, whose cells do not wrap, of a run that has each field."""
    made = run(
        [row("R", 0.2417, at=at(61), **ROW), row("D", 0.2, kind="duplicate", of="smp-a", at=at(62))],
        standard=[*standards(), TABLES["standard"]],
        **{name: [fields] for name, fields in TABLES.items() if name != "standard"},
    )
    return formats.FORMATS["markdown"](Report(evaluate(made, datetime.fromisoformat(NOW)))).replace("\\", "")


CASES = [(name, key, value) for name, fields in (*TABLES.items(), ("row", ROW)) for key, value in fields.items()]


@pytest.mark.parametrize(("name", "key", "value"), [case for case in CASES if case[2] is not None])
def test_each_field_is_printed_as_typed(report: str, name: str, key: str, value: Any) -> None:
    told = record_sections.cell(tuple(value) if isinstance(value, list) else value)
    cells = {cell.strip() for line in report.splitlines() for cell in line.split("|")}
    wanted = f"note: {told}" if (name, key) == ("row", "note") else told
    assert wanted in cells, (name, key)


def test_a_time_keeps_its_seconds() -> None:
    assert record_sections.cell(at(0)) == "2026-03-11 08:00+01:00"
    assert record_sections.cell(at(0.25)) == "2026-03-11 08:00:15+01:00"


def test_a_void_row_is_marked_and_its_reason_told() -> None:
    made = run(
        [row("R", 0.25, at=at(61), void="film on the cell"), row("S", 0.25, at=at(62), report=False, reason="x")]
    )
    told = formats.FORMATS["text"](Report(evaluate(made, datetime.fromisoformat(NOW))))
    assert "R  void: film on the cell" in told
    assert "S  superseded: x" in told
