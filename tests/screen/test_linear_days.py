"""Days worked on line by line, as fixtures/lines has them; `python -m tests.screen.test_goldens` writes them anew."""

from __future__ import annotations

import tempfile
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from runsheet import demo, read
from runsheet.review import signing
from runsheet.run.disk import opening, register
from tests.goldens import FIXTURES
from tests.screen.test_linear import NOW, Line

READ = (
    "?", "0,101", ":void bubble in the cell", ":again", "0.099", "0.9", ":dilute 10", "hello", ":blank", "0.001",
    ":check", "0.250", "0.101", ":correct 0.111", "5", "typed wrong", ":undo", ":redo", "9", ":escape", "0.080",
    "0.080", ":blank", "0.001", ":check", "0,251", ":row OS-08-1", "0.1", "", ":quit",
)  # fmt: skip
"""The rest of the water day: what is due, a void, a dilution, a correction with its reason, the closing pair."""
ISSUED = (
    ":issue R. Holt", ":sign M. Tarn", ":action", "1", "calibrated anew", ":sign", "7", "M. Tarn", ":issue", "n",
    ":sign m. tarn", ":V", ":sign R. Holt", ":sign A. Third", ":issue", "12", "R. Holt", ":issue R. Holt", ":undo",
    ":row G-4T", ":add 0.021", "7", "a second filling was left out", ":issue R. Holt", ":sign M. Tarn", ":sign R. Holt",
    ":issue R. Holt", "a second filling", ":quit",
)  # fmt: skip
"""The soil day signed, reviewed and issued, changed, and issued again; each refusal on the way."""
DAYS = {"water-day": (READ, NOW), "soil-day": (ISSUED, demo.NOW["soil-day"] + timedelta(minutes=1))}


def worked(name: str, folder: Path) -> tuple[Line, list[str]]:
    """A day's lines typed; the session after them, and what was typed and answered."""
    lines, began = DAYS[name]
    path = folder / f"{name}.toml"
    path.write_text(demo.text(name), encoding="utf-8")
    line = Line(path, began)
    told = list(line.told)
    for each in lines:
        told += [f"> {each}", *line.say(each)]
    return line, told


def recording(name: str) -> Path:
    return FIXTURES / "lines" / f"{name}.txt"


@pytest.mark.parametrize("name", DAYS)
def test_a_day_is_answered_as_it_was(name: str, tmp_path: Path) -> None:
    line, told = worked(name, tmp_path)
    assert "\n".join(told) + "\n" == recording(name).read_text(encoding="utf-8")
    assert line.linear.left == 0
    assert read(line.path.read_text(encoding="utf-8"))[0] == line.run
    assert opening.verify(line.path) == []


def test_what_was_typed_is_what_stands_there(tmp_path: Path) -> None:
    line, _ = worked("water-day", tmp_path)
    rows = {row.id: row for row in line.run.queue}
    assert (rows["OS-08"].void, rows["OS-08"].readings) == ("bubble in the cell", (Decimal("0.101"),))
    assert rows["OS-09-1"].dilution == 10
    assert [row.kind for row in line.run.queue[-2:]] == ["blank", "check"]


def test_a_day_is_signed_and_issued_and_issued_again(tmp_path: Path) -> None:
    line, _ = worked("soil-day", tmp_path)
    assert [(signature.role, signature.name) for signature in signing.standing(line.run)] == [
        ("analyst", "M. Tarn"),
        ("reviewer", "R. Holt"),
    ]
    assert [(issued.number, issued.by, issued.reason) for issued in line.run.issued] == [
        ("GR-0422", "R. Holt", None),
        ("GR-0422-2", "R. Holt", "a second filling"),
    ]
    found = register.read(register.place(tmp_path))
    assert [written.number for written in found.lines] == ["GR-0422", "GR-0422-2"]
    assert "Amended report GR-0422-2, replaces GR-0422" in (tmp_path / "GR-0422-2.html").read_text(encoding="utf-8")
    for number in ("GR-0422", "GR-0422-2"):
        assert (tmp_path / f"{number}.html").read_bytes() == (tmp_path / "issued" / f"{number}.html").read_bytes()


def write() -> None:
    """Write the recordings anew."""
    for name in DAYS:
        with tempfile.TemporaryDirectory() as folder:
            recording(name).parent.mkdir(exist_ok=True)
            recording(name).write_text("\n".join(worked(name, Path(folder))[1]) + "\n", encoding="utf-8")
