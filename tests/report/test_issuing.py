"""Issuing a report: all of it or nothing, killed at every file call; and what is refused."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from runsheet import evaluate
from runsheet.exits import Refusal
from runsheet.figures import figure
from runsheet.report import issue_marks, issuing
from runsheet.report.issuing import Asked
from runsheet.review import printed, signing, trail, trail_rule
from runsheet.run import edit, text
from runsheet.run.disk import copies, files, opening, register, store
from runsheet.show import client_results
from tests.benchmarks.crash_test import Deadly
from tests.effort import FULL
from tests.review.test_signing import NOW, noted

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.review.trail import Trail
    from runsheet.run.disk.files import Disk
    from runsheet.run.edit import Edit
    from runsheet.run.model import Run

LATER = NOW + timedelta(hours=1)
ID = "GR-0422"


@dataclass
class Bench:
    """A run worked on from the command line, as its screen would do it."""

    document: Path
    at: datetime = LATER

    def open(self, disk: Disk = files.DISK) -> store.Store:
        self.at += timedelta(minutes=5)
        return store.open_for_writing(self.document, "M. Tarn", self.at, take_over=True, disk=disk)

    def said(self) -> Trail:
        found = opening.look(self.document)
        return trail.trail(found.log_bytes or None, found.data)

    def change(self, made: Edit, reason: str = "read again from the notebook") -> None:
        """Change the signed run, with its amendment."""
        opened = self.open()
        opened.accept([made, signing.amend(opened.run, "M. Tarn", reason, self.at)], self.at, reason)
        assert opened.close()

    def sign(self, *names: str) -> None:
        opened = self.open()
        opened.begin(self.at)
        for name in names:
            sheet = trail_rule.judged(evaluate(opened.run, self.at), self.said())
            assert signing.refusal(sheet, name) == ""
            results = printed.digest(printed.printed(sheet))
            opened.accept([signing.sign(opened.run, name, self.at, None, results)], self.at)
        assert opened.close()

    def issue(self, asked: Asked = Asked("R. Holt"), disk: Disk = files.DISK) -> issuing.Made:  # noqa: B008 - frozen
        opened = self.open(disk)
        try:
            return issuing.issue(opened, self.document, self.said(), asked, self.at, disk)
        finally:
            opened.close()

    @property
    def run(self) -> Run:
        run, _ = text.read(self.document.read_text(encoding="utf-8"))
        assert run is not None
        return run

    @property
    def lines(self) -> tuple[register.Line, ...]:
        found = register.read(register.place(self.document.parent))
        assert found.faults == ()
        return found.lines


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setenv("RUNSHEET_STATE", str(tmp_path / "state"))
    monkeypatch.delenv("RUNSHEET_ISSUED", raising=False)
    (tmp_path / "runs").mkdir()
    made = Bench(files.real(tmp_path / "runs" / "soil.toml"))
    store.create(made.document, noted())
    return made


@pytest.fixture
def signed(bench: Bench) -> Bench:
    bench.sign("M. Tarn", "R. Holt")
    return bench


def whole(bench: Bench, number: str) -> None:
    """Assert that an issue is all there: in document, log, register and copies, which agree."""
    line = bench.lines[-1]
    assert (line.number, bench.run.issued[-1].number) == (number, number)
    kept = copies.look(line, register.place(bench.document.parent))
    assert kept.document == bench.document.read_bytes()
    assert kept.log == files.log_of(bench.document).read_bytes()
    assert [files.digest(data or b"") for data in kept] == [line.document, line.log, line.report]
    names = {path.name for path in (bench.document.parent / "issued").iterdir()}
    assert names == {f"{each.number}{end}" for each in bench.lines for end in (".toml", ".toml.log", ".html")}


def test_an_issue_is_in_the_document_the_log_the_register_and_the_copies(signed: Bench) -> None:
    made = signed.issue()
    whole(signed, ID)
    assert (made.number, made.copy.read_bytes()) == (ID, made.report)
    assert all(path.stat().st_mode & 0o222 == 0 for path in made.copy.parent.iterdir())
    assert b"Test report GR-0422" in made.report
    assert b"Draft" not in made.report
    issued = signed.run.issued[0]
    assert (issued.by, issued.reason, issued.digest) == ("R. Holt", None, signing.digest(signed.run, "reviewer"))
    sheet = evaluate(signed.run, signed.at)
    assert [each.reported for each in issued.results] == [row.reported for row in sheet.rows if row.for_client]
    assert signed.said().state == "whole"


def test_no_undo_takes_an_issue_back(signed: Bench) -> None:
    signed.issue()
    opened = signed.open()
    assert opened.undo(signed.at) is None
    opened.close()


STEP = 1 if FULL else 4
"""At each how many file calls an issue is killed."""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_killed_at_each_file_call_it_is_issued_whole_or_not_at_all(signed: Bench, tmp_path: Path) -> None:
    before = {path: path.read_bytes() for path in signed.document.parent.iterdir() if path.is_file()}
    outcomes = []
    for call in range(1, 500, STEP):
        for path in [*signed.document.parent.rglob("*"), *(tmp_path / "state").rglob("*")]:
            if path.is_file() and path not in before:
                path.unlink()
        for path, data in before.items():
            path.write_bytes(data)
        if (pid := os.fork()) == 0:
            try:
                signed.issue(disk=Deadly(call))
            finally:
                os._exit(0)
        _, status = os.waitpid(pid, 0)
        assert signed.open().close()
        outcomes.append(bool(signed.run.issued))
        if signed.run.issued:
            whole(signed, ID)
        else:
            assert signed.lines == ()
            assert signed.document.read_bytes() == before[signed.document]
            assert not [path for path in (signed.document.parent / "issued").glob("*") if path.name[0] != "."]
        if os.WIFEXITED(status):
            break
    assert os.WIFEXITED(status)
    assert len(outcomes) > 40 // STEP
    assert {outcomes[0], outcomes[-1]} == {False, True}
    assert sorted(outcomes) == outcomes, "once its line stands it is issued, whatever comes then"


def test_what_was_cut_off_before_the_line_is_issued_by_the_next_try(signed: Bench) -> None:
    place = register.place(signed.document.parent)
    copies.stage(place, ID, "html", copies.Copies(b"old", b"old", b"old"))
    signed.issue()
    whole(signed, ID)


def test_a_second_issue_needs_words_replaces_the_first_and_shows_what_changed(signed: Bench) -> None:
    signed.issue()
    with pytest.raises(Refusal, match="GR-0422 is this document; nothing changed since"):
        signed.issue()
    at = next(at for at, row in enumerate(signed.run.queue, 1) if row.kind == "sample" and row.report is not False)
    row = signed.run.queue[at - 1]
    signed.change(edit.set_value(signed.run, f"queue[{at}].amount", Decimal("5.00")), "jar weighed again")
    with pytest.raises(
        Refusal, match=r"no valid reviewer's signature: R. Holt signed it, and the document was changed"
    ):
        signed.issue()
    signed.sign("M. Tarn", "R. Holt")
    with pytest.raises(Refusal, match="GR-0422-2 replaces GR-0422: a reason in words is needed"):
        signed.issue(Asked("R. Holt", "2"))
    made = signed.issue(Asked("R. Holt", "a jar was weighed wrongly", form="text"))
    assert made.number == "GR-0422-2"
    told = " ".join(made.report.decode().split())
    assert "Amended report GR-0422-2, replaces GR-0422" in told
    assert f"queue[{at}].amount {row.amount} 5.00" in told
    assert "jar weighed again" in told
    old, new = (next(each for each in issued.results if each.id == row.id) for issued in signed.run.issued)
    assert old.reported != new.reported
    assert f"{old.reported} {old.unit}" in told
    assert [line.number for line in signed.lines] == [ID, "GR-0422-2"]


def test_a_lone_worker_says_so_and_every_page_says_it(bench: Bench) -> None:
    with pytest.raises(Refusal, match="there is no edit log of it"):
        bench.issue(Asked("M. Tarn", not_reviewed=True))
    bench.sign()
    with pytest.raises(Refusal, match="no valid analyst's signature"):
        bench.issue(Asked("M. Tarn", not_reviewed=True))
    bench.sign("M. Tarn")
    with pytest.raises(Refusal, match=r"no valid reviewer's signature"):
        bench.issue()
    made = bench.issue(Asked("M. Tarn", not_reviewed=True))
    assert made.report.decode().count("not independently reviewed") >= 2  # the first page and the margins


def test_a_reviewed_run_cannot_be_called_not_reviewed(signed: Bench) -> None:
    with pytest.raises(Refusal, match=r"R. Holt signed it as reviewer"):
        signed.issue(Asked("M. Tarn", not_reviewed=True))


def test_results_other_than_those_signed_are_not_issued(bench: Bench) -> None:
    opened = bench.open()
    opened.begin(bench.at)
    for name in ("M. Tarn", "R. Holt"):
        opened.accept([signing.sign(opened.run, name, bench.at, None, "0" * 64)], bench.at)
    opened.close()
    with pytest.raises(Refusal, match="the results computed now are not those that were signed"):
        bench.issue()


def test_a_document_changed_outside_is_not_issued(signed: Bench) -> None:
    told = signed.document.read_text(encoding="utf-8")
    assert "M. Tarn" in told
    signed.document.write_text(told.replace('analyst = "M. Tarn"', 'analyst = "B. Okoro"', 1), encoding="utf-8")
    with pytest.raises(Refusal, match="document changed outside it"):
        signed.issue()
    assert signed.lines == ()


@pytest.mark.parametrize("named", ["there", "nowhere/issued.log"])
def test_the_register_lies_where_it_is_said_or_nothing_is_issued(
    signed: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, named: str
) -> None:
    (tmp_path / "there").mkdir()
    monkeypatch.setenv("RUNSHEET_ISSUED", str(tmp_path / named))
    before = signed.document.read_bytes()
    if named == "there":
        signed.issue()
        whole_at = sorted(path.name for path in (tmp_path / "there" / "issued").iterdir())
        assert whole_at == ["GR-0422.html", "GR-0422.toml", "GR-0422.toml.log"]
        assert signed.lines[0].file == str(signed.document)
        return
    with pytest.raises(Refusal, match="the folder is gone"):
        signed.issue()
    assert signed.document.read_bytes() == before


def test_a_number_the_register_has_is_refused(signed: Bench) -> None:
    signed.issue()
    other = Bench(signed.document.with_name("other.toml"))
    store.create(other.document, noted())
    other.sign("M. Tarn", "R. Holt")
    with pytest.raises(Refusal, match=r"the register has GR-0422, issued of soil.toml"):
        other.issue()
    assert len(signed.lines) == 1


def test_a_register_that_does_not_chain_takes_nothing(signed: Bench) -> None:
    signed.issue()
    place = register.place(signed.document.parent)
    place.write_bytes(place.read_bytes().replace(b"R. Holt", b"B. Okoro"))
    other = Bench(signed.document.with_name("other.toml"))
    store.create(other.document, edit.apply(noted(), edit.set_value(noted(), "run.id", "GR-0500")))
    other.sign("M. Tarn", "R. Holt")
    with pytest.raises(Refusal, match="does not chain: line 1 was changed"):
        other.issue()


def test_a_report_of_what_is_issued_is_no_draft_and_one_of_what_changed_since_is(signed: Bench) -> None:
    def told() -> tuple[bool, str]:
        found = opening.look(signed.document)
        assert found.data is not None
        made, why = issuing.issued_as(signed.run, signed.document, found.data, signed.said(), found.log.steps)
        return made is not None, why

    assert told() == (False, "")
    signed.issue()
    assert told() == (True, "")
    place = register.place(signed.document.parent)
    kept = place.read_bytes()
    place.unlink()
    assert told() == (False, "the document names GR-0422 as issued, and the register has no line of it")
    place.write_bytes(kept)
    signed.change(edit.set_value(signed.run, "run.title", "another"))
    assert told() == (False, "changed since GR-0422 was issued")


def test_an_amended_report_shows_what_changed_beside_a_result_that_did_not(signed: Bench) -> None:
    """The uncertainty and the polar part are printed for the client too, and are in no row's reported figure."""
    signed.issue(Asked("R. Holt", form="text"))
    before = client_results.results(evaluate(signed.run, signed.at))
    signed.change(edit.set_value(signed.run, "method.uncertainty.volumes_percent", Decimal(9)), "volumes by another")
    signed.sign("M. Tarn", "R. Holt")
    made = signed.issue(Asked("R. Holt", "volumes by another", form="text"))
    told = made.report.decode().partition("What changed since")[2].partition("=====")[0]
    assert "No result, unit or flag of a row changed." in told
    after = client_results.results(evaluate(signed.run, signed.at))
    moved = [(one, other) for one, other in zip(before, after, strict=True) if one.expanded != other.expanded]
    assert moved
    for one, other in moved:
        line = next(line for line in told.splitlines() if f"{one.sample} " in line and one.analyte[:9] in line)
        assert line.split()[-2:] == [figure(one.expanded, 2), figure(other.expanded, 2)]


def test_a_polar_part_that_changed_alone_is_shown(signed: Bench) -> None:
    kept = evaluate(signed.run, signed.at)
    line = next(each for each in client_results.results(kept) if each.analyte == "polar part")
    old = replace(kept, fractions=tuple(replace(f, reported=f.reported | {"polar": "77"}) for f in kept.fractions))
    (moved,) = [each for each in issue_marks.moved(old, kept, set()) if each[0] == line.sample]
    assert moved == (line.sample, "polar part", "result", "77", line.result)
