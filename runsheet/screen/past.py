"""The history of the folder, on the screen.

Owns: loading it beside the work, the pages of charts, and the chart below a table. Invariant: loading is in a
thread and can be stopped; without a history the screen is as it is.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from runsheet.history import open_run
from runsheet.report import history as told
from runsheet.report import text
from runsheet.run.disk import files
from runsheet.screen.page import Content
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from collections.abc import Callable

    from runsheet.history.cache import Progress
    from runsheet.history.charts import Chart
    from runsheet.history.open_run import Known
    from runsheet.screen.bench import Bench

AT_MOST = 100
"""Documents read without being asked: more are read when a person says so."""
HEIGHT = 9
"""Lines of the chart below a table."""


def begin(bench: Bench) -> None:
    """Load what is known without reading much; called in a thread, beside the work. The bench takes it at a tick."""
    bench.arrived = _loaded(bench, AT_MOST, lambda _progress: True)


def _loaded(bench: Bench, at_most: int | None, progress: Callable[[Progress], bool]) -> Known | None:
    try:
        return open_run.load(files.real(bench.path), bench.run_document, progress, at_most=at_most)
    except OSError:  # the folder is gone or closed: there is no history to be had, and the store says what is wrong
        return None


def open_history(bench: Bench) -> None:
    """Show the charts; where documents are not read yet, ask first."""
    if bench.known is None:
        bench.say("the runs of this folder are still being looked at, or there is no reading them")
    elif bench.known.unread:
        words = f"{bench.known.unread} runs of this folder are not read yet. Read them now? y/n:"
        bench.ask(words, lambda answer: _read(bench) if answer.strip().lower().startswith("y") else _list(bench))
    else:
        _list(bench)


def _read(bench: Bench) -> None:
    """Read the rest in a thread, the message line saying how far it is; Enter or Escape stops it."""
    bench.ask("reading the runs of this folder; Enter or Escape stops", lambda _text: None)
    asked = bench.prompt

    def show(progress: Progress) -> bool:
        if asked is not None:  # the next tick of the bench shows it
            asked.label = f"reading {progress.done} of {progress.of} runs; Enter or Escape stops"
        return bench.prompt is asked

    def read() -> None:
        found = _loaded(bench, None, show)
        if asked is not None:
            asked.label = "read: Enter shows the charts"
            asked.answer = lambda _text: _list(bench)
        bench.arrived = found

    threading.Thread(target=read, daemon=True).start()


def _list(bench: Bench) -> None:
    bench.take_history()
    charts = list(bench.known.charts(bench.sheet)) if bench.known else []
    if not charts:
        bench.say("no chart: the runs of this folder before this one have too few figures of its kinds")
        return
    charts.sort(key=lambda chart: not chart.latest)  # what the last point violates comes first
    texts = [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}" for chart in charts]

    def choose(number: int) -> None:
        bench.open_page(page(bench, charts[number]))

    bench.open_page(Content("History: control charts of this folder", texts, choose))


def page(bench: Bench, chart: Chart) -> Content:
    """Give one chart as a page."""
    lines = text.write(told.one(chart), ascii_only=bench.look.ascii_only).splitlines()
    return Content(chart.series.title, lines)


def below(bench: Bench, width: int) -> list[str]:
    """Give what stands below a table: the chart whose last point violates a rule, else of the figure read last."""
    charts = list(bench.known.charts(bench.sheet)) if bench.known else []
    if not charts:
        return []
    chart = max(charts, key=lambda chart: (bool(chart.latest), chart.points[-1].moment))
    drawn = draw(told.plot(chart), max(20, min(100, width)), HEIGHT, ascii_only=bench.look.ascii_only)
    return [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}", *drawn]
