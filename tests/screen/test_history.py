"""The history on the screen: warnings among the verdicts, the list of charts, reading many runs and stopping it."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from runsheet.history import cache
from runsheet.screen import history_pages, pages, session
from runsheet.screen.page import Page
from runsheet.show import findings
from tests.history.folder import control, put
from tests.screen.driving import Drive

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from runsheet.history.cache import Progress

STEADY = (98, 102, 99, 101, 97, 103, 99, 101, 98, 102)


@pytest.fixture
def open_(tmp_path: Path) -> Path:
    """Make a run whose control is far off, after ten steady ones."""
    for day, value in enumerate(STEADY):
        put(tmp_path, day, [control("LCS1", value)])
    return put(tmp_path, 20, [control("LCS1", 112)], name="open")


def wait(drive: Drive) -> None:
    """Wait for what the thread reads, and take it as a tick does."""
    deadline = time.monotonic() + 20
    while (drive.bench.session.take_history(), drive.bench.session.history)[1] is None and time.monotonic() < deadline:
        time.sleep(0.01)
    drive.bench.recompute()


def test_a_control_beyond_the_limits_of_earlier_runs_warns_among_the_verdicts(open_: Path) -> None:
    seen = []

    def look(drive: Drive) -> None:
        wait(drive)
        seen.extend(findings.lines(drive.sheet))
        seen.extend(drive.bench.grids["quality"].notes)

    Drive(open_).run(then=look)
    assert any(line.startswith("warn: history LCS1: control recovery: more than 3 sigma above") for line in seen)
    assert any("control recovery, oil and grease, 11 points: more than 3 sigma above the mean" in line for line in seen)


def test_the_list_of_charts_opens_one_with_its_limits_and_plot(open_: Path) -> None:
    drive, seen = Drive(open_), []

    def look(drive: Drive) -> None:
        wait(drive)
        history_pages.open_history(drive.bench)
        page = drive.bench.query_one(Page)
        assert page.content is not None
        seen.append(list(page.content.texts))
        for _ in range(2):
            page.key("enter", None)
            assert page.content is not None
            seen.append(list(page.content.texts))

    drive.run(then=look)
    assert seen[0][0].startswith("control recovery, oil and grease, 11 points: more than 3 sigma above")
    assert seen[1][1].startswith("x 2026-03-31 112 %  open.toml LCS1, M. Tarn")
    assert seen[1][2].startswith("o 2026-03-20 102 %  day-009.toml LCS1, M. Tarn")
    assert any("Action limits" in line for line in seen[2])
    assert any("╌" in line for line in seen[2])


def test_the_run_of_a_point_is_shown_and_left_as_it_is(open_: Path) -> None:
    seen: list[str] = []
    other = open_.with_name("day-009.toml")
    before = other.read_bytes()

    def look(drive: Drive) -> None:
        wait(drive)
        history_pages.open_history(drive.bench)
        page = drive.bench.query_one(Page)
        for key in ("enter", "down", "down", "enter"):
            page.key(key, None)
        assert page.content is not None
        seen.extend((page.content.title, *page.content.texts))

    Drive(open_).run(then=look)
    assert seen[0] == "R9, read only, as of its latest reading"
    assert any("LCS1" in line for line in seen)
    assert "Edit log: no log." in seen
    assert other.read_bytes() == before
    assert sorted(path.name for path in open_.parent.glob("*.log")) == []


def test_a_search_across_runs_is_a_page(open_: Path) -> None:
    seen: list[str] = []

    def look(drive: Drive) -> None:
        wait(drive)
        history_pages.search(drive.bench)
        assert drive.bench.prompt is not None
        answer, drive.bench.prompt = drive.bench.prompt.answer, None
        answer("R9")
        page = drive.bench.query_one(Page)
        assert page.content is not None
        seen.extend((page.content.title, *page.content.texts))

    Drive(open_).run(then=look)
    assert seen[0] == "Across runs: R9"
    assert any("day-009.toml" in line for line in seen)


def test_the_report_has_the_charts_and_the_warning(open_: Path, tmp_path: Path) -> None:
    def look(drive: Drive) -> None:
        wait(drive)
        pages.write_report(drive.bench, str(tmp_path / "out.md"))

    Drive(open_).run(then=look)
    told = (tmp_path / "out.md").read_text(encoding="utf-8")
    assert "## Control charts" in told
    assert "warn: history LCS1: control recovery: more than 3 sigma above the mean" in told


def test_the_report_says_that_runs_were_not_read(open_: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """'No figure of this run has 10 points or more from the runs before it' was not known while none was read."""
    monkeypatch.setattr(session, "AT_ONCE", 3)

    def look(drive: Drive) -> None:
        wait(drive)
        pages.write_report(drive.bench, str(tmp_path / "out.md"))

    Drive(open_).run(then=look)
    told = " ".join((tmp_path / "out.md").read_text(encoding="utf-8").split())
    assert "11 documents were not read: what follows leaves them out. None: no figure of this run has 10" in told


def test_many_unread_runs_are_asked_about_and_the_reading_can_be_stopped(
    open_: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "AT_ONCE", 3)
    real = cache.bring_up
    drive, labels = Drive(open_), []

    def slow(folder: Path, progress: Callable[[Progress], bool], **more: object) -> cache.Tables:
        def show(now: Progress) -> bool:
            going_on = progress(now)
            if now.done == 2 and drive.bench.prompt is not None:
                labels.append(drive.bench.prompt.label)
                drive.bench.prompt = None  # as Escape does
            return going_on

        return real(folder, show, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(cache, "bring_up", slow)

    def look(drive: Drive) -> None:
        wait(drive)
        history_pages.open_history(drive.bench)
        assert drive.bench.prompt is not None
        labels.append(drive.bench.prompt.label)
        answer = drive.bench.prompt.answer
        drive.bench.prompt = drive.bench.session.history = None
        answer("y")
        wait(drive)

    drive.run(then=look)
    assert labels == [
        "11 runs of this folder are not read yet. Read them now? y/n:",
        "reading 2 of 11 runs; Enter or Escape stops",
    ]
    assert drive.bench.session.history is not None
    assert drive.bench.session.history.unread == 8


@pytest.mark.parametrize("charted", [True, False])
def test_a_run_that_is_in_no_chart_is_told_with_them(open_: Path, charted: bool) -> None:  # noqa: FBT001
    (open_.parent / "spoilt.toml").write_text("format = 1\n[run]\nid = 4\n", encoding="utf-8")
    if not charted:
        for path in open_.parent.glob("day-00[0-3].toml"):
            path.unlink()
    seen: list[str] = []

    def look(drive: Drive) -> None:
        wait(drive)
        history_pages.open_history(drive.bench)
        page = drive.bench.query_one(Page)
        for key in ("end", "enter"):
            assert page.content is not None
            seen.extend((page.content.title, page.content.texts[-1]))
            page.key(key, None)
        assert page.content is not None
        seen.extend((page.content.title, page.content.texts[0]))

    Drive(open_).run(then=look)
    wrong = "spoilt.toml: not computed: error: line 3: run.id: expected text in quotes, found 4"
    title = "control charts of this folder" if charted else "no chart: the runs of this folder before this one have too"
    assert seen[0].startswith(f"History: {title}")
    assert seen[1] == wrong
    assert seen[4] == "Of this folder"
    assert wrong.startswith(seen[5])


def test_a_folder_that_cannot_be_read_leaves_the_screen_as_it_is(open_: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNSHEET_HISTORY", str(open_.parent / "gone"))
    said = []

    def look(drive: Drive) -> None:
        time.sleep(0.3)
        history_pages.open_history(drive.bench)
        said.append(drive.bench.message)

    Drive(open_).run(then=look)
    assert "no reading them" in said[0]


def test_why_a_figure_is_a_warning_of_the_history(open_: Path) -> None:
    told: list[str] = []

    def look(drive: Drive) -> None:
        wait(drive)
        from runsheet.screen import pages

        drive.bench.activate("quality")
        rules = [finding.rule for finding in drive.bench.grid.items]
        drive.bench.grid.go(rules.index("history"))
        told.extend(pages.why(drive.bench).texts)

    Drive(open_).run(then=look)
    assert "Nelson (1984)" in " ".join(told)
