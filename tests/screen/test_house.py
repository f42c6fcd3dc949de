"""The laboratory file in use: offered where it is typed, and what a choice fills."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

import pytest

from runsheet.screen import status_words
from runsheet.screen.page import Page
from runsheet.screen.status_words import cell, next_thing
from tests.make import document, row
from tests.screen.driving import Drive, keys, typed
from tests.screen.scripted import Scripted

if TYPE_CHECKING:
    from pathlib import Path

HOUSE = """
[[person]]
name = "M. Tarn"
initials = "MT"
[[person]]
name = "O. Quill"
analyst = false
[[instrument]]
name = "second photometer"
serial = "P-2"
reads = "absorbance"
step = 0.0001
cells = [10, 50]
[[solvent]]
name = "tetrachloroethylene"
grade = "infrared"
lot = "T-3301"
expires = 2027-01-31
[[solvent]]
name = "tetrachloroethylene"
lot = "T-1100"
expires = 2026-01-31
[[material]]
lot = "ICV-9"
use = "second-source"
concentration = 80
material = "reference oil"
expires = 2026-12-31
[[material]]
lot = "CK-1"
use = "check"
concentration = 60
"""


@pytest.fixture
def house(water: Path) -> Path:
    (water.parent / "laboratory.toml").write_text(HOUSE)
    return water


def texts(drive: Drive, into: list[str]) -> None:
    content = drive.bench.query_one(Page).content
    into.extend(content.texts if content is not None else [])


def test_down_lists_the_lots_and_marks_the_expired_one(house: Path) -> None:
    seen: list[str] = []
    before = house.read_text()
    Drive(house).run("F", typed("solvent.lot"), "down", then=lambda drive: texts(drive, seen))
    assert seen == [
        "T-3301  tetrachloroethylene, until 2027-01-31",
        "T-1100  tetrachloroethylene, EXPIRED 2026-01-31",
    ]
    assert house.read_text() == before


def test_a_chosen_solvent_lot_fills_what_belongs_to_it(house: Path) -> None:
    solvent = Drive(house).run("F", typed("solvent.lot"), "down", "enter").document.solvent
    assert (solvent.lot, solvent.grade, solvent.expires) == ("T-3301", "infrared", date(2027, 1, 31))


def test_an_expired_lot_is_asked_about(house: Path) -> None:
    old = Drive(house).run("F", typed("solvent.lot"), typed("T-1100")).document.solvent.lot
    assert old != "T-1100"
    taken = Drive(house).run("F", typed("solvent.lot"), typed("T-1100"), "enter", typed("the only one left"))
    assert taken.document.solvent.lot == "T-1100"


def test_what_a_lot_typed_in_the_standard_table_belongs_to_is_offered_there(house: Path) -> None:
    house.with_name("laboratory.toml").write_text(
        HOUSE + '[[material]]\nlot = "ST-77"\nuse = "stock"\ncertificate = "C-77"\nexpires = 2027-05-31\n'
    )
    drive = Drive(house).run("f3", "ctrl+home", "tab", "s", "tab", "enter")
    standard = drive.document.standard[0]
    assert (standard.lot, standard.certificate, standard.expires) == ("ST-77", "C-77", date(2027, 5, 31))


def test_first_letters_and_initials_complete(house: Path) -> None:
    seen: list[str] = []

    def look(drive: Drive) -> None:
        seen.append(status_words.footer(drive.bench, 80))

    Drive(house).run("F", typed("run.reviewer"), keys("O"), then=look)
    assert seen == ["Enter confirms, Tab completes O. Quill, Down lists, Escape leaves all as it was"]
    drive = Drive(house).run("F", typed("run.reviewer"), keys("O"), "tab", "enter")
    assert drive.document.run.reviewer == "O. Quill"
    drive = Drive(house).run("F", typed("run.reviewer"), keys("mt"), "tab", "enter")
    assert drive.document.run.reviewer == "M. Tarn"


def test_who_is_no_analyst_is_not_offered_as_one(house: Path) -> None:
    seen: list[str] = []
    Drive(house).run("F", typed("run.analyst"), "down", then=lambda drive: texts(drive, seen))
    assert [line.split("  ")[0] for line in seen] == ["M. Tarn"]


def test_a_chosen_photometer_fills_serial_and_display_step_and_its_cells_are_offered(house: Path) -> None:
    drive = Drive(house).run("F", typed("instrument.name"), "down", "enter", typed("the day was read on it"))
    assert (drive.document.instrument.serial, str(drive.document.instrument.step)) == ("P-2", "0.0001")
    seen: list[str] = []
    Drive(house).run("F", typed("calibration[1].cell_mm"), "down", then=lambda drive: texts(drive, seen))
    assert [line.split()[0] for line in seen] == ["10", "50"]


def test_a_second_sources_lot_fills_value_material_and_expiry(house: Path) -> None:
    drive = Drive(house).run("i", typed("ICV"), "enter", "down", "enter")
    row = next(row for row in drive.document.queue if row.lot == "ICV-9")
    assert (row.kind, row.expected, row.material, row.expires) == (
        "second-source",
        80,
        "reference oil",
        date(2026, 12, 31),
    )


def test_what_was_read_before_another_analyst_stays_the_first_one_s(water: Path) -> None:
    """Whoever came at noon had read all morning."""
    seen: list[str] = []
    drive = Drive(water).run("F", typed("run.analyst"), typed("O. Quill"), then=lambda drive: texts(drive, seen))
    assert seen == [
        "O. Quill from now on: the 18 rows read so far stay M. Tarn's",
        "O. Quill all day: M. Tarn is a slip",
    ]
    assert drive.document.run.analyst == "M. Tarn"
    made = Drive(water).run("F", typed("run.analyst"), typed("O. Quill"), "enter").document
    assert made.run.analyst == "O. Quill"
    assert {row.analyst for row in made.queue if row.readings} == {"M. Tarn"}
    assert {row.analyst for row in made.queue if not row.readings} == {None}
    Drive(water).run("u", "F", typed("run.analyst"), typed("O. Quill"), "down", "enter", typed("a slip in the form"))
    made = Drive(water).document
    assert (made.run.analyst, {row.analyst for row in made.queue}) == ("O. Quill", {None})


def test_another_photometer_has_not_the_number_of_the_one_before(house: Path) -> None:
    house.with_name("laboratory.toml").write_text(HOUSE.replace('serial = "P-2"\n', ""))
    assert 'serial = "' in house.read_text()
    drive = Drive(house).run("F", typed("instrument.name"), "down", "enter", typed("the day was read on it"))
    assert (drive.document.instrument.name, drive.document.instrument.serial) == ("second photometer", None)


def test_another_lot_has_not_the_certificate_of_the_one_before(house: Path) -> None:
    house.with_name("laboratory.toml").write_text(HOUSE + '[[material]]\nlot = "ST-77"\nuse = "stock"\n')
    lot = 'lot = "RO-31"\n'
    assert lot in house.read_text()
    house.write_text(house.read_text().replace(lot, f'{lot}certificate = "C-7"\n'))
    drive = Drive(house).run("f3", "ctrl+home", "tab", "s", "tab", "enter")
    standard = drive.document.standard[0]
    assert (standard.lot, standard.certificate, standard.expires) == ("ST-77", None, None)


STOCK = """
[[material]]
lot = "ST-77"
use = "stock"
concentration = 1250
certificate = "C-77"
expires = 2026-01-31
"""


def test_an_expired_lot_of_a_new_calibration_is_asked_about_and_has_its_expiry(house: Path) -> None:
    """It was taken without a word, and without its expiry: nothing could fail for it."""
    house.with_name("laboratory.toml").write_text(HOUSE + STOCK)
    seen: list[str] = []

    def look(drive: Drive) -> None:
        seen.append(drive.bench.prompt.trouble if drive.bench.prompt else "")

    chosen = ("N", "enter", "enter", *typed("ST-77"))
    before = Drive(house).run(*chosen, then=look).document
    assert seen[0].startswith("Enter takes it; unusual: ST-77 is expired (")
    assert len(before.calibration) == 1
    after = Drive(house).run(*chosen, "enter").document
    new = [each for each in after.standard if each.calibration == after.calibration[1].id]
    assert {(each.lot, each.certificate, each.expires) for each in new} == {("ST-77", "C-77", date(2026, 1, 31))}


def test_a_stock_of_another_lot_has_its_own_concentration(house: Path) -> None:
    """The levels were computed from the stock before it."""
    house.with_name("laboratory.toml").write_text(HOUSE + STOCK.replace("2026-01-31", "2027-01-31"))
    made = house.read_text().replace("concentration = 20\n", "stock = 1000\naliquot_ml = 2\nfinal_ml = 100\n", 1)
    house.write_text(made)
    after = Drive(house).run("N", "enter", "enter", typed("ST-77")).document
    new = [each for each in after.standard if each.calibration == after.calibration[1].id]
    assert [str(each.stock) for each in new if each.stock is not None] == ["1250"]


@pytest.mark.parametrize(
    ("lot", "words"),
    [
        ("CK-2", "expected 60 stays as given for CK-1"),  # typed
        ("CK-3", "expected 60 stays as given for CK-1"),  # chosen, of a value that the file does not have
        ("CK-4", ""),
    ],
)
def test_the_value_of_another_lot_is_asked_about(lot: str, words: str, tmp_path: Path) -> None:
    """A check standard of a new lot recovered by the value of the old one."""
    known = '[[material]]\nlot = "CK-4"\nuse = "check"\nconcentration = 50\n'
    unknown = '[[material]]\nlot = "CK-3"\nuse = "check"\n'
    (tmp_path / "laboratory.toml").write_text(HOUSE + known + unknown)
    day = tmp_path / "run.toml"
    day.write_text(document([row("CCV1", kind="check", expected=60, lot="CK-1")]), encoding="utf-8")
    asked = Scripted(day)
    asked.go(0)
    asked.run("row_form", "queue[1].lot", lot)
    assert (asked.prompt.trouble if asked.prompt else "") == (words and f"Enter takes it; unusual: {words}")


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        ("solvent.lot", "T-9", "expires 2027-01-31 stays as given for T-3301"),
        ("solvent.name", "cyclohexane", "grade infrared, lot T-3301, expires 2027-01-31 stay as given for tetra"),
        ("instrument.name", "the spare one", "serial P-2 stays as given for second photometer"),
    ],
)
def test_what_was_given_for_another_is_asked_about_once(path: str, value: str, words: str, house: Path) -> None:
    """A lot typed over another had the other's expiry, and nobody said so."""
    seen: list[str] = []

    def look(drive: Drive) -> None:
        seen.append(drive.bench.prompt.trouble if drive.bench.prompt else "")

    on_it = typed("the day was read on it")
    Drive(house).run("F", typed("solvent.lot"), "down", "enter", typed("instrument.name"), "down", "enter", on_it)
    Drive(house).run("F", typed(path), typed(value), then=look)
    assert words in seen[0]
    drive = Drive(house).run("F", typed(path), typed(value), "enter", *(on_it if "instrument" in path else ()))
    table, name = path.split(".")
    assert getattr(getattr(drive.document, table), name) == value


