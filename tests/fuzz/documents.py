"""Mutated documents: what a slip, a bad disk or a hostile hand makes of a run.

`check` says what must hold of each: reading never raises nor hangs; what has no errors is evaluated, written, reported.
"""

from __future__ import annotations

import json
import random
import re
import time
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import demo, evaluate, read
from runsheet.problem import has_errors
from runsheet.report import data, formats
from runsheet.run.text import write

if TYPE_CHECKING:
    from collections.abc import Iterator

FIXTURES = Path(__file__).parents[2] / "fixtures"
NOW = datetime.fromisoformat("2026-05-06T12:00:00+02:00")
SLOW = 1.0
"""Seconds one document may take to be read."""
NUMBERS = (
    "0", "-1", "1e400", "1e-400", "1e308", "-1e308", "5e-324", "nan", "inf", "-inf", "1e999999999999999999999",
    "9" * 5000, "0.1", "1_000", "0x1F",
    "true", '"text"', "[]", "[1, 2]", "[nan]", "{}", "2026-05-06", "2026-05-06T08:00:00",
    "0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "1" + "0" * 400, ".5", "1.", "1,5", "7:30",
)  # fmt: skip
EXTREMES = ("1e308", "5e-324", "1e200", "1e-200", "0.0", "1", "0.001", "3", "99.9", "1e5", "-0.5", "1e-12")
TEXTS = (
    "\x00", "\ufeff", "é", "\u202e", "🧪", '"', "'''", '"""', "#", "[[queue]]\n", "=", "\n", "\\", "]" * 50,
    "a" * 5000,
)  # fmt: skip
WORDS = (
    "sample",
    "blank",
    "check",
    "spike",
    "S1",
    "A",
    "C1",
    "wipe",
    "extract",
    "mg/kg",
    "quadratic",
    "direct",
    "point",
)


def seeds() -> list[str]:
    """Give the documents that are mutated."""
    files = [*sorted((FIXTURES / "good").glob("*.toml")), *sorted((FIXTURES / "bad").glob("*.toml"))]
    texts = [path.read_bytes().decode("utf-8", "replace") for path in files]
    return [*texts, *texts[: len(texts) // 2], *[demo.text(name) for name in demo.NAMES for _ in range(10)]]


def mutated(text: str, random_: random.Random) -> str:
    """Change a document in one to six places."""
    for _ in range(random_.choice((1, 1, 1, 2, 3, 6))):
        text = random_.choice(MUTATIONS)(text, random_)
    return text


def _lines(text: str, random_: random.Random) -> str:
    lines = text.split("\n")
    at, other = random_.randrange(len(lines)), random_.randrange(len(lines))
    action = random_.choice(("drop", "double", "swap"))
    if action == "drop":
        del lines[at]
    elif action == "double":
        lines.insert(other, lines[at])
    else:
        lines[at], lines[other] = lines[other], lines[at]
    return "\n".join(lines)


def _value(text: str, random_: random.Random) -> str:
    lines = text.split("\n")
    places = [at for at, line in enumerate(lines) if "=" in line]
    if places:
        at = random_.choice(places)
        value = random_.choice(NUMBERS) if random_.random() < 0.7 else f'"{random_.choice(WORDS)}"'
        lines[at] = f"{lines[at].partition('=')[0]}= {value}"
    return "\n".join(lines)


def _insert(text: str, random_: random.Random) -> str:
    at = random_.randrange(len(text) + 1)
    return text[:at] + random_.choice(TEXTS) + text[at:]


def _cut(text: str, random_: random.Random) -> str:
    at = random_.randrange(len(text) + 1)
    return text[:at] + text[at + random_.randint(1, 40) :]


def _flip(text: str, random_: random.Random) -> str:
    if not text:
        return text
    at = random_.randrange(len(text))
    return text[:at] + chr(random_.randrange(1, 0x2FF)) + text[at + 1 :]


def _deep(text: str, random_: random.Random) -> str:
    mark = random_.choice(("[", "{a = ", "[{b = "))
    return f"{text}\nx = {mark * random_.choice((10, 500, 5000))}"


def _extreme(text: str, random_: random.Random) -> str:
    """Give numbers of the document extreme values that may still be read."""
    lines = text.split("\n")
    places = [at for at, line in enumerate(lines) if re.fullmatch(r"\s*(\w+ = )?-?\d+(\.\d+)?,?", line)]
    for at in random_.sample(places, min(len(places), random_.randint(1, 4))):
        lines[at] = re.sub(r"-?\d+(\.\d+)?(,?)$", random_.choice(EXTREMES) + r"\2", lines[at])
    return "\n".join(lines)


MUTATIONS = (_lines, _lines, _value, _value, _extreme, _extreme, _extreme, _extreme, _insert, _cut, _flip, _deep)


def documents(count: int, seed: int) -> Iterator[str]:
    """Give mutated documents, the same for a seed."""
    random_, texts = random.Random(seed), seeds()  # noqa: S311 - mutations need no secrets
    for _ in range(count):
        yield mutated(random_.choice(texts), random_)


def check(text: str, *, reports: bool = False) -> bool:
    """Check one document; say whether it could be evaluated."""
    began = time.perf_counter()
    run, problems = read(text)
    assert time.perf_counter() - began < SLOW
    if run is None or has_errors(problems):
        assert problems
        return False
    sheet = evaluate(run, NOW)
    json.dumps(data.as_data(sheet, problems), allow_nan=False)
    assert read(write(run))[0] == run
    if reports:
        for form in formats.FORMATS.values():
            form(sheet)
        formats.RESULTS["csv"](sheet, problems)
    return True
