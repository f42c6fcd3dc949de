"""A folder as people keep it: half-copied files, copies of a run, other files, odd names. Findings, never crashes."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

from runsheet.history import cache, charts, findings
from tests import many
from tests.make import START, document, row

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
        assert "1 TOML files that are no runs" in counted
    else:
        assert [line.partition(":")[0] for line in found] == [name]
        assert case[1] in found[0]
    assert counted.startswith("1 runs, 2026-03-12")


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
    assert found == [f"run R-00001 is in 2 documents: {copies}; only R-1 (copy of bench 2).toml is charted"]
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


def test_links_that_lead_nowhere_or_in_a_circle_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to(tmp_path)
    (tmp_path / "gone.toml").symlink_to(tmp_path / "nothing.toml")
    (tmp_path / "R.toml").write_text(WHOLE, encoding="utf-8")
    os.mkfifo(tmp_path / "pipe.toml")
    assert told(tmp_path) == ([], "1 runs, 2026-03-12 to 2026-03-12")


@pytest.mark.skipif(sys.platform != "linux", reason="names that are no UTF-8 need a file system that takes them")
def test_names_that_are_no_text_and_names_with_signs_are_read(tmp_path: Path) -> None:
    Path(os.fsdecode(os.fsencode(tmp_path) + b"/b\xff.toml")).write_text(LAB.run(2), encoding="utf-8")
    (tmp_path / 'it\'s "so"\n-x.toml').write_text(LAB.run(3), encoding="utf-8")
    found, counted = told(tmp_path)
    assert found == []
    assert counted.startswith("2 runs")
