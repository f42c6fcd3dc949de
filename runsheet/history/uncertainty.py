"""Uncertainty from a laboratory's own work, over a folder of runs: one evaluation for each method and fraction.

Owns: `Evaluation`, `evaluations`, `rounds.toml` (`Round`). Invariant: only results that count in a chart enter; a part
that nothing tells is missing and said, never taken as nothing; figures are offered, and written into no method.

u(Rw) is from controls over the whole procedure, with the ranges of duplicate samples; u(bias) from proficiency rounds
where there are six, else from the controls' recoveries, with the standard uncertainty of their true value as it is
given (Nordtest TR 537 and ISO 11352, from memory). What was superseded, held or not judged is left out here as it is in
the chart's limits, and counted.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from runsheet import tables as typed
from runsheet.compute.statistics import own_work
from runsheet.history.charts import FRACTIONS
from runsheet.history.rows import OF_WORK
from runsheet.run.disk import files
from runsheet.run.model import Fraction, Positive  # noqa: TC001 - as above
from runsheet.tables import Number  # noqa: TC001 - as above

if TYPE_CHECKING:
    from pathlib import Path

    from runsheet.compute.statistics.own_work import Bias, Uncertainty
    from runsheet.history.cache import Tables

ROUNDS = "rounds.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """One result of a proficiency round."""

    name: str
    fraction: Fraction
    assigned: Positive
    """The assigned value, in the result's unit."""
    result: Number
    s_percent: Positive
    """The standard deviation between laboratories, percent of the assigned value."""
    laboratories: Positive
    date: dt.date | None = None
    method: str | None = None
    """The method's name; of every one where it is not given."""
    note: str | None = None

    @property
    def bias(self) -> float:
        """Percent of the assigned value."""
        return 100 * (float(self.result) - float(self.assigned)) / float(self.assigned)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rounds:
    """The file."""

    round: tuple[Round, ...] = ()


class Evaluation(NamedTuple):
    """The uncertainty of one method and fraction, with what it stands on."""

    method: str
    fraction: str
    parts: Uncertainty
    controls: int
    duplicates: int
    rounds: int
    apart: tuple[int, int]
    """Controls and duplicates held, superseded or not judged, which are in none of it."""
    first: str
    last: str
    """The days of the first and last control or duplicate; empty without any."""
    bias_from: str
    """What the bias is from, in words; why there is none."""
    control_days: tuple[str, ...] = ()
    """The days of the first and the last control; empty without any."""
    duplicate_days: tuple[str, ...] = ()
    round_days: tuple[str, ...] = ()
    """Of the rounds that have one."""
    by_rounds: bool = False
    """Whether the bias is from rounds."""


def rounds(folder: Path) -> tuple[tuple[Round, ...], list[str]]:
    """The proficiency rounds of a folder, and what is wrong with the file."""
    try:
        data = files.DISK.read(folder / ROUNDS)
    except FileNotFoundError:
        return (), []
    except OSError as error:
        return (), [f"{ROUNDS}: {files.unread(error)}"]
    found, problems = typed.parse(data.decode(errors="replace"))
    made = typed.table(Rounds, found, "", problems) if found is not None else None
    given = made.round if made else ()
    told = [f"{ROUNDS}: {problem}" for problem in problems]
    told += [
        f"{ROUNDS}: round {each.name}, {FRACTIONS[each.fraction]}, is there {times} times and counts once"
        for each, times in Counter(given).items()
        if times > 1
    ]
    return tuple(dict.fromkeys(given)), told  # the same to its last field: pasted twice, not taken part in twice


def evaluations(tables: Tables, since: str = "", reference: float | None = None) -> tuple[list[Evaluation], list[str]]:
    """One evaluation for each method and fraction with a control or a duplicate, and what is wrong with `rounds.toml`.

    `since` is a day, before which nothing counts; `reference` the standard uncertainty of the controls' true value,
    percent.
    """
    read, problems = rounds(tables.folder)
    query = (
        "SELECT DISTINCT method, fraction FROM series WHERE what IN ('control', 'duplicate') ORDER BY method, fraction"
    )
    pairs = [(str(method), str(fraction)) for method, fraction in tables.rows(query)]
    problems += [f"{ROUNDS}: {_of_nothing(each)}" for each in read if not any(_counts(each, *pair) for pair in pairs)]
    return [_one(tables, method, fraction, since, reference, read) for method, fraction in pairs], problems


