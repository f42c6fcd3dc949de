"""The history of the folder, on the screen.

Owns: reading more of it where that is asked for, the pages of charts, and the chart below a table. Invariant: reading
is in a thread and can be stopped; without a history the screen is as it is.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

from runsheet.compute.sheet import evaluate
from runsheet.figures import figure
from runsheet.history import cache, extract, open_run
from runsheet.history import search as across
from runsheet.report import history as told
from runsheet.report import summary, text
from runsheet.review import trail, trail_rule
from runsheet.run.disk import files, opening
from runsheet.screen.content import Content
from runsheet.screen.session import AT_ONCE
from runsheet.show.plot import draw

if TYPE_CHECKING:
    from runsheet.history.cache import Progress
    from runsheet.history.charts import Chart
    from runsheet.history.rows import PointRow
    from runsheet.screen.context import Context

HEIGHT = 9
"""Lines of the chart below a table."""


def open_history(context: Context) -> None:
    """Show the charts; where documents are not read yet, ask first."""
    if context.session.history is None:
        context.say("the runs of this folder are still being looked at, or there is no reading them")
    elif context.session.history.unread:
        unread = context.session.history.unread
        runs, them = (f"{unread} runs of this folder are", "them") if unread > 1 else ("1 run of this folder is", "it")
        words = f"{runs} not read yet. Read {them} now? y/n:"
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
    """Show the charts, and what is wrong with the folder after them: a run that could not be read is in none."""
    context.session.take_history()
    history = context.session.history
    charts = list(history.charts(context.session.sheet)) if history else []
    wrong = history.wrong if history else ()
    none = "no chart: the runs of this folder before this one have too few figures of its kinds"
    if not charts and not wrong:
        context.say(none)
        return
    charts.sort(key=lambda chart: not chart.latest)  # what the last point violates comes first
    texts = [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}" for chart in charts]

    def choose(number: int) -> None:
        if number < len(charts):
            open_chart(context, charts[number])
        else:
            context.open_page(Content("Of this folder", text.wrapped(wrong[number - len(charts)], 78)))

    title = "control charts of this folder" if charts else none
    context.open_page(Content(f"History: {title}", [*texts, *wrong], choose))


def open_chart(context: Context, chart: Chart) -> None:
    """Show a chart's points, the latest first: what each is, and on Enter its run; the first line is the chart."""
    points = chart.points[::-1]
    bad = {found.at for found in chart.violations}
    texts = ["the chart: limits, plot, what changed"]
    texts += [_point(p, beyond=len(points) - 1 - at in bad) for at, p in enumerate(points)]

    def choose(number: int) -> None:
        if number == 0:
            context.open_page(page(context, chart))
        else:
            context.open_page(run_page(context, points[number - 1]))

    context.open_page(Content(f"{chart.series.title}: {told.status(chart)}", texts, choose))


def _point(point: PointRow, *, beyond: bool) -> str:
    lot = f", lot {point.lot}" if point.lot else ""
    mark = "x" if beyond else "o"
    return f"{mark} {point.at[:10]} {figure(point.value)} {point.unit}  {point.path} {point.row}, {point.analyst}{lot}"


def page(context: Context, chart: Chart) -> Content:
    """One chart as a page."""
    lines = text.write(told.one(chart), ascii_only=context.look.ascii_only).splitlines()
    return Content(chart.series.title, lines)


def run_page(context: Context, point: PointRow) -> Content:
    """The results of the run a point is of, as of its latest reading; nothing of it is changed."""
    folder, _ = open_run.folder_of(files.real(context.session.path))
    try:
        found = opening.look(files.real(folder / point.path))
    except OSError as error:
        return Content(point.path, [f"it cannot be read now: {files.unread(error)}"])
    if found.run is None or not found.readable:
        return Content(point.path, ["it has errors now and cannot be computed from"])
    said = trail.trail(found.told, found.data)
    sheet = trail_rule.judged(evaluate(found.run, extract.latest(found.run)), said)
    blocks = summary.blocks(sheet, list(found.problems), said)
    lines = text.write(blocks, ascii_only=context.look.ascii_only).splitlines()
    return Content(f"{found.run.run.id}, read only, as of its latest reading", lines)


def search(context: Context) -> None:
    """Ask for a sample, lot, person or photometer, and say where it is in the runs of this folder."""
    context.ask("Across the runs of this folder, find:", lambda asked: _search(context, asked.strip()), words=True)


def _search(context: Context, asked: str) -> None:
    if not asked:
        context.say("nothing was asked for")
        return
    folder, deep = open_run.folder_of(files.real(context.session.path))
    try:
        tables = cache.bring_up(folder, at_most=AT_ONCE, deep=deep)
    except OSError as error:
        context.say(f"the runs of this folder cannot be read: {files.unread(error)}")
        return
    try:
        hits = across.samples(tables, asked)
        places, recalled = across.lots(tables, asked), across.recall(tables, asked)
        blocks = told.found(tables, asked, across.runs(tables, asked), hits, places, recalled)
        lines = text.write(blocks, ascii_only=context.look.ascii_only).splitlines()
    finally:
        tables.close()
    context.open_page(Content(f"Across runs: {asked}", lines))


def below(context: Context, width: int) -> list[str]:
    """What stands below a table: the chart whose last point violates a rule, else of the figure read last."""
    charts = list(context.session.history.charts(context.session.sheet)) if context.session.history else []
    if not charts:
        return []
    chart = max(charts, key=lambda chart: (bool(chart.latest), chart.points[-1].moment))
    drawn = draw(told.plot(chart), max(20, min(100, width)), HEIGHT, ascii_only=context.look.ascii_only)
    return [f"{chart.series.short}, {len(chart.points)} points: {told.status(chart)}", *drawn]
