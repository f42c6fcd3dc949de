"""Random days computed twice: by the program, and from the words of the run document alone.

`python -m tests.reference.test_reference 10000` tries so many days and prints what differs.
"""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w

from runsheet import evaluate, read
from runsheet.report.as_json import as_data
from tests.effort import tries
from tests.reference.days import Day
from tests.reference.verdicts import Verdicts

if TYPE_CHECKING:
    from collections.abc import Iterator

TOGETHER = 25
OTHERS = set("HQY")
"""Flags of rules about samples and of what fails elsewhere; their verdicts are compared."""
READ_HERE = {
    "blank", "check", "second-source", "opening", "closing", "blank-interval", "check-interval", "method-blank",
    "control", "spike", "control-pair", "spike-pair", "duplicate", "replicates", "over-range", "negative", "carry-over",
    "holding", "receipt", "voided-qc", "amounts",
}  # fmt: skip
FIGURES = {
    "drift": "drift", "net": "net", "extract": "extract", "u": "u_extract", "factor": "factor", "result": "result",
    "expanded": "U", "detection": "detection", "reporting": "reporting",
}  # fmt: skip


def computed(day: Day) -> dict[str, Any]:
    run, problems = read(tomli_w.dumps(day.document))
    assert run is not None, problems
    assert not [problem for problem in problems if problem.level == "error"]
    return as_data(evaluate(run, day.now))


def alike(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return math.isclose(one, other, rel_tol=2e-7, abs_tol=1e-9)


def unlike(expected: Verdicts, found: dict[str, Any]) -> Iterator[str]:
    for each, made in zip(expected.calibrations, found["calibrations"], strict=True):
        if each.state != made["state"]:
            yield f"{each.id}: {each.state} expected, {made['state']} found, {made['why']}"
        pairs: list[Any] = [(each.r, made["r"]), (each.s, made["s"]), (each.rse, made["rse_percent"])]
        pairs += zip(each.coefficients, made["coefficients"] or (), strict=False)
        yield from (f"{each.id}: {one} expected, {other} found" for one, other in pairs if not alike(one, other))
    for row, made in zip(expected.rows, found["rows"], strict=True):
        if row.void:
            continue
        for name, key in FIGURES.items():
            if not alike(getattr(row, name), made[key]):
                yield f"{row.id} {row.kind}: {name} {getattr(row, name)} expected, {made[key]} found"
        if row.state != made["state"]:
            yield f"{row.id}: {row.state} expected, {made['state']} found"
        if row.read and row.flags != set(made["flags"]) - OTHERS:
            yield f"{row.id}: {row.flags} expected, {made['flags']} found"
    verdicts = expected.all()
    told = {(f["rule"], tuple(sorted(f["rows"])), f["state"]) for f in found["quality"] if f["state"] != "todo"}
    yield from (f"expected: {verdict}" for verdict in verdicts - told)
    yield from (f"found: {verdict}" for verdict in told - verdicts if verdict[0] in READ_HERE)


@pytest.mark.parametrize("first", range(0, tries(400), TOGETHER))
def test_every_figure_and_verdict_is_that_of_an_independent_reading_of_the_rules(first: int) -> None:
    for seed in range(first, first + TOGETHER):
        day = Day(seed)
        assert not list(unlike(Verdicts(day.document, day.now), computed(day))), f"day {seed}"


def main() -> None:
    many, differ = int(sys.argv[1]), 0
    for seed in range(many):
        day = Day(seed)
        found = list(unlike(Verdicts(day.document, day.now), computed(day)))
        differ += bool(found)
        print(*(f"day {seed}: {each}" for each in found), sep="\n", end="\n" if found else "")
    print(f"{many} days, {differ} differ")


if __name__ == "__main__":
    main()
