"""A list of samples, from a file or pasted, read for planning.

Owns: `parse` and `Planned`. Invariant: a cell that is no value leaves its line out and says where it stands; nothing
of a line is guessed.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections import Counter
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any, NamedTuple

from runsheet import tables
from runsheet.problem import Problem
from runsheet.run import entry, valid
from runsheet.run.kinds import CLIENTS
from runsheet.run.model import Row, Sample

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import datetime

    from runsheet.run.model import Run


PLAIN = ("id", "amount", "site")
"""The columns of a list without a header."""
OF_SAMPLE = frozenset(field.name for field in fields(Sample)) - {"id", "note"}
WEIGHED = (
    "full_g",
    "empty_g",
    "density",
    "not_sample_ml",
    "dish_g",
    "wet_g",
    "dry_g",
    "solids_percent",
    "silica_gel_g",
)
PUT = ("id", "sample", "batch", "matrix", "amount", "extract_ml", "dilution", "silica_gel", "extracted", "note")
OF_ROW = frozenset((*PUT, *WEIGHED))
"""What a list may say of a queue row; `note` goes to the row, where the queue shows it."""
MARKS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
"""What may separate cells, in words: the first of these in a line does."""
KNOWN = {name.casefold(): name for name in OF_SAMPLE | OF_ROW}


class Planned(NamedTuple):
    """One line of a list."""

    line: int
    sample: Sample
    row: Row


def parse(text: str, run: Run, now: datetime) -> tuple[list[Planned], list[Problem]]:
    """Read a list of samples, separated by tabs, semicolons or commas, with or without a header of field names.

    Gives the lines that can be planned and everything wrong with the others; a line with an error is left out.
    """
    problems: list[Problem] = []
    records = _records(text.removeprefix("\ufeff"), problems)
    columns = _columns(records, problems)
    found = [made for line, cells in records if (made := _planned(line, cells, columns, now, problems))]
    problems += _doubtful(found, mark(text))
    found = _unused(found, run, problems)
    return _fitting(found, run, problems), problems


def _records(text: str, problems: list[Problem]) -> list[tuple[int, list[str]]]:
    """The cells of each line that has any, with its number."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=mark(text), skipinitialspace=True, strict=True)
    records, line = [], 1
    try:
        for cells in reader:
            bare = [cell.strip(" ") for cell in cells]
            if any(bare):
                records.append((line, bare))
            line = reader.line_num + 1
    except csv.Error as error:
        problems.append(Problem(f"line {line}", f"cannot be read, nor can what follows it: {error}"))
    return records


def mark(text: str) -> str:
    """What separates the cells, by the first line that has any: one with a name alone does not say."""
    lines = re.sub(r'"[^"]*"', "", text).splitlines()
    first = next((line for line in lines if line.strip() and any(mark in line for mark in MARKS)), "")
    return next((mark for mark in MARKS if mark in first), ",")


def _columns(records: list[tuple[int, list[str]]], problems: list[Problem]) -> list[str]:
    """Take the header off and give the field of each column, empty for one that is left out."""
    words = [cell.casefold().replace(" ", "_") for cell in records[0][1]] if records else []
    if "id" not in words and not (words and all(word in KNOWN for word in words if word)):
        return list(PLAIN)
    line, header = records.pop(0)
    for cell, word in zip(header, words, strict=True):
        if word and word not in KNOWN:
            near = difflib.get_close_matches(word, KNOWN, 1, 0.75)  # so that `kind` is no `id`
            hint = f" (did you mean {KNOWN[near[0]]}?)" if near else ""
            message = f"is no field of a sample or a row{hint}: the column is left out"
            problems.append(Problem(f"line {line}, column {cell}", message, "warning"))
    twice = [word for word, times in Counter(words).items() if word in KNOWN and times > 1]
    problems += [Problem(f"line {line}, column {word}", "is there twice: which one counts?") for word in twice]
    if "id" not in words:
        problems.append(Problem(f"line {line}", "expected a column id, found none"))
    if twice or "id" not in words:
        records.clear()
    return [KNOWN.get(word, "") for word in words]


