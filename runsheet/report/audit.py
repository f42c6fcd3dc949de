"""What a data-integrity review looks for in a folder of runs, for reading and as CSV.

Owns: `blocks`, `csv`, `as_data`. Invariant: counts stand beside every rate, and no rate is formed of fewer than five
cases; nobody is accused.
"""

from __future__ import annotations

import csv as csv_
import io
from typing import TYPE_CHECKING, Any

from runsheet.figures import counted, figure, minute, unrunnable
from runsheet.history import audit as audits
from runsheet.report.blocks import Heading, Items, Paragraph, Table
from runsheet.review.cases import KINDS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from runsheet.history.audit import Audited, Group, Same, Unread
    from runsheet.report.blocks import Block

FEW = 5
"""Cases below which no rate is formed: one more or less would change it by a fifth or more."""
SHOWN = 8
"""Raw readings shown of a stretch."""
NOBODY = (
    "Nobody is accused here: it is said what was done and where, and most of it has a good reason. What to look at "
    "stands with each kind. What was written elsewhere and never entered, no log can show."
)


def blocks(
    runs: Sequence[Audited], unread: Sequence[Unread], same: Sequence[Same], groups: Sequence[Group]
) -> Iterator[Block]:
    """The whole of it."""
    yield Heading("Data-integrity review of a folder", 1)
    readings = sum(run.readings for run in runs)
    cases = sum(len(run.cases) for run in runs) + len(same)
    copies = audits.twice(runs)
    documents = f" in {len(runs)} documents" if copies else ""
    extent = f"{counted(len({run.id for run in runs}), 'run')}{documents} with {counted(readings, 'reading')}"
    yield Paragraph(f"{extent}: {counted(cases, 'case')} to look at. {NOBODY}")
    if copies:
        yield Items(tuple(_copies(copies)))
    for kind in KINDS:
        yield from _kind(kind, [(run, case) for run in runs for case in run.cases if case.kind == kind], same)
    unproved = [f"{run.path}: {run.log}" for run in runs if not run.logged]
    if unproved:
        yield Heading("Without an edit log, so nothing of this could be judged but the document")
        yield Items(tuple(unproved))
    if unread:
        yield Heading("Could not be read")
        yield Items(tuple(f"{each.path}: {each.why}" for each in unread))
    if groups:
        yield Heading("By analyst, photometer and month")
        yield Table(
            ("by", "who or what", "kind", "cases", "in documents", "readings", "per 100 readings"),
            tuple(group_cells(group) for group in groups),
            (True, True, True, False, False, False, False),
        )
        yield Paragraph(f"No rate of fewer than {FEW} cases: so few make no pattern.")


def _copies(copies: Mapping[str, Sequence[str]]) -> Iterator[str]:
    return (f"run {name} is in {_both(paths)}" for name, paths in copies.items())


def not_judged(runs: Sequence[Audited], unread: Sequence[Unread]) -> Iterator[str]:
    """What a table of cases has no line for: documents not read, without a log, and copies."""
    yield from (f"{each.path}: could not be read: {each.why}" for each in unread)
    yield from (f"{run.path}: no log: only the document could be judged" for run in runs if not run.logged)
    yield from _copies(audits.twice(runs))


def _both(paths: Sequence[str]) -> str:
    twice = "both is told and counted of both" if len(paths) == 2 else "several is told and counted of each"
    return f"{len(paths)} documents: {', '.join(paths)}; what is in {twice}"


def _kind(kind: str, found: Sequence[Any], same: Sequence[Same]) -> Iterator[Block]:
    about = KINDS[kind]
    lines = tuple(
        f"{run.path}: {case.words}{f' ({minute(case.when)}{_by(case.who)})' if case.when else ''}"
        for run, case in found
    )
    if kind == "same-readings":
        lines = tuple(_same(each) for each in same)
    if lines:
        yield Heading(f"{about.words[:1].upper()}{about.words[1:]}: {len(lines)}")
        yield Paragraph(f"Look at {about.look}.")
        yield Items(lines)


def _by(who: str) -> str:
    return f" {who}" if who else ""


def _same(same: Same) -> str:
    more = len(same.readings) - SHOWN
    values = ", ".join(map(str, same.readings[:SHOWN])) + (f" and {more} more" if more > 0 else "")
    return f"{', '.join(place.words for place in same.places)}: {values}"


def group_cells(group: Group) -> tuple[str, ...]:
    """A group as its cells: counts, and a rate where there are enough."""
    rate = figure(100 * group.cases / group.readings, 2) if group.cases >= FEW and group.readings else "few"
    runs = f"{group.runs} of {group.of_runs}"
    return (group.by, group.name, KINDS[group.kind].words, str(group.cases), runs, str(group.readings), rate)


HEADER = ("kind", "document", "run", "analyst", "photometer", "month", "rows", "time", "entered by", "what", "look at")


def csv(runs: Sequence[Audited], same: Sequence[Same]) -> str:
    """One line a case, under one header."""
    told = io.StringIO()
    written = csv_.writer(told, lineterminator="\n")
    written.writerow(HEADER)
    written.writerows([unrunnable(value) for value in line.values()] for line in _lines(runs, same))
    return told.getvalue()


def as_data(
    runs: Sequence[Audited], unread: Sequence[Unread], same: Sequence[Same], groups: Sequence[Group]
) -> dict[str, Any]:
    """The same for another program."""
    return {
        "format": 1,
        "runs": [{"document": run.path, "run": run.id, "log": run.log, "readings": run.readings} for run in runs],
        "cases": list(_lines(runs, same)),
        "groups": [group._asdict() for group in groups],
        "unread": [each._asdict() for each in unread],
        "twice": [{"run": name, "documents": paths} for name, paths in audits.twice(runs).items()],
    }


def _lines(runs: Sequence[Audited], same: Sequence[Same]) -> Iterator[dict[str, str]]:
    for run in runs:
        for case in run.cases:
            told = (case.kind, run.path, run.id, run.analyst, run.instrument, run.month)
            more = (" ".join(case.rows), case.when, case.who, case.words, KINDS[case.kind].look)
            yield dict(zip(HEADER, (*told, *more), strict=True))
    known = {run.path: run for run in runs}
    for each in same:
        run = known[each.places[0].path]
        told = ("same-readings", run.path, run.id, run.analyst, run.instrument, run.month)
        rows = " ".join(each.places[0].rows)
        yield dict(zip(HEADER, (*told, rows, "", "", _same(each), KINDS["same-readings"].look), strict=True))
