"""Looking without changing: help, why, plot, report, cautions.

Owns: the commands that open these pages. Invariant: the pages themselves are made by `pages`, and nothing changes but a
report's own file.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from runsheet.screen import pages
from runsheet.screen.content import Content

if TYPE_CHECKING:
    from runsheet.screen.context import Context


def show_help(context: Context) -> None:
    """Open the help."""
    context.open_page(Content("Help", pages.help_texts(context)))


def why(context: Context) -> None:
    """Open the explanation of the present row, its cell first."""
    context.open_page(pages.why(context))


def stands_on_page(context: Context) -> None:
    """Open the list of what the present result stands on, each with its verdict."""
    if context.item is not None:
        context.open_page(pages.stands_on_page(context))


def plot(context: Context) -> None:
    """Open the calibration plot."""
    context.open_page(pages.plot_page(context))


def report(context: Context) -> None:
    """Open the report as it stands."""
    context.open_page(pages.report(context))


def cautions(context: Context) -> None:
    """Open the cautions for the solvent and the standing of the method."""
    context.open_page(pages.cautions(context))


def write_report(context: Context) -> None:
    """Ask for a file and write the report into it; its ending says the format."""
    context.ask(
        "Write the report to (.txt, .md or .html):",
        lambda name: pages.write_report(context, name),
        pages.report_name(context),
    )