def _planned(line: int, cells: list[str], columns: list[str], now: datetime, problems: list[Problem]) -> Planned | None:
    values: dict[str, Any] = {}
    found: list[Problem] = []
    for at, cell in enumerate(cells):
        name = columns[at] if at < len(columns) else ""
        if cell and at >= len(columns):
            found.append(Problem(f"line {line}, column {at + 1}", f"expected {len(columns)} cells, found one more"))
        elif cell and name:
            values[name], complaint = _value(name, cell, now)
            found += [Problem(f"line {line}, column {name}", complaint)] if complaint else []
    if not values.get("id") and not any(problem.path.endswith(" id") for problem in found):
        found.append(Problem(f"line {line}, column id", "expected a name, found none"))
    problems += found
    if found:
        return None
    received = {name: value for name, value in values.items() if name in OF_SAMPLE}
    row = Row(kind="sample", **{name: value for name, value in values.items() if name in OF_ROW})
    return Planned(line, Sample(id=row.sample or row.id, **received), row)


def _value(name: str, cell: str, now: datetime) -> entry.Entry:
    cls = Sample if name in OF_SAMPLE else Row
    made = entry.parse(cls, name, cell, now)
    return entry.Entry(None, f"{cell!r} is no number") if made.complaint == entry.HALF else made


def _doubtful(found: list[Planned], mark: str) -> Iterator[Problem]:
    """Tell of names and amounts that look as if another mark separated the cells."""
    for each in found:
        if any(other in each.row.id for other in MARKS):
            message = f"{each.row.id} is one name: {MARKS[mark]} separate the cells of this list"
            yield Problem(f"line {each.line}, column id", message, "warning")
    split = [each for each in found if each.row.amount is not None and (each.sample.site or "").isdecimal()]
    if mark == "," and split:
        first = split[0]
        amount, site = first.row.amount, first.sample.site
        others = f" ({len(split) - 1} more like it)" if len(split) > 1 else ""
        message = f"read as {amount} at site {site}; if it is {amount},{site} separate the cells by tabs or semicolons"
        yield Problem(f"line {first.line}, column amount", message + others, "warning")


def ids(run: Run) -> list[str]:
    """Every id a new row may not have."""
    return [*(standard.id for standard in run.standard), *(row.id for row in run.queue)]


def _unused(found: list[Planned], run: Run, problems: list[Problem]) -> list[Planned]:
    """Leave out ids that are there already, and lines that say of a sample what an earlier line does not.

    One bottle written "w2" and "W2" would be two samples, and its fractions would never meet: that is told.
    """
    seen = dict.fromkeys(ids(run), "the run has it already")
    received = {sample.id for sample in run.sample}
    named = {*received, *(row.sample or row.id for row in run.queue if row.kind in CLIENTS)}
    spelt = {name.casefold(): name for name in sorted(named)}
    kept: list[Planned] = []
    for each in found:
        path = f"line {each.line}, column id"
        if each.row.id in seen:
            problems.append(Problem(path, f"expected a new id, found {each.row.id}: {seen[each.row.id]}"))
            continue
        if contrary := _contrary(each, kept):
            problems.append(contrary)
            continue
        seen[each.row.id] = f"first in line {each.line}"
        if each.sample.id in received and each.sample != Sample(id=each.sample.id):
            message = f"{each.sample.id} was received already: what the run says of it is kept"
            problems.append(Problem(path, message, "warning"))
        name = each.sample.id
        if name not in named and (other := spelt.get(name.casefold())):
            message = f"{name} is another sample than {other}, by the case of its letters alone"
            problems.append(Problem(path, message, "warning"))
        named.add(name)
        spelt.setdefault(name.casefold(), name)
        kept.append(each)
    return kept


def _contrary(each: Planned, before: list[Planned]) -> Problem | None:
    """That a line says another thing of its sample than one before it: which one counts is for a person to say."""
    mine = tables.plain(each.sample)
    for other in (other for other in before if other.sample.id == each.sample.id):
        for name, value in tables.plain(other.sample).items():
            if mine.get(name, value) != value:
                said = f"what line {other.line} says, {tables.shown(value)}, found {tables.shown(mine[name])}"
                return Problem(f"line {each.line}, column {name}", f"expected of sample {each.sample.id} {said}")
    return None


def _fitting(found: list[Planned], run: Run, problems: list[Problem]) -> list[Planned]:
    """Leave out what does not fit the run: a batch it has not, weighings that contradict each other."""
    lines = {f"queue[{at}]": each.line for at, each in enumerate(found, len(run.queue) + 1)}
    trial = replace(run, queue=(*run.queue, *(each.row for each in found)))
    wrong = set()
    for problem in valid.problems(trial):
        place, _, name = problem.path.partition(".")
        if place in lines:
            problems.append(replace(problem, path=f"line {lines[place]}, column {name}"))
            wrong |= {lines[place]} if problem.level == "error" else set()
    return [each for each in found if each.line not in wrong]
