"""The report issued with keys: refused with its reason first, and then what stands on the disk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet.command import main
from runsheet.run import edit, text
from runsheet.run.disk import register
from runsheet.run.model import Review
from tests.review.test_signing import NOW, noted
from tests.screen.scripted import Scripted

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture
def day(tmp_path: Path) -> Iterator[Scripted]:
    path = tmp_path / "soil.toml"
    path.write_text(text.write(noted()), encoding="utf-8")
    made = Scripted(path, NOW)
    yield made
    made.session.store.close()


def test_a_report_is_issued_and_the_title_line_says_so(day: Scripted) -> None:
    assert day.session.signed == ""
    assert day.run("issue").said[-1] == "not issued: there is no edit log of it"
    day.run("sign", "M. Tarn").run("sign", "R. Holt")
    assert day.session.signed == "signed by M. Tarn, R. Holt"
    assert day.session.next_to_sign == "signed by analyst and reviewer: O issues the report"
    assert day.run("issue", "R. Holt").said[-1] == (
        "GR-0422 is issued, in GR-0422.html; a read-only copy is kept in issued/"
    )
    assert day.session.signed == "signed by M. Tarn, R. Holt, issued as GR-0422"
    assert day.session.next_to_sign == "nothing: issued as GR-0422"
    report = day.session.path.with_name("GR-0422.html")
    assert "Test report GR-0422" in report.read_text(encoding="utf-8")
    assert day.run("issue").said[-1] == "not issued: GR-0422 is this document; nothing changed since"
    made = edit.set_value(day.session.run, "run.title", "another")
    assert day.session.commit([made], "the client's title") == ""
    assert day.session.signed == "no valid signature, issued as GR-0422, changed since"
    assert day.session.next_to_sign == "no signature stands any more: S signs anew"
    day.run("sign", "M. Tarn").run("sign", "R. Holt").run("issue", "R. Holt", "another title")
    assert day.session.run.issued[1].reason == "another title"
    found = register.read(register.place(day.session.path.parent))
    assert [line.number for line in found.lines] == ["GR-0422", "GR-0422-2"]


def test_who_works_alone_is_asked(day: Scripted) -> None:
    day.run("sign", "M. Tarn").run("issue", "n")
    assert (day.said[-1], day.session.run.issued) == ("not issued: no valid reviewer's signature", ())
    day.run("issue", "y", "M. Tarn")
    assert "not independently reviewed" in day.session.path.with_name("GR-0422.html").read_text(encoding="utf-8")
    # What is issued already is not said to lack a signature: none would let it be issued again.
    assert day.run("issue").said[-1] == "not issued: GR-0422 is this document; nothing changed since"


def test_who_was_walked_through_but_did_not_sign_is_not_said_to_have_reviewed_nothing(day: Scripted) -> None:
    day.run("sign", "M. Tarn").run("review", "R. Holt")
    made = edit.insert_row(day.session.run, "review", 1, Review(by="R. Holt", at=NOW, exception="seen"))
    assert day.session.commit([made]) == ""
    day.prompt = None
    day.run("issue")
    assert day.prompt is not None
    assert day.prompt.label == (
        "GR-0422 has no valid reviewer's signature, and every page will say: not independently reviewed. Issue it? y/n:"
    )


def test_a_file_of_the_reports_name_beside_the_run_is_left_as_it_was(day: Scripted) -> None:
    beside = day.session.path.with_name("GR-0422.html")
    beside.write_text("a letter to the client", encoding="utf-8")
    day.run("sign", "M. Tarn").run("sign", "R. Holt")
    said = day.run("issue", "R. Holt").said[-1]
    assert beside.read_text(encoding="utf-8") == "a letter to the client"
    copy = beside.parent / "issued" / "GR-0422.html"
    assert said == f"GR-0422 is issued; GR-0422.html was not written, GR-0422.html was there: its copy is {copy}"
    assert "Test report GR-0422" in copy.read_text(encoding="utf-8")


def test_from_the_command_line(day: Scripted, capsys: pytest.CaptureFixture[str]) -> None:
    day.run("sign", "M. Tarn").run("sign", "R. Holt")
    path = str(day.session.path)
    assert main.main(["issue", path]) == 2
    assert "has it open" in capsys.readouterr().err
    day.session.store.close()
    out = day.session.path.with_name("out.txt")
    assert main.main(["issue", path, "-o", str(out), "--by", "R. Holt"]) == 0
    assert "TEST REPORT GR-0422" in out.read_text(encoding="utf-8").upper()
    assert main.main(["report", path]) == 0
    assert "Test report GR-0422" in capsys.readouterr().out
    assert main.main(["issue", path, "-o", "out.pdf"]) == 2
    assert main.main(["issue", path, "-o", path]) == 2
    assert main.main(["issue", path]) == 2
    assert "nothing changed since" in capsys.readouterr().err
    assert main.main(["issued", str(day.session.path.parent)]) == 0
    assert main.main(["log", path, "--verify"]) == 0


def test_the_title_line_keeps_who_signed_in_sight_at_80_columns(tmp_path: Path) -> None:
    from tests.screen.driving import Drive, typed

    path = tmp_path / "soil.toml"
    path.write_text(text.write(noted()), encoding="utf-8")
    seen: list[str] = []
    made = Drive(path, now=NOW)
    made.run("S", typed("M. Tarn"), "S", typed("R. Holt"), then=lambda drive: seen.extend(drive.screen()))
    assert "signed by M. Tarn, R. Holt" in seen[0]
    assert any(line.startswith("NEXT signed by analyst and reviewer: O issues the report") for line in seen)


def test_a_run_signed_by_both_asks_for_no_third_name(tmp_path: Path) -> None:
    """A reviewer's name was asked for, and then refused."""
    from tests.screen.driving import Drive, typed

    path = tmp_path / "soil.toml"
    path.write_text(text.write(noted()), encoding="utf-8")
    seen: list[str] = []
    made = Drive(path, now=NOW)
    made.run("S", typed("M. Tarn"), "S", typed("R. Holt"), "S", then=lambda drive: seen.extend(drive.screen()))
    assert "not signed: it is signed by analyst and reviewer" in "\n".join(seen)
    assert "Sign as" not in "\n".join(seen)
