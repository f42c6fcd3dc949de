"""Three whole invented days on a real terminal, typed with slips of every kind: the documents they end in.

The documents expected are in fixtures/days, written anew by `python -m tests.screen.test_whole_days`; times and the
name of the log differ each day and are left out. What was meant for each row is known here, apart from them.
"""

from __future__ import annotations

import sys
import tempfile
import time
import tomllib
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import pytest

from runsheet.command.main import main as runsheet
from runsheet.run.disk import opening, store
from tests.goldens import FIXTURES
from tests.terminal import PROGRAM, Terminal

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.run.model import Row, Run, Standard

T = TypeVar("T")
HOME = "\x1b[H"
SETUP = {
    "absorbance": {"zero": "0.000", "full-scale": "100.0", "dark": "0.0", "recheck-zero": "0.001",
                   "stability": "0.000 0.001", "cell": "0.001"},
    "transmittance": {"zero": "100.0", "full-scale": "100.0", "dark": "0.0", "recheck-zero": "99.9",
                      "stability": "100.0 99.9", "cell": "99.8"},
}  # fmt: skip


class Typist:
    """Somebody at the terminal, who knows what each reading is meant for."""

    def __init__(self, path: Path, method: str) -> None:
        assert runsheet(["new", str(path), "--method", method]) == 0
        self.path, self.meant = path, dict[str, list[str]]()
        self.terminal = Terminal([*PROGRAM, str(path)])
        self.terminal.wait("NEXT lamp on")
        self.terminal.settle(0.5)

    @property
    def run(self) -> Run:
        run = store.read_only(self.path).found.run
        assert run is not None
        return run

    def keys(self, *keys: str) -> None:
        """Press keys at a pace."""
        for key in keys:
            self.terminal.send(key)
            if self.terminal.pump(0.3):
                self.terminal.settle(0.08, 1.0)

    def asked(self, *keys: str) -> None:
        """Press keys at whose end something unusual is asked about."""
        self.keys(*keys)
        self.terminal.wait("nusual: ")

    def typed(self, text: str) -> None:
        self.keys(text, "enter")

    def scan(self, text: str) -> None:
        """What a scanner sends, in one piece."""
        self.terminal.send(text + "\r")
        self.terminal.settle(0.3, 2.0)

    def goes_to(self, name: str) -> None:
        self.keys("/", name, "enter")

    def reads(self, name: str, value: str) -> None:
        """Go to a row and read it."""
        self.goes_to(name)
        self.value(name, value)

    def value(self, name: str, value: str) -> None:
        """Type a reading meant for a row, and wait until it is there."""
        self.typed(value)
        self.meant[name] = value.split()
        self.until(lambda: self.readings().get(name) == self.meant[name], f"{name} {value}")

    def until(self, what: Callable[[], T], words: str) -> T:
        """What is in the document, once it is there."""
        end = time.monotonic() + 8
        while not (found := what()):
            assert time.monotonic() < end, f"{words}:\n{self.terminal.text()}"
            self.terminal.settle(0.02, 0.2)
        return found

    def first(self, array: str, **fields: str) -> str:
        """The name of the first row that has such fields, once there is one."""

        def found() -> str:
            rows: tuple[Standard | Row, ...] = getattr(self.run, array)
            like = (each for each in rows if all(getattr(each, name) == value for name, value in fields.items()))
            return next((each.id for each in like), "")

        return self.until(found, f"{array} {fields}")

    def readings(self) -> dict[str, list[str]]:
        run = self.run
        rows: list[Standard | Row] = [*run.standard, *run.queue]
        return {each.id: list(map(str, each.readings)) for each in rows if each.readings}

    def setup(self, reads: str) -> None:
        """Start the warm-up that is next and read the checks after it."""
        self.keys("enter")
        for setup in [each for each in self.run.setup if each.check != "warm-up" and not each.readings]:
            self.typed(SETUP[reads][setup.check])

    def standards(self, name: str, signal: Callable[[float], str]) -> None:
        for standard in [each for each in self.run.standard if each.calibration in (None, name)]:
            self.value(standard.id, signal(float(standard.concentration or 0)))

    def rows(self, signal: Callable[[float], str], *, stop: str = "") -> None:
        """Read what is unread in its order, up to a row."""
        for row in self.run.queue:
            if row.id == stop:
                return
            if not row.readings and row.void is None:
                expected = row.expected if row.expected is not None else row.added_mg and float(row.added_mg) * 10
                x = 0.0 if row.kind in ("blank", "method-blank") else float(expected or 40)
                self.reads(row.id, signal(x))

    def certified(self, value: str) -> None:
        """Go to the second source that was planned and give it its value in its form."""
        self.goes_to(self.first("queue", kind="second-source"))
        self.keys("g", "expected", "enter", value, "enter", "escape")

    def left(self) -> dict[str, Any]:
        """End, and give the document without what differs each day."""
        self.keys("q")
        assert self.terminal.exit_code() == 0
        assert opening.verify(self.path) == []
        assert self.readings() == self.meant
        document: dict[str, Any] = timeless(tomllib.loads(self.path.read_text(encoding="utf-8"), parse_float=Decimal))
        return document


