"""Mutated documents: what a slip, a bad disk or a hostile hand makes of a run.

`check` says what must hold of each: reading never raises nor hangs; what has no errors is evaluated, written, reported.
"""

from __future__ import annotations

import copy
import json
import random
import re
import tempfile
import time
import tomllib
from datetime import UTC, date, datetime
from datetime import time as clock_time
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import tomli_w

from runsheet import demo, evaluate, read
from runsheet.history import cache, charts, export, extract, studies
from runsheet.problem import has_errors
from runsheet.report import as_json, detection, formats, history
from runsheet.report import text as plain
from runsheet.report.making import Report
from runsheet.review.trail import NO_TRAIL
from runsheet.run.disk import opening
from runsheet.run.text import write
from runsheet.show import explain
from runsheet.work import next_step

if TYPE_CHECKING:
    from collections.abc import Iterator

    from runsheet.compute.results import Sheet
    from runsheet.run.model import Run

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


DATA: tuple[Any, ...] = (
    None, True, 0, -1, 1, 2**70, 10**400, -0.0, 5e-324, 1.7e308, float("nan"), float("inf"), float("-inf"),
    Decimal("1e-400"), Decimal("0.10"), "", "text", "\x00\x1b[2J", "\u202e\U0001f9ea", "b" * 20_000, [], [[]], [[[1]]],
    [0.1] * 2000, ["a", 1], [{}], {}, {"a": {"b": {}}}, {"": ""}, date(1, 1, 1), date(9999, 12, 31), clock_time(23, 59),
    datetime(1, 1, 1, tzinfo=UTC), datetime(9999, 12, 31, 23, 59, 59, 999999, tzinfo=UTC),
    datetime(2026, 5, 6, 8),  # noqa: DTZ001 - a time without its offset is one of the slips
)  # fmt: skip
"""What a value of a document is replaced with; None leaves its key out."""


