"""The history of the folder, on the screen.

Owns: reading more of it where that is asked for, the pages of charts, and the chart below a table. Invariant: reading
is in a thread and can be stopped; without a history the screen is as it is.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from runsheet.report import history as told
from runsheet.report import text
from runsheet.screen.page import Content
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from runsheet.history.cache import Progress
    from runsheet.history.charts import Chart
    from runsheet.screen.context import Context

HEIGHT = 9
"""Lines of the chart below a table."""


def open_history(context: Context) -> None:
    """Show the charts; where documents are not read yet, ask first."""
    if context.session.history is None:
        context.say("the runs of this folder are still being looked at, or there is no reading them")
    elif context.session.history.unread:
        words = f"{context.session.history.unread} runs of this folder are not read yet. Read them now? y/n:"
        context.ask(words, lambda answer: _read(context) if answer.strip().lower().startswith("y") else _list(context))
    else:
        _list(context)


def _read(context: Context) -> None:
    """Read the rest in a thread, the message line saying how far it is; Enter or Escape stops it."""
    context.ask("reading the runs of this folder; Enter or Escape stops", lambda _text: None)
    asked = context.prompt

    def show(progress: Progress) -> bool:
        if asked is not None:  # the next tick of the context shows it
            asked.label = f"reading {progress.done} of {progress.of} runs; Enter or Escape stops"
        return context.prompt is asked

    def read() -> None:
        context.session.load_history(show, every=True)
        if asked is not None:
            asked.label = "read: Enter shows the charts"
            asked.answer = lambda _text: _list(context)

    threading.Thread(target=read, daemon=True).start()


def _list(context: Context) -> None:
    context.session.take_history()
    charts = list(context.session.history.charts(context.session.sheet)) if context.session.history else []
    if not charts:
        context.say("no chart: the runs of this folder before this one have too few figures of its kinds")
        return
    charts.sort(key=lambda chart: not chart.latest)  # what the last point violates comes first
    texts = [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}" for chart in charts]

    def choose(number: int) -> None:
        context.open_page(page(context, charts[number]))

    context.open_page(Content("History: control charts of this folder", texts, choose))


def page(context: Context, chart: Chart) -> Content:
    """One chart as a page."""
    lines = text.write(told.one(chart), ascii_only=context.look.ascii_only).splitlines()
    return Content(chart.series.title, lines)


def below(context: Context, width: int) -> list[str]:
    """What stands below a table: the chart whose last point violates a rule, else of the figure read last."""
    charts = list(context.session.history.charts(context.session.sheet)) if context.session.history else []
    if not charts:
        return []
    chart = max(charts, key=lambda chart: (bool(chart.latest), chart.points[-1].moment))
    drawn = draw(told.plot(chart), max(20, min(100, width)), HEIGHT, ascii_only=context.look.ascii_only)
    return [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}", *drawn]
