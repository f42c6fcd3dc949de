"""What the pages over the panes say.

Owns: the texts of help, explanation, plots and report on the screen. Invariant: words and figures come from the modules
that own them.
"""

from __future__ import annotations

import os
import re
import textwrap
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet.compute.limits import letters
from runsheet.compute.rules import BY_NAME
from runsheet.history.earlier_runs import EXPLAINED, RULE
from runsheet.methods import solvents, standing
from runsheet.report import formats, history, issuing, outline, text
from runsheet.report.making import Report
from runsheet.review import entries
from runsheet.run import kinds
from runsheet.run.disk import files, opening
from runsheet.screen import keys
from runsheet.screen.content import Content
from runsheet.screen.typing_line import agreed
from runsheet.show import columns, curve_plots, explain, findings, stands_on
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from collections.abc import Iterable

    from runsheet.compute.results import Finding, RowResult
    from runsheet.screen.context import Context


def help_texts(context: Context) -> list[str]:
    """The guide to a day, the keys, and what the marks mean."""
    written = resources.files("runsheet.screen").joinpath("help.md").read_text(encoding="utf-8")
    guide = re.sub(r"\{(\w+)\}", lambda found: keys.of(found[1], context.commands), written).splitlines()
    table = [
        f"  {key:16} {title}{f' ({where})' if where else ''}" for key, title, where in keys.table(context.commands)
    ]
    legend = [f"  {short:5} {kinds.WORDS[kind]}" for kind, short in kinds.ABBREVIATIONS.items() if short]
    method = context.session.run.method
    flags = [f"  {letters(method)[flag]:5} {words}" for flag, words in columns.flag_words(method).items()]
    width = max(20, context.width - 2)
    guide = [line for text_line in guide for line in _wrapped(text_line, width)]
    table = [line for text_line in table for line in _wrapped(text_line, width)]
    return [*guide, "", "Keys", *table, "", "Kinds of row", *legend, "", "Flags", *flags]


def _wrapped(line: str, width: int) -> list[str]:
    """Wrap a line of the help under its own words."""
    indent = " " * (len(line) - len(line.lstrip()) + (4 if line[:4].strip().isdigit() else 0))
    return textwrap.wrap(line, width, subsequent_indent=indent) or [""]


def _finding(context: Context, finding: Finding) -> Content:
    """Explain a finding: what its rule says, the value against its limits, the rows, where the limit comes from."""
    rule = BY_NAME.get(finding.rule)
    action = context.session.sheet.action(finding)
    lines = [
        rule.words if rule else EXPLAINED if finding.rule == RULE else "",
        f"verdict: {finding.state}" + (f", {finding.why}" if finding.why else ""),
        f"value {findings.value(finding) or 'none'}, limits {findings.limits(finding) or 'none'}",
        f"rows: {' '.join(finding.rows)}",
        *findings.basis(finding, context.session.run.method),
        f"action taken: {action.taken}" if action else "t notes what was done about it",
    ]
    lines = [keys.in_words(line, context.commands) for line in lines]
    return Content(f"Why: {finding.rule}", [part for line in lines for part in text.wrapped(line, 78)])


def _told(steps: Iterable[explain.Step]) -> list[str]:
    """Write steps for a page: formula, numbers, source."""
    return [line for step in steps for line in (step.formula, f"    {step.numbers}", f"    {step.source}")]


def why(context: Context) -> Content:
    """Explain the present row, step by step, the present cell first."""
    item = context.item
    if context.active == "quality" and item is not None:
        return _finding(context, item)
    if item is None:
        return Content("Why this number", ["there is no row"])
    if context.active == "standards":
        curve = next(c for c in context.session.sheet.calibrations if item in c.standards)
        steps = explain.standard(item, curve, context.session.sheet)
        return Content(f"Why: standard {item.standard.id}", _told(steps) or ["not read yet"])
    if context.active == "setup":
        return Content(f"Why: {item.setup.check}", _told(explain.setup_check(item, context.session.sheet)))
    row: RowResult = item
    column = context.column
    asked = explain.lines(row, context.session.sheet, column.key) if column.explains else []
    all_steps = _told(explain.steps(row, context.session.sheet))
    found = [*asked, "", *all_steps] if asked else all_steps
    wrapped = [part for line in [*found, *_drawn(context, row)] for part in text.wrapped(line, 78)]
    return Content(f"Why this number: {row.id}", wrapped or [explain.lines(row, context.session.sheet, "state")[0]])


