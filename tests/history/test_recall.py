"""Recall: the issued client results that stand on a lot, a person, a photometer, a standard or a row."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet.command import main
from runsheet.history import search
from runsheet.report.issuing import Asked
from runsheet.run import edit
from runsheet.run.disk import files, store
from tests.history.folder import opened
from tests.report.test_issuing import Bench
from tests.review.test_signing import noted

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("RUNSHEET_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("RUNSHEET_ISSUED", raising=False)
    (tmp_path / "runs").mkdir()
    made = Bench(files.real(tmp_path / "runs" / "soil.toml"))
    store.create(made.document, noted())
    made.sign("M. Tarn", "R. Holt")
    return made


def recalled(bench: Bench, text: str) -> list[tuple[str, str, str]]:
    with opened(bench.document.parent) as tables:
        return [(each.result.row, each.result.number, each.result.replaced) for each in search.recall(tables, text)]


def reported(bench: Bench) -> list[str]:
    return [each.id for each in bench.run.issued[-1].results]


def test_what_was_not_issued_is_not_recalled_and_that_is_said(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    """The analyst has read every row of this run: "in none of these" alone would deny it."""
    assert recalled(bench, "M. Tarn") == []
    assert main.main(["find", str(bench.document.parent), "M. Tarn"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "persons, photometers and cells are looked for in what issued results stand on, and nowhere else" in said


def test_every_thing_a_result_stands_on_leads_to_it(bench: Bench) -> None:
    bench.issue()
    run, rows = bench.run, reported(bench)
    control = next(row for row in run.queue if row.kind == "control" and row.report is not False)
    standard = next(each for each in run.standard if each.lot and each.use is not False)
    for text in ("M. Tarn", run.instrument.name, standard.id, standard.lot, run.solvent.lot):
        assert text is not None
        assert {row for row, _, _ in recalled(bench, text)}, text
    assert {row for row, _, _ in recalled(bench, "M. Tarn")} == set(rows)
    assert {row for row, _, _ in recalled(bench, control.id)} == {
        row.id for row in run.queue if row.id in rows and (row.silica_gel or False) == (control.silica_gel or False)
    }
    assert recalled(bench, "B. Okoro") == []


def test_a_lot_is_told_once_as_what_a_result_stands_on_it(bench: Bench) -> None:
    """A standard's was told as that of the standard and of the standards, a row's by its kind and without it."""
    bench.issue()
    lots = {each.lot for each in bench.run.standard if each.lot} | {each.lot for each in bench.run.queue if each.lot}
    with opened(bench.document.parent) as tables:
        for lot in lots:
            uses = [use for each in search.recall(tables, lot) for use in each.uses]
            assert uses
            assert not [use for use in uses if use.startswith("lot of standards ")], uses
            assert all(" ".join(use.split()[2:-1]) not in {row.id for row in bench.run.queue} for use in uses), uses


def test_results_of_a_replaced_report_are_told_with_the_one_that_replaced_it_and_counted_once(
    bench: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    bench.issue()
    bench.change(edit.set_value(bench.run, "run.title", "another"), "the client's title")
    bench.sign("M. Tarn", "R. Holt")
    bench.issue(Asked("R. Holt", "another title"))
    numbers = {(number, replaced) for _, number, replaced in recalled(bench, "M. Tarn")}
    assert numbers == {("GR-0422", "GR-0422-2"), ("GR-0422-2", "")}
    capsys.readouterr()
    main.main(["find", str(bench.document.parent), "M. Tarn"])
    count = len(reported(bench))
    assert f"Issued: {count} client results in 2 reports stand on it" in " ".join(capsys.readouterr().out.split())


def test_find_prints_the_list_for_letters(bench: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    bench.issue()
    assert main.main(["find", str(bench.document.parent), "M. Tarn"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    count = len(reported(bench))
    assert f"Issued: {count} client results in 1 report stand on it" in told
    assert "GR-0422" in told
    assert "analyst M. Tarn" in told


@pytest.mark.parametrize("since", ["report = false", "void", "renamed"])
def test_an_issued_result_is_recalled_whatever_became_of_its_row(
    bench: Bench, since: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The client has it in hand until a report replaces it: the list for letters may not lose it in silence."""
    bench.issue()
    first = reported(bench)[0]
    at = next(at for at, row in enumerate(bench.run.queue, 1) if row.id == first)
    lot = next(each.lot for each in bench.run.standard if each.lot and each.use is not False)
    assert lot is not None
    field, value = {"report = false": ("report", False), "void": ("void", "spilt"), "renamed": ("id", "X-9")}[since]
    bench.change(edit.set_value(bench.run, f"queue[{at}].{field}", value), "the wrong bottle")
    found = {row for row, _, _ in recalled(bench, lot)}
    main.main(["find", str(bench.document.parent), lot])
    told = " ".join(capsys.readouterr().out.split())
    gone = f"GR-0422 {first}: issued, and no row of soil.toml now: what it stands on is not known here"
    assert (first in found, gone in told) == (since != "renamed", since == "renamed")
