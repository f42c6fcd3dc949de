"""What is in sight at each size, and that nothing is cut while there is room."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet import demo
from runsheet.run import edit, entry
from runsheet.screen.grid import GAP
from runsheet.screen.page import Page
from tests.screen.driving import Drive

if TYPE_CHECKING:
    from pathlib import Path

SIZES = {"80x24": (80, 24), "120x40": (120, 40), "200x60": (200, 60)}
QUEUE = ["id", "kind", "reading", "result", "unit", "flags", "state", "amount", "dil."]
QC = ["verdict", "rule", "rows", "in limits", "value", "limits"]


def screen(path: Path, name: str, key: str, size: str, *more: str) -> list[str]:
    path.write_text(demo.text(name), encoding="utf-8")
    lines: list[str] = []
    Drive(path, size=SIZES[size], now=demo.NOW[name]).run(key, *more, then=lambda d: lines.extend(d.screen()))
    return lines


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", demo.NAMES)
def test_the_queue_shows_amount_dilution_flags_and_state(name: str, size: str, tmp_path: Path) -> None:
    lines = screen(tmp_path / "day.toml", name, "f4", size)
    head = next(line for line in lines if line.startswith("id "))
    places = [head.find(f"{title} ") if title != "dil." else head.find(title) for title in QUEUE]
    assert -1 not in places
    assert places == sorted(places)


@pytest.mark.parametrize("size", SIZES)
def test_qc_shows_value_and_limits(size: str, tmp_path: Path) -> None:
    lines = screen(tmp_path / "day.toml", "soil-day", "f5", size)
    head = next(line for line in lines if line.startswith("verdict "))
    assert [title for title in QC if title in head] == QC
    row = next(line for line in lines if line.startswith("fail "))
    assert "87.08 90 to 110 %" in row


@pytest.mark.parametrize("key", ["f2", "f3", "f4", "f5"])
@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("name", demo.NAMES)
def test_no_cell_is_cut_while_there_is_room(name: str, size: str, key: str, tmp_path: Path) -> None:
    path = tmp_path / "day.toml"
    path.write_text(demo.text(name), encoding="utf-8")
    wrong: list[str] = []

    def look(drive: Drive) -> None:
        for grid in drive.bench.grids.values():
            if not grid.display or not grid.size.width:
                continue
            for y in range(2, grid.size.height):
                text = grid.render_line(y).text
                used = sum(grid._widths.values()) + GAP * (len(grid._widths) - 1)  # noqa: SLF001
                if drive.bench.look.more in text and used < grid.size.width - GAP:
                    wrong.append(text)

    Drive(path, size=SIZES[size], now=demo.NOW[name]).run(key, then=look)
    assert wrong == []


def test_the_id_kind_and_bracket_never_scroll_away(tmp_path: Path) -> None:
    lines = screen(tmp_path / "day.toml", "water-day", "f4", "80x24", "end")
    head = next(line for line in lines if line.startswith("id "))
    assert head.startswith("id           kind")
    assert "note" in head
    assert next(line for line in lines if line.startswith("MSD1")).startswith("MSD1       : MSD")


def test_tab_stops_where_something_is_typed_only(tmp_path: Path) -> None:
    path = tmp_path / "day.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    stops: list[str] = []
    for _ in range(5):
        drive = Drive(path, now=demo.NOW["water-day"]).run("f4", *["tab"] * (len(stops) + 1))
        stops.append(drive.bench.column.key)
    assert stops == ["amount", "dilution", "extract_ml", "sample", "batch"]


def test_a_long_message_is_whole_when_all_panes_are_in_sight(tmp_path: Path) -> None:
    path = tmp_path / "day.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    told = "the first words of what is wrong, " * 4 + "and the advice at its end"
    lines: list[str] = []

    def look(drive: Drive) -> None:
        drive.bench.say(told)
        lines.extend(drive.screen())

    Drive(path, size=SIZES["120x40"], now=demo.NOW["water-day"]).run(then=look)
    assert told in " ".join(line.strip() for line in lines)


@pytest.mark.parametrize("key", ["L", "F", "g"])
def test_a_form_has_the_value_of_each_field_in_sight(key: str, tmp_path: Path) -> None:
    """At 80 columns too, however long the words of a limit are."""
    path = tmp_path / "day.toml"
    path.write_text(demo.text("water-day"), encoding="utf-8")
    wrong: list[str] = []
    looked: list[str] = []

    def look(drive: Drive) -> None:
        content = drive.bench.query_one(Page).content
        assert content is not None
        for text in content.texts:
            where = text.split()[-1]
            value = entry.shown(edit.value_at(drive.bench.session.run, where))
            looked.append(value)
            if value and value[:17] not in text[:80]:
                wrong.append(text)

    Drive(path, now=demo.NOW["water-day"]).run(key, then=look)
    assert any(looked)
    assert wrong == []