def _counts(each: Round, method: str, fraction: str) -> bool:
    """Whether a round is of a method and fraction."""
    return each.fraction == fraction and each.method in (None, method)


def _of_nothing(each: Round) -> str:
    """Say that a round is of none that the runs have, as where its method is mistyped."""
    of = FRACTIONS[each.fraction] + (f" by {each.method}" if each.method else "")
    return f"round {each.name} counts for nothing: no run has a control or duplicate of {of}"


def _one(
    tables: Tables, method: str, fraction: str, since: str, reference: float | None, every: tuple[Round, ...]
) -> Evaluation:
    controls = _values(tables, "control", method, fraction, since)
    control_days = _first_and_last(tables, "control", method, fraction, since)
    duplicates = _values(tables, "duplicate", method, fraction, since)
    duplicate_days = _first_and_last(tables, "duplicate", method, fraction, since)
    days = sorted([*control_days, *duplicate_days])
    mine = [r for r in every if _counts(r, method, fraction)]
    mine = [r for r in mine if not since or r.date is None or r.date.isoformat() >= since]
    undated = sum(r.date is None for r in mine) if since else 0
    bias, words = _bias(controls, mine, reference, undated)
    parts = own_work.Uncertainty(own_work.of_controls(controls), own_work.of_duplicates(duplicates), bias)
    held = [
        tables.rows(f"SELECT count(*) {AMONG}", what, method, fraction, 0, since) for what in ("control", "duplicate")
    ]
    apart = int(str(held[0][0][0])), int(str(held[1][0][0]))
    first, last = (days[0], days[-1]) if days else ("", "")
    return Evaluation(
        method, fraction, parts, len(controls), len(duplicates), len(mine), apart, first, last, words,
        control_days, duplicate_days,
        tuple(sorted(r.date.isoformat() for r in mine if r.date is not None)), len(mine) >= own_work.ROUNDS_FROM,
    )  # fmt: skip


AMONG = (
    f"FROM point WHERE {OF_WORK} AND what = ? AND method = ? AND fraction = ? AND counts = ? AND at >= ? "  # noqa: S608
    "AND path NOT IN (SELECT path FROM twice)"
)
"""The index `point_of_work` answers it alone: of a hundred thousand runs, no row of theirs is looked up."""


def _values(tables: Tables, what: str, method: str, fraction: str, since: str) -> list[float]:
    rows = tables.rows(f"SELECT value {AMONG} ORDER BY at, value", what, method, fraction, 1, since)
    return [value for (value,) in rows]  # type: ignore[misc]  # a column of numbers


def _first_and_last(tables: Tables, what: str, method: str, fraction: str, since: str) -> tuple[str, ...]:
    """The days of the first and the last; none where there is none."""
    asked = (what, method, fraction, 1, since)
    found = [tables.rows(f"SELECT {which}(at) {AMONG}", *asked)[0][0] for which in ("min", "max")]
    return tuple(str(at)[:10] for at in found if at is not None)


def _bias(controls: list[float], mine: list[Round], reference: float | None, undated: int) -> tuple[Bias | None, str]:
    without = f", {undated} of them without a date" if undated else ""
    if len(mine) >= own_work.ROUNDS_FROM:
        made = own_work.bias_of_rounds(
            [r.bias for r in mine], [float(r.s_percent) for r in mine], [float(r.laboratories) for r in mine]
        )
        return made, f"{len(mine)} proficiency rounds{without}"
    few = f"{len(mine)} of {own_work.ROUNDS_FROM} proficiency rounds{without}" if mine else "no proficiency rounds"
    if len(controls) < own_work.CONTROLS_FROM:
        return None, f"{few}, and {len(controls)} of {own_work.CONTROLS_FROM} controls"
    if reference is None:
        return None, f"{few}; for the controls, --reference is the standard uncertainty of their true value, percent"
    return own_work.bias_of_one(controls, reference), f"{len(controls)} controls ({few})"
