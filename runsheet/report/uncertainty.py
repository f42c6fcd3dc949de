"""Uncertainty from a laboratory's own work, for reading, and as the lines a method takes it in.

Owns: `blocks`, `as_data`. Invariant: what is missing is said with what would give it; the figures are an offer.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import tomli_w

from runsheet.compute.rounding import significant
from runsheet.compute.statistics import own_work
from runsheet.figures import counted, figure
from runsheet.report.blocks import Copied, Facts, Heading, Items, Paragraph
from runsheet.show.client_results import ANALYTES

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from runsheet.compute.statistics.own_work import Bias
    from runsheet.history.uncertainty import Evaluation
    from runsheet.report.blocks import Block

SOURCE = "Nordtest TR 537 and ISO 11352"
BOTH = ": a method has one set of these for both fractions"


def blocks(found: Sequence[Evaluation], problems: Sequence[str]) -> Iterator[Block]:
    """Say each evaluation, with the lines for its method."""
    yield Heading("Uncertainty from the laboratory's own work", 1)
    yield Paragraph(
        f"Relative, in percent ({SOURCE}): u(Rw) = sqrt(s(controls)^2 + s(duplicates)^2), s(duplicates) = mean RPD / "
        "1.128; u(bias) = sqrt(bias^2 + u(reference)^2), from n controls sqrt(bias^2 + s^2 / n + u(reference)^2) with "
        "s of their recoveries; u_c = sqrt(u(Rw)^2 + u(bias)^2); U = 2 u_c. It holds for "
        "samples and contents like those of the controls and duplicates it stands on."
    )
    if problems:
        yield Items(tuple(problems))
    if not found:
        yield Paragraph("No run has a control or a duplicate that counts.")
    methods = [each.method for each in found]
    for each in found:
        yield Heading(f"{ANALYTES.get(each.fraction, each.fraction)}, {each.method or 'method not named'}")
        yield Facts(tuple(_facts(each)))
        if lines := toml(each):
            yield Paragraph(
                f"For a method file, as a person decides{BOTH if methods.count(each.method) > 1 else ''}; in a run the "
                "same lines are below [method.uncertainty] and [method.sources]:"
            )
            yield Copied(tuple(lines.splitlines()))


def _facts(each: Evaluation) -> Iterator[tuple[str, str]]:
    parts = each.parts
    yield "Of", f"{counted(each.controls, 'control')}, {counted(each.duplicates, 'duplicate')}{_days(each)}"
    controls, duplicates = each.apart
    apart = [counted(n, what) for n, what in ((controls, "control"), (duplicates, "duplicate")) if n]
    if apart:
        yield "Not in it", f"{' and '.join(apart)} held, superseded or not judged"
    few = f"{each.controls} of {own_work.CONTROLS_FROM} controls"
    yield "s(controls)", _percent(parts.controls) or f"not known: {few}"
    few = f"{each.duplicates} of {own_work.DUPLICATES_FROM} duplicates"
    without = "" if parts.precision is None else "; u(Rw) is without it"
    yield "s(duplicates)", _percent(parts.duplicates) or f"not known: {few}{without}"
    yield "u(Rw)", _percent(parts.precision) or "not known"
    if parts.bias is None:
        yield "u(bias)", f"not known: {each.bias_from}"
    else:
        made = parts.bias
        spread = f", s / sqrt n {figure(made.spread, 3)} %" if made.spread else ""
        of = f"bias {figure(made.size, 3)} %{spread}, reference {figure(made.reference, 3)} %"
        yield "u(bias)", f"{_percent(made.u)}: {of}, from {each.bias_from}"
    yield "u_c", _percent(parts.combined) or "not known: a part is missing"
    yield "U, k = 2", _percent(parts.expanded) or "not known: a part is missing"


def _days(each: Evaluation) -> str:
    return f", {each.first} to {each.last}" if each.first else ""


def _percent(value: float | None) -> str:
    return "" if value is None else f"{figure(value, 3)} %"


def toml(each: Evaluation) -> str:
    """What a method file says of the parts that are known, with what they stand on; nothing where none is."""
    bias = each.parts.bias
    known = {
        "precision_percent": (each.parts.precision, _precision_of(each)),
        "bias_percent": (bias.u, _bias_of(each, bias)) if bias else (None, ""),
    }
    values = {name: Decimal(significant(value, 3)) for name, (value, _) in known.items() if value is not None}
    sources = {f"uncertainty.{name}": f"{known[name][1]}; {SOURCE}" for name in values}
    return tomli_w.dumps({"uncertainty": values, "sources": sources}) if values else ""


def _precision_of(each: Evaluation) -> str:
    """What u(Rw) stands on: duplicates too few to count are none of it."""
    if each.parts.duplicates is None:
        return f"{each.controls} controls{_span(each.control_days)}, without duplicates"
    days = sorted([*each.control_days, *each.duplicate_days])
    return f"{each.controls} controls, {each.duplicates} duplicates{_span(days)}"


def _bias_of(each: Evaluation, bias: Bias) -> str:
    """What u(bias) stands on: rounds with their own days, controls with what they were held against."""
    if each.by_rounds:
        days = each.round_days if len(each.round_days) == each.rounds else ()
        return f"{each.bias_from}{_span(days)}"
    return f"{each.bias_from}{_span(each.control_days)}, reference {figure(bias.reference, 3)} %"


def _span(days: Sequence[str]) -> str:
    return f", {days[0]} to {days[-1]}" if days else ""


def as_data(found: Sequence[Evaluation], problems: Sequence[str]) -> dict[str, Any]:
    """The same for another program, unrounded."""
    rows = [
        {
            "method": each.method,
            "fraction": each.fraction,
            "controls": each.controls,
            "duplicates": each.duplicates,
            "rounds": each.rounds,
            "apart": dict(zip(("controls", "duplicates"), each.apart, strict=True)),
            "s_controls_percent": each.parts.controls,
            "s_duplicates_percent": each.parts.duplicates,
            "precision_percent": each.parts.precision,
            "bias_percent": each.parts.bias.u if each.parts.bias else None,
            "bias_from": each.bias_from,
            "combined_percent": each.parts.combined,
            "expanded_percent": each.parts.expanded,
        }
        for each in found
    ]
    return {"format": 1, "evaluations": rows, "problems": list(problems)}
