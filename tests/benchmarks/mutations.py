"""Small semantic changes to the program, one at a time, and whether the tests near them notice. Run by hand.

    python tests/benchmarks/mutations.py [--count 64] [--seed 1] [--only runsheet/compute]

Each change is made in a copy of the project: a comparison turned or made strict, min for max, a sign, any for all, an
order dropped, a call dropped. A change that no test notices is printed; `HARMLESS` names those that change nothing a
test could see, each with the reason.
"""

from __future__ import annotations

import argparse
import ast
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
NEAR = {
    "runsheet/compute/rules": [
        "tests/compute",
        "tests/examples",
        "tests/properties/test_verdicts.py",
        "tests/test_fixtures.py",
    ],
    "runsheet/compute/statistics": ["tests/compute/statistics", "tests/published", "tests/history"],
    "runsheet/compute": [
        "tests/compute",
        "tests/published",
        "tests/examples",
        "tests/properties",
        "tests/test_fixtures.py",
    ],
    "runsheet/run/disk": ["tests/run", "tests/simulation", "tests/command"],
    "runsheet/history": ["tests/history", "tests/command/test_folder.py", "tests/test_fixtures.py"],
    "runsheet/review": ["tests/review", "tests/report", "tests/screen/test_review.py"],
}
"""The tests near each room, the longest path first."""
COMPARISONS = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq}
SIGNS = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div}
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}
HARMLESS = {
    "runsheet/compute/compare.py:26: LtE to Lt": "equal figures are at most each other by the tolerance already",
    "runsheet/compute/statistics/student_t.py:84: Lt to LtE": "at the change-over either fraction gives the tail",
    "runsheet/compute/statistics/student_t.py:91: Mult to Div": "either fraction gives the centre; one is shorter",
    "runsheet/compute/statistics/student_t.py:117: Lt to LtE": "the change is never exactly the last digit",
}
"""Changes that nothing outside can see, by place, each with the reason."""


class Change(ast.NodeVisitor):
    """Finds the changes that can be made in a module, and makes one of them."""

    def __init__(self, wanted: int = -1) -> None:
        """Make the change of a number; -1 only counts."""
        self.wanted, self.count, self.said, self.line = wanted, 0, "", 0

    def _here(self, node: ast.AST, said: str) -> bool:
        self.count += 1
        if self.count - 1 != self.wanted:
            return False
        self.said, self.line = said, getattr(node, "lineno", 0)
        return True

    def visit_Compare(self, node: ast.Compare) -> None:
        """Turn a comparison, or make it strict."""
        other = COMPARISONS.get(type(node.ops[0]))
        if other is not None and self._here(node, f"{type(node.ops[0]).__name__} to {other.__name__}"):
            node.ops[0] = other()
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        """Turn a sign."""
        other = SIGNS.get(type(node.op))
        texts = any(
            isinstance(side, ast.JoinedStr | ast.Constant) and not _number(side) for side in (node.left, node.right)
        )
        if other is not None and not texts and self._here(node, f"{type(node.op).__name__} to {other.__name__}"):
            node.op = other()
        self.generic_visit(node)

    def visit_Call(self, node: ast.Call) -> None:
        """Swap min and max, any and all; leave an order out."""
        if isinstance(node.func, ast.Name) and node.func.id in NAMES:
            if self._here(node, f"{node.func.id} to {NAMES[node.func.id]}"):
                node.func.id = NAMES[node.func.id]
        elif isinstance(node.func, ast.Name) and node.func.id == "reversed" and self._here(node, "reversed dropped"):
            node.func.id = "list"
        self.generic_visit(node)

    def visit_Expr(self, node: ast.Expr) -> None:
        """Drop a call whose answer nobody takes."""
        if isinstance(node.value, ast.Call) and self._here(node, "call dropped"):
            node.value = ast.Constant(None)
        self.generic_visit(node)

    def visit_Not(self, node: ast.Not) -> None:
        """Leave `not` alone: comparisons are turned already."""


def _number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float)


def sites(only: str) -> Iterator[tuple[Path, int]]:
    """Every change that can be made: the module and its number there."""
    for room in NEAR:
        for file in sorted((ROOT / room).glob("*.py")):
            name = file.relative_to(ROOT)
            if str(name).startswith(only) and file.name != "__init__.py":
                counter = Change()
                counter.visit(ast.parse(file.read_text(encoding="utf-8")))
                yield from ((name, number) for number in range(counter.count))


def near(name: Path) -> list[str]:
    """The tests near a module."""
    return next(tests for room, tests in NEAR.items() if str(name).startswith(f"{room}/"))


def survives(copy: Path, name: Path, number: int) -> tuple[bool, str]:
    """Make one change in the copy and run the tests near it; whether none noticed, and what it was."""
    text = (copy / name).read_text(encoding="utf-8")
    tree, change = ast.parse(text), Change(number)
    change.visit(tree)
    said = f"{name}:{change.line}: {change.said}"
    (copy / name).write_text(ast.unparse(tree), encoding="utf-8")
    words = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *near(name)]
    try:
        made = subprocess.run(words, cwd=copy, capture_output=True, text=True, timeout=300, check=False)
        unnoticed = made.returncode == 0
    except subprocess.TimeoutExpired:
        unnoticed = False  # a program that hangs is noticed
    (copy / name).write_text(text, encoding="utf-8")
    return unnoticed, said


def main() -> None:
    """Make the changes and print what survived."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=64)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    asked = parser.parse_args()
    every = list(sites(asked.only))
    chosen = random.Random(asked.seed).sample(every, min(asked.count, len(every)))  # noqa: S311 - no secret
    survivors = []
    with tempfile.TemporaryDirectory() as place:
        copy = Path(place) / "project"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns(".git", ".venv*", "__pycache__", "*.egg-info"))
        for at, (name, number) in enumerate(sorted(chosen), 1):
            survived, said = survives(copy, name, number)
            harmless = HARMLESS.get(said, "")
            print(
                f"{at:3} {'SURVIVES' if survived else 'noticed '} {said}{f' ({harmless})' if harmless else ''}",
                flush=True,
            )
            survivors += [said] if survived and not harmless else []
    print(f"{len(chosen)} of {len(every)} changes made, {len(survivors)} survive")
    print("\n".join(survivors))


if __name__ == "__main__":
    main()