def timeless(value: Any) -> Any:
    if isinstance(value, dict):
        kept = {k: timeless(v) for k, v in value.items() if not isinstance(v, datetime) and k not in ("log", "offset")}
        return {k: v for k, v in kept.items() if k != "analyst" or v}
    return [timeless(each) for each in value] if isinstance(value, list) else value


def absorbance(x: float) -> str:
    return f"{0.001 + 0.0025 * x:.3f}"


def transmittance(x: float) -> str:
    return f"{100 * 10 ** -(0.001 + 0.0015 * x):.1f}"


def values(day: Typist, **limits: str) -> None:
    """The laboratory's own values, typed into the limits."""
    day.keys("L")
    for name, value in limits.items():
        day.typed(name.replace("__", "."))
        day.typed(value)
        day.keys("enter")  # its source: set in this run
    day.keys("escape", "escape")


def water(folder: Path) -> dict[str, Any]:
    """Both fractions, two batches, two calibrations, the lamp off in between."""
    day = Typist(folder / "water.toml", "tph-water")
    try:
        day.setup("absorbance")
        day.keys("f3")
        day.standards("C1", absorbance)
        values(day, check__expected="80", batch__control_added_mg="8", batch__spike_added_mg="8")
        day.keys("f4", "P")
        (folder / "list.csv").write_text(
            "id,sample,amount,silica_gel\nW-1,W-1,98O,no\nW-1T,W-1,980,yes\nW-1T,W-1,9,no\n"
        )
        day.typed(str(folder / "list.csv"))
        day.terminal.wait("2 lines to put right")
        day.keys("enter", HOME, *["right"] * 10, "\x1b[3~", "0", "enter")  # the letter O among the digits
        day.keys("enter", "\x15", "enter", "enter")  # the line that stands twice is left out
        day.keys(
            "/", day.first("queue", kind="second-source"), "enter", "g", "expected", "enter", "80", "enter", "escape"
        )
        day.goes_to("W-1")
        day.keys(HOME, "0")  # a digit on a name
        day.scan("v8-2")  # a bottle of no row
        day.asked("tab", "tab", *"0.1", "enter")  # a reading among the amounts
        day.keys("escape", "escape")
        day.rows(absorbance, stop="W-1")
        day.reads("W-1", "0.112")
        day.keys("enter", "enter")  # struck twice more
        day.reads("W-1T", "0.085")
        day.goes_to("W-1")
        day.typed("0.085")
        day.typed("0.112")  # a number is no reason
        day.keys("escape", "escape")
        day.rows(absorbance)
        day.keys("N", "enter", "enter", "enter")
        day.keys("K")
        day.setup("absorbance")
        day.keys("f3", "/", day.first("standard", calibration="C2"), "enter")
        day.standards("C2", lambda x: f"{0.002 + 0.00245 * x:.3f}")
        day.keys("f4", "E", "enter", "enter", "escape", "P")
        (folder / "second.csv").write_text("id,amount\nW-2,990\nW-3,970\n")
        day.typed(str(folder / "second.csv"))
        day.keys("enter", "enter")
        day.first("queue", id="W-3")
        day.rows(absorbance, stop="W-2")
        day.reads("W-2", "0.061")
        day.reads("W-3", "0.151")
        day.goes_to("W-2")
        day.keys("y")
        day.typed("W-3")
        day.typed("read under each other's names")
        day.meant["W-2"], day.meant["W-3"] = day.meant["W-3"], day.meant["W-2"]
        day.rows(absorbance)
        return day.left()
    finally:
        day.terminal.kill()


