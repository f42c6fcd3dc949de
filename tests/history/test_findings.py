"""A folder as people keep it: half-copied files, copies of a run, other files, odd names. Findings, never crashes."""

from __future__ import annotations

import errno
import os
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from runsheet.history import audit as audits
from runsheet.history import cache, charts, extract, findings, search
from runsheet.report import history, text
from tests import many
from tests.history.folder import control, opened, put
from tests.make import START, document, row, standards

if TYPE_CHECKING:
    from runsheet.run.model import Run

LAB = many.Lab(3)
WHOLE = LAB.run(1)
SPOILT = {
    "empty.toml": ("", "the file is empty"),
    "half.toml": (WHOLE[: len(WHOLE) // 2].rsplit("=", 1)[0] + "= [", "Invalid value"),
    "other.toml": ('[project]\nname = "x"\n', None),
    "newer.toml": ("format = 99\n[run]\nid = 'x'\n", "format 99"),
    "binary.toml": ("\x00\x01\x02", ""),
    "noid.toml": ("format = 1\n[run]\ntitle = 'x'\n", "run.id"),
}


UNTIMED = "untimed.toml: no standard, no row and no opening has a time: its figures are in no chart and no study"


def told(folder: Path) -> tuple[list[str], str]:
    tables = cache.bring_up(folder)
    found = list(findings.findings(tables)), findings.counted(tables)
    charts.all_charts(tables)
    tables.close()
    return found


@pytest.mark.parametrize(("name", "case"), SPOILT.items())
def test_a_document_that_cannot_be_computed_from_is_named_with_why(
    tmp_path: Path, name: str, case: tuple[str, str | None]
) -> None:
    (tmp_path / name).write_text(case[0], encoding="utf-8")
    (tmp_path / "good.toml").write_text(WHOLE, encoding="utf-8")
    found, counted = told(tmp_path)
    if case[1] is None:
        assert found == []
        assert "1 TOML file that is no run" in counted
    else:
        assert [line.partition(":")[0] for line in found] == [name]
        assert case[1] in found[0]
    assert counted.startswith("1 run, 2026-03-12")


def test_every_cut_of_a_document_half_copied_is_a_finding_or_a_run(tmp_path: Path) -> None:
    data = WHOLE.encode()
    for cut in range(0, len(data), 97):
        (tmp_path / f"cut-{cut}.toml").write_bytes(data[:cut])
    found, _ = told(tmp_path)
    assert len(found) > len(data) // 97 // 2


def test_a_run_in_two_documents_is_a_finding_and_charted_once(tmp_path: Path) -> None:
    (tmp_path / "R-1.toml").write_text(WHOLE, encoding="utf-8")
    (tmp_path / "R-1 (copy of bench 2).toml").write_text(WHOLE, encoding="utf-8")
    found, _ = told(tmp_path)
    copies = "R-1 (copy of bench 2).toml, R-1.toml"
    assert found == [f"run R-00001 is in 2 documents: {copies}; only R-1 (copy of bench 2).toml counts here"]
    tables = cache.bring_up(tmp_path)
    made = charts.all_charts(tables, what="control")
    tables.close()
    assert [len(chart.points) for chart in made] == [1]


def test_of_two_copies_the_one_read_later_counts(tmp_path: Path) -> None:
    rows = [row("SB1", 0.001, kind="blank"), row("SB2", 0.004, kind="blank")]
    (tmp_path / "a.toml").write_text(document(rows[:1]), encoding="utf-8")
    later = document([rows[0], rows[1] | {"at": START.replace(hour=20)}])
    (tmp_path / "z.toml").write_text(later, encoding="utf-8")
    tables = cache.bring_up(tmp_path)
    (made,) = charts.all_charts(tables, what="blank")
    tables.close()
    assert [point.path for point in made.points] == ["z.toml", "z.toml"]


def test_hidden_files_and_what_the_program_keeps_beside_a_run_are_passed_over(tmp_path: Path) -> None:
    for name in (".sync-tmp.toml", "R.ours-20260311-090500.toml", "R.before-edit.toml", ".hidden/R.toml"):
        place = tmp_path / name
        place.parent.mkdir(exist_ok=True)
        place.write_text(WHOLE, encoding="utf-8")
    assert told(tmp_path) == ([], "0 runs")


def test_a_folder_that_is_not_there_raises_its_error(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        cache.bring_up(tmp_path / "gone")


def test_what_is_no_file_is_named_with_why_and_hangs_nothing(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "circle.toml").symlink_to(tmp_path / "circle.toml")
    (tmp_path / "zero.toml").symlink_to("/dev/zero")
    (tmp_path / "gone.toml").symlink_to(tmp_path / "nothing.toml")
    (tmp_path / "R.toml").write_text(WHOLE, encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.toml")
    found, counted = told(tmp_path)
    assert found == [
        "circle.toml: not computed: Too many levels of symbolic links",
        "gone.toml: not computed: No such file or directory",
        "pipe.toml: not computed: a pipe or a device stands in the file's place",
        "zero.toml: not computed: a pipe or a device stands in the file's place",
    ]
    assert counted == "1 run, 2026-03-12 to 2026-03-12; 4 documents not computed"


@pytest.mark.parametrize("kind", ["a pipe", "/dev/zero", "a folder"])
def test_what_stands_in_the_place_of_a_log_is_named_and_hangs_nothing(kind: str, tmp_path: Path) -> None:
    (tmp_path / "R.toml").write_text(WHOLE, encoding="utf-8")
    log = tmp_path / "R.toml.log"
    if kind == "a pipe":
        os.mkfifo(log)
    elif kind == "a folder":
        log.mkdir()
    else:
        log.symlink_to(kind)
    (line,), _ = told(tmp_path)
    assert line.startswith("R.toml: not computed: ")


def test_a_file_too_large_for_a_run_is_named_and_not_read(tmp_path: Path) -> None:
    for name in ("R.toml", "good.toml"):
        (tmp_path / name).write_text(WHOLE, encoding="utf-8")
    os.truncate(tmp_path / "R.toml", 10 << 30)  # takes no room on the disk
    assert told(tmp_path)[0] == ["R.toml: not computed: the file is larger than 16 MB, which is not read"]


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (MemoryError(), "it needs more memory than there is"),
        (ZeroDivisionError("by 0"), "a fault of this program: ZeroDivisionError: by 0"),
    ],
)
def test_a_document_that_fails_in_the_reading_is_named_and_the_others_are_read(
    error: Exception, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "good.toml").write_text(WHOLE, encoding="utf-8")
    (tmp_path / "R.toml").write_text(LAB.run(2), encoding="utf-8")
    facts = extract.facts

    def failing(path: str, stamp: str, run: Run) -> extract.Facts:
        if path == "R.toml":
            raise error
        return facts(path, stamp, run)

    monkeypatch.setattr(extract, "facts", failing)
    found, counted = told(tmp_path)
    assert found == [f"R.toml: not computed: {said}"]
    assert counted.startswith("1 run,")


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no UTF-8 need a file system that takes them")
def test_names_that_are_no_text_and_names_with_signs_are_read(tmp_path: Path) -> None:
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/b\xff.toml")).write_text(LAB.run(2), encoding="utf-8")
    (tmp_path / 'it\'s "so"\n-x.toml').write_text(LAB.run(3), encoding="utf-8")
    found, counted = told(tmp_path)
    assert found == []
    assert counted.startswith("2 runs")


def test_days_are_those_of_the_benchs_clock_and_a_run_never_read_has_none(tmp_path: Path) -> None:
    """20:00 at -08:00 is the next day in UTC; an untimed run has a moment only to be sorted by."""
    evening = row("A", 0.2, at=datetime.fromisoformat("2026-03-11T20:00:00-08:00"))
    (tmp_path / "evening.toml").write_text(document([evening], run={"id": "E"}, standard=[]), encoding="utf-8")
    untimed = {"run": {"id": "N"}, "standard": [], "solvent": {"lot": "T-1"}}
    (tmp_path / "untimed.toml").write_text(document([row("B")], **untimed), encoding="utf-8")
    (tmp_path / "opened.toml").write_text(
        document([row("C")], **untimed | {"run": {"id": "O", "opened": START}}), encoding="utf-8"
    )
    with opened(tmp_path) as tables:
        assert findings.counted(tables) == "3 runs, 2026-03-11 to 2026-03-11"
        words = text.write(history.found(tables, "T-1", [], [], search.lots(tables, "T-1")))
    assert "untimed.toml, no reading has a time." in words
    assert "opened.toml, no reading has a time." in words
    assert "2000-01-01" not in words


def test_a_folder_of_runs_never_read_has_no_days(tmp_path: Path) -> None:
    (tmp_path / "untimed.toml").write_text(document([row("B")], run={"id": "N"}, standard=[]), encoding="utf-8")
    assert told(tmp_path)[1] == "1 run"


def test_a_run_without_any_time_is_in_no_chart_and_that_is_said(tmp_path: Path) -> None:
    """Its points stood in the year 2000."""
    known = [{key: value for key, value in each.items() if key != "at"} for each in standards()]
    control = row("LCS", 0.226, kind="control", added_mg=8, at=None)
    (tmp_path / "untimed.toml").write_text(
        document([control], run={"id": "N"}, standard=known, solvent={"lot": "T-1"}), encoding="utf-8"
    )
    with opened(tmp_path) as tables:
        assert charts.all_charts(tables) == []
        assert list(findings.findings(tables)) == [UNTIMED]
    (one,), _ = audits.audited(tmp_path)
    assert one.month == ""


def test_what_has_a_time_in_a_run_that_is_in_no_chart_is_not_said_to_have_none(tmp_path: Path) -> None:
    known = [{key: value for key, value in each.items() if key != "at"} for each in standards()]
    zero = {"check": "zero", "readings": [0], "at": START}
    (tmp_path / "untimed.toml").write_text(
        document([row("A", 0.2)], run={"id": "N"}, standard=known, setup=[zero]), encoding="utf-8"
    )
    assert told(tmp_path)[0] == [UNTIMED]


def test_a_folder_below_that_cannot_be_read_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """'In none of these' was said of a lot that a run of such a folder has; a root account is let in everywhere."""
    put(tmp_path, 0, [control("LCS1", 100, lot="K-1")])
    put(tmp_path / "closed", 1, [control("LCS1", 100, lot="K-2")])
    real = os.scandir

    def scandir(folder: str | Path) -> Any:  # what it gives has no name of its own
        if Path(folder).name == "closed":
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(folder))
        return real(folder)

    monkeypatch.setattr(os, "scandir", scandir)
    with opened(tmp_path) as tables:
        assert findings.counted(tables) == "1 run, 2026-03-11 to 2026-03-11; 1 folder not read"
        (told,) = findings.findings(tables)
    assert told.startswith("closed/: not computed: the folder cannot be read: ")
    _, unread = audits.audited(tmp_path)
    assert [each.path for each in unread] == ["closed/"]
    monkeypatch.undo()
    with opened(tmp_path) as tables:
        assert findings.counted(tables).startswith("2 runs")
        assert list(findings.findings(tables)) == []
