"""Whether analyst and limits of control are good for an open run: what is missing or too old in its folder."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from runsheet import evaluate, read
from runsheet.command import main
from runsheet.history import open_run
from runsheet.history.extract import latest
from tests.history.folder import control, put, reading
from tests.make import row

if TYPE_CHECKING:
    from pathlib import Path

LIMITS = {"name": "m", "batch": {"demonstration_months": 12, "baseline_months": 6}}


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))


def told(document: Path) -> list[str]:
    run, _ = read(document.read_text(encoding="utf-8"))
    assert run is not None
    judged = open_run.load(document, run).judged(evaluate(run, latest(run)))
    return [finding.why for finding in judged.quality if finding.rule == "history"]


def demonstrate(folder: Path, day: int, *recoveries: float, **more: Any) -> None:
    rows = [row(f"D{n}", reading(8 * r / 100), kind="capability", added_mg=8) for n, r in enumerate(recoveries)]
    put(folder, day, rows, name=f"demo-{day:03}", **({"method": {"name": "m"}} | more))


def opened(folder: Path, day: int, method: dict[str, Any] = LIMITS) -> Path:
    return put(folder, day, [row("A", reading(5))], name="open", method=method)


NONE = "M. Tarn has no demonstration of capability for oil and grease, mg/L in this folder's runs: "


def test_without_a_demonstration_that_is_said_and_with_one_nothing_is(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    assert told(opened(folder, 100)) == [f"{NONE}none"]
    demonstrate(folder, 10, 92, 98, 101, 95)
    assert told(opened(folder, 100)) == []


def test_one_that_failed_is_not_complete_or_is_too_old(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    demonstrate(folder, 0, 92, 98, 101)
    assert told(opened(folder, 100)) == [f"{NONE}the last, of 2026-03-11, is not complete"]
    demonstrate(folder, 1, 20, 98, 101, 20)
    assert told(opened(folder, 100)) == [f"{NONE}the last, of 2026-03-12, does not pass"]
    demonstrate(folder, 2, 92, 98, 101, 95)
    assert told(opened(folder, 367)) == []  # twelve months to the day
    assert told(opened(folder, 368)) == [f"{NONE}the last, of 2026-03-13, is older than 12 months"]


def test_another_analyst_method_or_a_method_that_does_not_ask(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    demonstrate(folder, 0, 92, 98, 101, 95, run={"id": "D", "analyst": "B. Okoro"})
    demonstrate(folder, 1, 92, 98, 101, 95, method={"name": "another"})
    assert told(opened(folder, 100)) == [f"{NONE}none"]
    assert told(opened(folder, 100, {"name": "m"})) == []


def test_frozen_limits_grow_old(tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    for day in range(22):
        put(folder, day, [control("LCS1", 100 + day % 3)], method={"name": "m"})
    demonstrate(folder, 23, 92, 98, 101, 95)
    given = ["--of", "control", "--by", "R. Holt", "--why", "first quarter"]
    assert main.main(["baseline", str(folder), *given]) == 0
    path = folder / "baselines.toml"
    made = path.read_text(encoding="utf-8")
    at = next(line for line in made.splitlines() if line.startswith("at = 20") and "T" not in line[:4])
    path.write_text(made.replace(at, "at = 2026-04-05T10:00:00+01:00", 1), encoding="utf-8")
    assert told(opened(folder, 100)) == []
    assert told(opened(folder, 215)) == [
        "the limits of control of control recovery, oil and grease, frozen on 2026-04-05, are older than 6 months"
    ]
    assert main.main(["baseline", str(folder), *given]) == 0  # frozen anew, the old one is in use no more
    assert told(opened(folder, 215)) == []


def test_a_run_is_not_good_by_what_was_demonstrated_after_it(tmp_path: Path) -> None:
    """A report made again years later may not find an analyst capable by a later demonstration."""
    folder = tmp_path / "runs"
    demonstrate(folder, 150, 92, 98, 101, 95)
    assert told(opened(folder, 100)) == [f"{NONE}none"]
    demonstrate(folder, 90, 92, 98, 101, 95)
    assert told(opened(folder, 100)) == []
    demonstrate(folder, 160, 20, 98, 101, 20)
    assert told(opened(folder, 100)) == []


def test_a_demonstration_in_the_run_itself_counts_as_it_is_read(tmp_path: Path) -> None:
    """Four controls read today were none until the run was opened again."""
    folder = tmp_path / "runs"
    document = opened(folder, 100)
    run, _ = read(document.read_text(encoding="utf-8"))
    assert run is not None
    history = open_run.load(document, run)
    rows = [row(f"D{n}", reading(8 * r / 100), kind="capability", added_mg=8) for n, r in enumerate((92, 98, 101, 95))]
    for here, why in ((rows, []), (rows[:3], [f"{NONE}the last, of 2026-06-19, is not complete"])):
        put(folder, 100, [*here, row("A", reading(5))], name="open", method=LIMITS)
        run, _ = read(document.read_text(encoding="utf-8"))
        assert run is not None
        judged = history.judged(evaluate(run, latest(run)))
        assert [finding.why for finding in judged.quality if finding.rule == "history"] == why


def test_a_copy_of_the_run_is_no_other_demonstration(tmp_path: Path) -> None:
    """Three controls, which are too few, were six where a copy of the document lay beside it."""
    rows = [row(f"D{n}", reading(8 * r / 100), kind="capability", added_mg=8) for n, r in enumerate((92, 98, 101))]
    for name in ("copied", "open"):
        document = put(
            tmp_path, 100, [*rows, row("A", reading(5))], name, method=LIMITS, run={"id": "R", "analyst": "M. Tarn"}
        )
    assert told(document) == [f"{NONE}the last, of 2026-06-19, is not complete"]


def test_what_is_not_read_yet_is_not_said_to_have_no_demonstration(tmp_path: Path) -> None:
    """Of more than a hundred new documents none is read before somebody says so."""
    folder = tmp_path / "runs"
    demonstrate(folder, 10, 92, 98, 101, 95)
    document = opened(folder, 100)
    run, _ = read(document.read_text(encoding="utf-8"))
    assert run is not None
    judged = open_run.load(document, run, at_most=1).judged(evaluate(run, latest(run)))
    (why,) = (finding.why for finding in judged.quality if finding.rule == "history")
    assert why == f"{NONE}none".replace("this folder's runs", "what was read of this folder (2 documents not read)")