def test_escape_from_the_list_goes_back_to_the_question(house: Path) -> None:
    drive = Drive(house).run("F", typed("run.reviewer"), "down", "escape", typed("A. Nother"))
    assert drive.document.run.reviewer == "A. Nother"


def test_without_a_file_nothing_is_offered(water: Path) -> None:
    seen: list[bool] = []
    Drive(water).run(
        "F", typed("run.reviewer"), "down", then=lambda d: seen.append(d.bench.query_one(Page).content is None)
    )
    assert seen == [True]


@pytest.mark.parametrize("steps", [[2, 4, 8], [20], [2]], ids=str)
def test_next_and_the_cell_name_the_dilution_that_is_offered(steps: list[int], water: Path) -> None:
    """Of the house's steps the smallest that is enough; where none is, the advice."""
    (water.parent / "laboratory.toml").write_text(f"[laboratory]\ndilutions = {steps}\n", encoding="utf-8")
    told: list[str] = []

    def look(drive: Drive) -> None:
        bench = drive.bench
        told.extend((next_thing(bench), cell(bench)))

    drive = Drive(water).run(typed("0.9"), then=look)
    assert drive.bench.item.id == "OS-08"
    assert drive.bench.item.dilute_to == 3
    asked = Drive(water).run("up", "d").bench.prompt
    offered = next((step for step in steps if step >= 3), 3)
    assert told[0].startswith(f"NEXT OS-08 is above the range: d reads it again diluted {offered}x")
    least = "" if offered == 3 else "; 3x is the least"
    assert told[1] == f"OS-08 is above the range: d reads it again diluted {offered}x{least}"
    assert asked is not None
    assert asked.label == f"OS-08: diluted {offered}x{least}. Enter, or type another:"