def stands_on_page(context: Context) -> Content:
    """What the present result stands on, each with its verdict, and the findings that affect it."""
    row: RowResult = context.item
    none = f"it is {'void' if row.void else 'not read'}, and stands on nothing"
    lines = stands_on.lines(row, context.session.sheet) if row.counted else [none]
    return Content(f"What {row.id} stands on", [part for line in lines for part in text.wrapped(line, 78)])


def _drawn(context: Context, row: RowResult) -> list[str]:
    """What a Monte Carlo of the row's result says of its U, where it has one."""
    if not row.is_reported or not row.expanded:
        return []
    from runsheet.compute.statistics import monte_carlo  # and numpy with it, only where this page is opened
    from runsheet.show import drawn

    made = monte_carlo.propagate(context.session.sheet, DRAWS, only=row.id)
    return [text for each in made for text in ("Monte Carlo", f"    {drawn.words(each, row)}", f"    {drawn.SOURCE}")]


DRAWS = 20_000
"""Draws for one row: the page opens in a moment."""


def plots_of(context: Context) -> list[str]:
    """Draw the calibrations and their residuals."""
    lines: list[str] = []
    for result in context.session.sheet.calibrations:
        for title, plot in (
            (f"Calibration {result.id}: o standard, x left out", curve_plots.calibration(result)),
            (f"Residuals of {result.id}", curve_plots.residuals(result)),
        ):
            if plot is not None:
                lines += [title, *draw(plot, min(100, context.width), 16, ascii_only=context.look.ascii_only), ""]
    return lines


def plot_page(context: Context) -> Content:
    """The plots as a page."""
    return Content("Calibration plot", plots_of(context) or ["no standard is read yet"])


def report(context: Context) -> Content:
    """The report as a page."""
    told = text.write(outline.outline(reported(context)), ascii_only=context.look.ascii_only)
    return Content("Report as it stands", told.splitlines())


def reported(context: Context) -> Report:
    """What a report is made from: the sheet, and what the log beside the document tells."""
    session = context.session
    issue, why = None, ""
    try:
        found = opening.look(files.real(session.path))
        steps = found.log.steps
        issue, why = issuing.issued_as(session.run, session.path, found.data or b"", session.trail, steps)
    except OSError:  # what cannot be read now tells nothing; the sheet is in memory
        steps = ()
    earlier = session.history
    charts = tuple(history.of_run(earlier.charts(session.sheet), earlier.unread)) if earlier else ()
    return Report(session.sheet, entries.audit(steps, session.run), charts, session.trail, issue, why)


def cautions(context: Context) -> Content:
    """The cautions for the run's solvent, and what an infrared result is not."""
    name = context.session.run.solvent.name or ""
    refusal = solvents.refusal(name)
    told = [*([f"REFUSED: {refusal}"] if refusal else []), *solvents.cautions(name), ""]
    told += [str(sentence) for sentence in standing.standing(context.session.run.method.unit)]
    return Content(
        f"Cautions: {name or 'no solvent named'}", [part for line in told for part in text.wrapped(line, 78)]
    )


def report_name(context: Context) -> str:
    """Propose a file for the report, beside the run."""
    return str(context.session.path.with_suffix(".html"))


def write_report(context: Context, name: str) -> None:
    """Write the report in the format its name ends in."""
    form = issuing.ENDINGS.get(Path(name).suffix.lower())
    if form is None:
        context.say(f"not written: a report's name ends in {', '.join(issuing.ENDINGS)}")
        return
    if files.real(Path(name)) in (files.real(context.session.path), files.log_of(files.real(context.session.path))):
        context.say("not written: that is the run itself")
        return
    if os.path.lexists(name):
        words = f"{Path(name).name} is there already. Write over it? y/n:"
        context.ask(
            words,
            lambda answer: _write(context, name, form) if agreed(answer) else context.say("not written"),
            words=True,
        )
    else:
        _write(context, name, form)


def _write(context: Context, name: str, form: str) -> None:
    path, data = files.real(Path(name)), formats.FORMATS[form](reported(context)).encode()
    try:
        files.write_over(files.DISK, path, data)
    except OSError as error:
        context.say(f"not written: {name}: {files.words(error)}")
    else:
        context.say(f"written: {name}")
