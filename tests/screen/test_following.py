"""Whoever does what NEXT says comes to an end, whatever the run was when they began.

Owns: a person who knows nothing but NEXT and reads good values. Invariant: no step of theirs is refused.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from hypothesis import assume, given
from hypothesis import strategies as st

from runsheet import read
from runsheet.problem import has_errors
from runsheet.run import edit
from runsheet.show import findings
from runsheet.work import next_step
from tests.make import LEVELS, SLOPE, Table, at, document, examples, row, standards
from tests.screen.scripted import Scripted

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator, Sequence
    from datetime import datetime

    from runsheet.run.model import Run
    from runsheet.work.step import NextStep

METHOD = {
    "blank": {"every_readings": 4, "absorbance": 0.005},
    "check": {"every_readings": 3, "recovery_percent": [90, 110], "expected": 100, "closing": True},
    "calibration": {"r": 0.995},
    "setup": {"warm_up_minutes": 15, "zero_absorbance": 0.001},
}
GOOD = {"blank": 0.0, "check": 0.25}
LATE = at(9000)
STEPS = 80
"""More than any of these runs needs."""


class InMemory:
    """What a session needs of a store, its steps refused as there: days by the dozen are not worth their writing."""

    def __init__(self, run: Run) -> None:
        self.run = run

    def accept(self, edits: Sequence[edit.Edit], _now: datetime, reason: str = "") -> None:  # noqa: ARG002 - no log
        self.run = edit.apply_all(self.run, edits)


def begun(chance: random.Random) -> str:
    """A run some way into its day: some standards and rows read, some of them off, some in another cell."""
    cells = [chance.choice((10, 10, 50)) for _ in range(chance.randint(1, 3))]
    names = [f"C{n}" for n, _ in enumerate(cells, 1)]
    made = [level for n, name in enumerate(names) for level in _levels(chance, n, name)]
    queue = [_row(chance, n, names) for n in range(chance.randint(1, 8))]
    lamp: list[Table] = chance.choice(([], [{"check": "warm-up"}, {"check": "zero"}]))
    several = [{"id": name, "model": "line", "cell_mm": cell} for name, cell in zip(names, cells, strict=True)]
    return document(queue, calibration=several, standard=made, setup=lamp, method=METHOD)


def _levels(chance: random.Random, n: int, name: str) -> list[Table]:
    bent = 1.8 if chance.random() < 0.15 else 1.0
    ys = [SLOPE * x for x in LEVELS[:-1]] + [SLOPE * LEVELS[-1] * bent]
    made = standards(ys=ys, calibration=name, name=f"S{n}_", first=20 + 20 * n)
    bare = chance.random() < 0.25
    return [{key: each[key] for key in each if not (bare and key in ("readings", "at"))} for each in made]


def _row(chance: random.Random, n: int, names: list[str]) -> Table:
    kind = chance.choice(("sample", "sample", "sample", "blank", "check", "field-blank"))
    off = 0.06 + 0.01 * n  # never as one before: a baseline that stays where it is leaves what is read on it good
    value = GOOD.get(kind, 0.1) + (off if chance.random() < 0.2 else 0.0)
    value = 0.7 if kind == "sample" and chance.random() < 0.15 else value
    fields: Table = {"expected": 100} if kind == "check" else {}
    where = chance.random()
    if where < 0.2:
        fields["calibration"] = chance.choice(names)
    elif where < 0.4:
        fields["cell_mm"] = chance.choice((10, 50))
    if chance.random() < 0.6:
        return row(f"R{n}", value, kind=kind, at=at(100 + 2 * n), **fields)
    return row(f"R{n}", kind=kind, **fields)


def follow(day: Scripted, step: NextStep, minute: int) -> None:
    """Do what NEXT says, by its words."""
    run, words, place = day.session.run, step.words, f"[{step.row + 1}]"
    day.prompt = day.page = None
    if step.offer is not None:
        day.run("insert_due")
    elif words.startswith(("lamp on", "note when")):
        _write(day, f"setup{place}.started", at(minute - 60))
    elif words.startswith(("setup check", "read ")):
        array: Any = {"setup": "setup", "standards": "standard", "queue": "queue"}[step.pane]
        _read(day, f"{array}{place}", minute)
    elif "read it again with r" in words:
        _at(day, step).run("reread")
    elif " name another" in words:
        named = next(n for n, each in enumerate(run.queue, 1) if f"have {each.id} name" in words)
        _write(day, f"queue[{named}].calibration", None)
    elif "N begins another" in words:
        last = str(run.calibration[-1].cell_mm)
        day.run("new_calibration", next((cell for cell in ("10", "50") if f"{cell} mm" in words), last), "", "")
    elif "d reads it again" in words:
        _at(day, step).run("dilute", str(day.session.sheet.rows[step.row].dilute_to))
    elif "H plans" in words:
        _at(day, step).run("repeat_held")
        assert day.page is not None
        assert day.page.choose is not None
        day.page.choose(0)
    else:
        assert "t notes what was done" in words, words
        _at(day, step).run("action", "cell rinsed, rows read again", *(["y"] if _several(day) else []))


def _several(day: Scripted) -> bool:
    return bool(findings.like(day.item, day.session.sheet))


def _at(day: Scripted, step: NextStep) -> Scripted:
    day.activate(step.pane)
    day.go(step.row)
    return day


def _write(day: Scripted, path: str, value: Any, *more: edit.Edit) -> None:
    assert day.session.commit([edit.set_value(day.session.run, path, value), *more], "as NEXT says") == ""


def _read(day: Scripted, path: str, minute: int) -> None:
    array, number = path.rstrip("]").split("[")
    made = getattr(day.session.run, array)[int(number) - 1]
    value = SLOPE * float(made.concentration) if array == "standard" else GOOD.get(getattr(made, "kind", ""), 0.1)
    value = 0.0 if array == "setup" else value
    _write(
        day,
        f"{path}.readings",
        [edit.untyped(f"{value:.4f}")],
        edit.set_value(day.session.run, f"{path}.at", at(minute)),
    )


def _told(day: Scripted) -> Iterator[str]:
    """What NEXT says, each done before the next is asked for."""
    for minute in range(200, 200 + 2 * STEPS, 2):
        step = next_step.next_step(day.session.sheet)
        yield step.words
        if step.done:
            return
        follow(day, step, minute)


@examples(120)
@given(st.randoms(use_true_random=False))
def test_whoever_does_what_next_says_comes_to_an_end(chance: random.Random) -> None:
    run, problems = read(begun(chance))
    assume(run is not None and not has_errors(problems))
    assert run is not None
    told = list(_told(Scripted(Path("run.toml"), LATE, InMemory(run))))
    assert told[-1] == "all read and closed: review and report", told[-6:]