def test_of_a_row_read_again_no_dilution_is_offered(water: Path) -> None:
    told: list[str] = []
    Drive(water).run(*["up"] * 7, then=lambda drive: told.append(cell(drive.bench)))
    assert told[0].startswith("superseded: above the range; read again diluted as OS-04-1; ")


FAULTY = """
[laboratory]
dilutions = [0.5]
[[person]]
name = "M. Tarn"
[[person]]
name = "M. Tarn"
"""
FAULTS = (
    "laboratory.toml: laboratory.dilutions[1]: line 3: expected a number of at least 1, found 0.5; "
    'laboratory.toml: person[2].name: line 7: expected a name used once, found "M. Tarn" again'
)


def test_what_is_wrong_with_the_file_is_said_on_opening(water: Path) -> None:
    (water.parent / "laboratory.toml").write_text(FAULTY)
    seen: list[str] = []
    Drive(water).run(then=lambda drive: seen.append(drive.bench.message))
    (water.parent / "laboratory.toml").write_text("[laboratory\n")
    Drive(water).run(then=lambda drive: seen.append(drive.bench.message))
    (water.parent / "laboratory.toml").write_text(HOUSE)
    Drive(water).run(then=lambda drive: seen.append(drive.bench.message))
    assert seen[0] == FAULTS
    assert seen[1].startswith("laboratory.toml: line 1: ")
    assert seen[2] == ""


def test_it_is_said_where_no_photometer_is_to_be_read_and_beside_a_half_typed_entry(water: Path) -> None:
    Drive(water).run(keys("0.11"))
    (water.parent / "laboratory.toml").write_text(FAULTY)
    seen: list[str] = []
    drive = Drive(water)
    drive.bench.port, drive.bench.message = "none", "a note"
    drive.run(then=lambda drive: seen.append(drive.bench.message))
    half = "half typed when the program ended: 0.11. Enter accepts it, Escape drops it"
    assert seen == [f"a note; {half}; {FAULTS}"]