def seeds() -> list[str]:
    """The documents that are mutated."""
    files = [*sorted((FIXTURES / "good").glob("*.toml")), *sorted((FIXTURES / "bad").glob("*.toml"))]
    texts = [path.read_bytes().decode("utf-8", "replace") for path in files]
    return [*texts, *texts[: len(texts) // 2], *[demo.text(name) for name in demo.NAMES for _ in range(10)]]


def mutated(text: str, random_: random.Random) -> str:
    """Change a document in one to six places; two in five only so that it may still be without errors."""
    mutations = GENTLE if random_.random() < 0.4 else MUTATIONS
    for _ in range(random_.choice((1, 1, 1, 2, 3, 6))):
        text = random_.choice(mutations)(text, random_)
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
    """A document with extreme values for its numbers that may still be read."""
    lines = text.split("\n")
    places = [at for at, line in enumerate(lines) if re.fullmatch(r"\s*(\w+ = )?-?\d+(\.\d+)?,?", line)]
    for at in random_.sample(places, min(len(places), random_.randint(1, 4))):
        lines[at] = re.sub(r"-?\d+(\.\d+)?(,?)$", random_.choice(EXTREMES) + r"\2", lines[at])
    return "\n".join(lines)


def _data(text: str, random_: random.Random) -> str:
    """Replace values of the parsed document, and write it again."""
    try:
        parsed: Any = tomllib.loads(text, parse_float=Decimal)
        for _ in range(random_.randint(1, 3)):
            _replace(parsed, random_)
        return tomli_w.dumps(parsed)
    except (ValueError, TypeError, ArithmeticError, RecursionError):  # no TOML, or a number nobody can write out
        return _value(text, random_)


def _replace(table: dict[str, Any], random_: random.Random) -> None:
    """Change one place of a table, at any depth."""
    here: Any = table
    while True:
        places = list(here) if isinstance(here, dict) else list(range(len(here)))
        if not places:
            return
        at = random_.choice(places)
        if isinstance(here[at], dict | list) and here[at] and random_.random() < 0.93:
            here = here[at]
            continue
        _put(here, at, random_)
        return


def _put(here: Any, at: Any, random_: random.Random) -> None:
    if isinstance(here, list):
        action = random_.choice(("double", "drop", "value", "value", "shuffle"))
        if action == "double":
            here.insert(random_.randrange(len(here) + 1), copy.deepcopy(here[at]))
            return
        if action == "shuffle":
            random_.shuffle(here)
            return
    elif random_.random() < 0.1:
        here[random_.choice((*here, "unknown", "id", "of"))] = here.pop(at)
        return
    value = _near(here[at], random_) if random_.random() < 0.6 else random_.choice(DATA)
    if value is None or (isinstance(here, list) and random_.random() < 0.1):
        del here[at]
    else:
        here[at] = copy.deepcopy(value)


def _alike(text: str, random_: random.Random) -> str:
    """Replace numbers, times and flags of the parsed document with others of their type."""
    try:
        parsed = tomllib.loads(text, parse_float=Decimal)
        places = [place for place in _places(parsed) if isinstance(place[0][place[1]], Decimal | int | datetime)]
        for here, at in random_.sample(places, min(len(places), random_.randint(1, 5))):
            here[at] = _near(here[at], random_)
        return tomli_w.dumps(parsed)
    except (ValueError, TypeError, ArithmeticError, RecursionError):
        return _extreme(text, random_)


def _places(here: Any) -> Iterator[tuple[Any, Any]]:
    """Every place of a parsed document that holds no table and no array."""
    for at in here if isinstance(here, dict) else range(len(here)):
        if isinstance(here[at], dict | list):
            yield from _places(here[at])
        else:
            yield here, at


def _near(value: Any, random_: random.Random) -> Any:
    """Another value of the same type, so that more documents stay without errors."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, Decimal | int):
        return random_.choice(
            (Decimal(random_.choice(EXTREMES)), value * 2, value / 7, value * Decimal("1.01"), -value)
        )
    if isinstance(value, datetime):
        return random_.choice((value.replace(year=random_.randint(1, 9999)), value.replace(hour=random_.randrange(24))))
    return random_.choice(WORDS) if isinstance(value, str) else random_.choice(DATA)


MUTATIONS = (
    _lines,
    _lines,
    _value,
    _value,
    _extreme,
    _extreme,
    _extreme,
    _extreme,
    _insert,
    _cut,
    _flip,
    _deep,
    _data,
    _data,
    _data,
    _data,
    _data,
)
GENTLE = (_alike, _alike, _extreme)


def documents(count: int, seed: int) -> Iterator[str]:
    """Mutated documents, the same for a seed."""
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
    json.dumps(as_json.as_data(sheet, problems), allow_nan=False)
    again, more = read(write(run))
    assert again == run
    assert not has_errors(more)
    assert write(again) == write(run)
    if reports:
        _words(sheet)
        formats.RESULTS["csv"](sheet, problems, NO_TRAIL)
    return True


def check_bytes(data: bytes) -> None:
    """Check that bytes which may be no text at all are read, or refused, in time."""
    began = time.perf_counter()
    run, problems = opening.parsed(data)
    assert time.perf_counter() - began < SLOW
    assert run is not None or problems


def flipped(text: str, random_: random.Random) -> bytes:
    """A document's bytes with some of them changed."""
    found = bytearray(text.encode("utf-8", "surrogatepass"))
    for _ in range(random_.choice((1, 2, 8)) if found else 0):
        found[random_.randrange(len(found))] = random_.randrange(256)
    return bytes(found)


def _charted(run: Run) -> None:
    """Keep a run in the history's tables and ask them everything."""
    with tempfile.TemporaryDirectory() as folder:
        tables = cache.bring_up(Path(folder), file=Path(folder, "cache"))
        cache.keep(tables.connection, [extract.facts("run.toml", "", run)])
        made = charts.all_charts(tables)
        plain.write(history.blocks(tables, made))
        plain.write(detection.blocks(tables, studies.detections(tables, NOW), studies.capabilities(tables), NOW))
        list(export.sql(tables))
        tables.close()


def _words(sheet: Sheet) -> None:
    """Write all that is told about a sheet: the reports, what to do next, and why each number."""
    for form in formats.FORMATS.values():
        form(Report(sheet))
    _charted(sheet.run)
    next_step.next_step(sheet)
    for row in sheet.rows:
        explain.steps(row, sheet)
        explain.lines(row, sheet, "state")
