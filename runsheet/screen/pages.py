"""What the pages over the panes say.

Owns: the texts of help, explanation, plots and report on the screen. Invariant: words and figures come from the modules
that own them.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import columns, explain
from runsheet.methods import solvents, standing
from runsheet.plot import draw
from runsheet.report import formats, outline, plots, text
from runsheet.screen import keys
from runsheet.screen.page import Content

if TYPE_CHECKING:
    from runsheet.compute.outcome import RowResult
    from runsheet.screen.bench import Bench

ENDINGS = {".txt": "text", ".md": "markdown", ".html": "html"}


def help_texts(bench: Bench) -> list[str]:
    """Give the guide to a day, the keys, and what the marks mean."""
    guide = resources.files("runsheet.screen").joinpath("help.md").read_text(encoding="utf-8").splitlines()
    table = [f"  {key:16} {title}{f' ({where})' if where else ''}" for key, title, where in keys.table(bench.commands)]
    kinds = [f"  {short:5} {words}" for short, words in columns.KIND_WORDS.items()]
    flags = [f"  {flag:5} {words}" for flag, words in columns.FLAG_WORDS.items()]
    return [*guide, "", "Keys", *table, "", "Kinds of row", *kinds, "", "Flags", *flags]


def why(bench: Bench) -> Content:
    """Explain the present row, step by step, the present cell first."""
    item = bench.grid.item
    if bench.active != "queue" or item is None:
        return Content("Why this number", [bench.cell_words()])
    row: RowResult = item
    column = bench.pane.columns[bench.grid.column]
    asked = explain.lines(row, bench.sheet, column.key) if column.explains else []
    all_steps = [
        line
        for step in explain.steps(row, bench.sheet)
        for line in (step.formula, f"    {step.numbers}", f"    {step.source}")
    ]
    found = [*asked, "", *all_steps] if asked else all_steps
    wrapped = [part for line in found for part in text.wrapped(line, 78)]
    return Content(f"Why this number: {row.id}", wrapped or [explain.lines(row, bench.sheet, "state")[0]])


def plots_of(bench: Bench) -> list[str]:
    """Draw the calibrations and their residuals."""
    lines: list[str] = []
    for result in bench.sheet.calibrations:
        for title, plot in (
            (f"Calibration {result.id}: o standard, x not used", plots.calibration(result)),
            (f"Residuals of {result.id}", plots.residuals(result)),
        ):
            if plot is not None:
                lines += [title, *draw(plot, min(100, bench.size.width), 16, ascii_only=bench.look.ascii_only), ""]
    return lines


def plot_page(bench: Bench) -> Content:
    """Give the plots as a page."""
    return Content("Calibration plot", plots_of(bench) or ["no standard is read yet"])


def report(bench: Bench) -> Content:
    """Give the report as a page."""
    return Content(
        "Report as it stands", text.write(outline.outline(bench.sheet), ascii_only=bench.look.ascii_only).splitlines()
    )


def cautions(bench: Bench) -> Content:
    """Give the cautions for the run's solvent, and what an infrared result is not."""
    name = bench.run_document.solvent.name or ""
    refusal = solvents.refusal(name)
    told = [*([f"REFUSED: {refusal}"] if refusal else []), *solvents.cautions(name), ""]
    told += [str(sentence) for sentence in standing.standing(bench.run_document.method.unit)]
    return Content(
        f"Cautions: {name or 'no solvent named'}", [part for line in told for part in text.wrapped(line, 78)]
    )


def report_name(bench: Bench) -> str:
    """Propose a file for the report, beside the run."""
    return str(bench.path.with_suffix(".html"))


def write_report(bench: Bench, name: str) -> None:
    """Write the report in the format its name ends in."""
    form = ENDINGS.get(Path(name).suffix.lower())
    if form is None:
        bench.say("not written: the name ends in .txt, .md or .html")
        return
    try:
        Path(name).write_text(formats.FORMATS[form](bench.sheet), encoding="utf-8")
    except OSError as error:
        bench.say(f"not written: {name}: {error.strerror}")
    else:
        bench.say(f"written: {name}")
