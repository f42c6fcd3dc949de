"""Each line of a worked calculation gives what it says, to a reader with a calculator and the numbers in it alone.

A line is `numbers = result`; a curve's root and U have forms of their own. What comes of the numbers must be what is
printed, but for one unit of its last digit; a millionth is nothing at the bench.
"""

from __future__ import annotations

import ast
import math
import operator
import re
from typing import TYPE_CHECKING

import pytest
import tomli_w

from runsheet import evaluate, read
from runsheet.show import explain
from tests.effort import tries
from tests.reference.days import Day

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Sheet
    from runsheet.show.explain import Step

NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
LINE = re.compile(rf"(.+) = \+?({NUMBER})(?: [^=]*)?")
WORDS = re.compile(r"method's |.*lowest standard |mg/L(?= x)")
"""What stands beside the numbers of a limit."""
EQUATION = rf"y = (?:({NUMBER}) \+ )?({NUMBER}) x(?: \+ ({NUMBER}) x\^2)?"
CURVE = re.compile(rf"{EQUATION}; net ({NUMBER})(?:: | = )({NUMBER}) mg/L.*")
EXPANDED = re.compile(rf"k ({NUMBER}), u\(Cx\) ({NUMBER}) mg/L, parts: (.+): U = ({NUMBER}) \S+.*")
DOES = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv}


def worked(node: ast.expr) -> float:
    """What a calculator makes of a sum, difference, product and quotient of numbers."""
    if isinstance(node, ast.BinOp):
        return DOES[type(node.op)](worked(node.left), worked(node.right))  # type: ignore[no-any-return]
    if isinstance(node, ast.UnaryOp):
        return -worked(node.operand)
    assert isinstance(node, ast.Constant)
    return float(node.value)  # type: ignore[arg-type]


def unit(printed: str) -> float:
    """One in the last digit of a number as printed."""
    mantissa, _, power = printed.partition("e")
    return 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))


def agrees(printed: str, mine: float) -> bool:
    return abs(mine - float(printed)) <= max(1.01 * unit(printed), 1e-6)


def holds(step: Step) -> bool | None:
    """Whether a line holds; None where it has nothing to compute."""
    if found := CURVE.fullmatch(step.numbers):
        a, b, c, net = (float(part or 0) for part in found.groups()[:4])
        x = float(found[5])
        return abs(a + b * x + c * x * x - net) <= abs(b + 2 * c * x) * unit(found[5]) + 1e-8
    line = LINE.fullmatch(WORDS.sub("", step.numbers))
    left = "" if line is None else line[1].replace(" x ", " * ")
    if line is None or not re.fullmatch(rf"(?:{NUMBER}|[-+*/() ])+", left):
        return None
    return agrees(line[2], worked(ast.parse(left, mode="eval").body))


def uncertain(made: dict[str, Step]) -> bool:
    """Whether U is what k, the factor, u and the parts printed give."""
    k, u, parts, printed = needed(EXPANDED.fullmatch(made["U"].numbers)).groups()
    x, factor = map(float, re.findall(NUMBER, made["result"].numbers)[:2])
    relative = sum((float(percent) / 100) ** 2 for percent in re.findall(NUMBER, parts))
    return agrees(printed, float(k) * factor * math.sqrt(float(u) ** 2 + x * x * relative))


def needed(found: re.Match[str] | None) -> re.Match[str]:
    assert found is not None
    return found


def wrong(sheet: Sheet) -> Iterator[str]:
    """Each line that does not give its figure."""
    for row in sheet.rows:
        made = explain.steps(row, sheet)
        named = {step.figure: step for step in made}
        yield from (step.numbers for step in made if holds(step) is False)
        yield from [named["U"].numbers] if "U" in named and not uncertain(named) else []
    for calibration in sheet.calibrations:
        for standard in calibration.standards:
            yield from (s.numbers for s in explain.standard(standard, calibration, sheet) if holds(s) is False)


def day_of(seed: int) -> Sheet:
    day = Day(seed)
    run, _ = read(tomli_w.dumps(day.document))
    assert run is not None
    return evaluate(run, day.now)


@pytest.mark.parametrize("seed", range(tries(200)))
def test_a_worked_line_gives_its_figure(seed: int) -> None:
    assert not list(wrong(day_of(seed)))


def test_every_kind_of_line_that_has_numbers_is_computed() -> None:
    """A form that the check no longer reads would be passed over in silence."""
    looked_at = {
        step.figure
        for sheet in map(day_of, range(12))
        for row in sheet.rows
        for step in explain.steps(row, sheet)
        if holds(step)
    }
    assert looked_at == {
        "mean", "net", "extract", "factor", "result", "detection", "reporting", "recovery_percent", "rpd_percent",
    }  # fmt: skip