def soil(folder: Path) -> dict[str, Any]:
    """Soil on a photometer that reads %T."""
    day = Typist(folder / "soil.toml", "tph-solid")
    try:
        day.keys("F")
        day.typed("instrument.reads")
        day.typed("transmittance")
        day.keys("escape", "escape")
        day.setup("transmittance")
        day.keys("f3")
        day.standards("C1", transmittance)
        values(day, check__expected="80", batch__control_added_mg="8", batch__spike_added_mg="8")
        day.keys("f4", "P")
        (folder / "list.csv").write_text("id,amount,solids_percent\nG-1,10.1,88.5\nG-2,9.9,91.0\n")
        day.typed(str(folder / "list.csv"))
        day.keys("enter")
        day.keys(
            "/", day.first("queue", kind="second-source"), "enter", "g", "expected", "enter", "80", "enter", "escape"
        )
        day.rows(transmittance, stop="G-1")
        day.goes_to("G-1")
        day.asked("0.245", "enter")  # an absorbance typed to a photometer that reads %T
        day.keys("escape", "\x15")
        day.value("G-1", "56.9")
        day.goes_to("G-2")
        day.keys("d")
        day.asked("7", "enter")  # a dilution of no house
        day.keys("\x15")
        day.typed("5")
        day.reads("G-2", "71.3")
        day.rows(transmittance)
        return day.left()
    finally:
        day.terminal.kill()


def direct(folder: Path) -> dict[str, Any]:
    """An analyser that reads mg/L."""
    day = Typist(folder / "direct.toml", "direct-water")
    try:
        day.keys("enter", "f3")
        day.standards("C1", lambda x: f"{x * 1.01:.1f}")
        values(day, check__expected="80", batch__control_added_mg="8", batch__spike_added_mg="8")
        day.keys("f4", "P")
        (folder / "list.csv").write_text("id,amount\nD-1,1010\nD-2,995\n")
        day.typed(str(folder / "list.csv"))
        day.keys("enter")
        day.keys(
            "/", day.first("queue", kind="second-source"), "enter", "g", "expected", "enter", "80", "enter", "escape"
        )
        day.rows(lambda x: f"{x * 0.99:.1f}", stop="D-1")
        day.reads("D-1", "41.5")
        day.scan("q-100")
        day.reads("D-2", "22.9")
        day.goes_to("D-2")
        day.keys("k")
        day.keys("v", "4", "enter")  # a number is no reason
        day.keys("escape")
        day.rows(lambda x: f"{x * 0.99:.1f}")
        return day.left()
    finally:
        day.terminal.kill()


DAYS = {"water": water, "soil": soil, "direct": direct}


def written(document: dict[str, Any]) -> str:
    import tomli_w

    return tomli_w.dumps(document)


@pytest.mark.parametrize("name", DAYS)
def test_a_day_with_slips_ends_in_the_document_that_was_meant(name: str, tmp_path: Path) -> None:
    found = DAYS[name](tmp_path)
    assert written(found) == (FIXTURES / "days" / f"{name}.toml").read_text(encoding="utf-8")


def main() -> None:
    """Write the documents anew."""
    for name in sys.argv[1:] or DAYS:
        with tempfile.TemporaryDirectory() as folder:
            text = written(DAYS[name](Path(folder)))
        (FIXTURES / "days").mkdir(exist_ok=True)
        (FIXTURES / "days" / f"{name}.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
