"""The commands over a folder of runs: history, detection, find.

Owns: their arguments and what they print. Invariant: as in `main`; nothing is written but the cache of the folder and
the file a person names.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runsheet import streams
from runsheet.command import output
from runsheet.exits import Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

    from runsheet.compute.results import Sheet
    from runsheet.history.cache import Progress, Tables
    from runsheet.history.charts import Series
    from runsheet.history.rows import PointRow
    from runsheet.report.blocks import Block

BLOCKS = ("text", "markdown", "html")
"""What every one of these commands writes."""


def history(asked: argparse.Namespace) -> int:
    """Print the control charts of a folder, or its tables for another program."""
    from runsheet.compute.statistics.control_charts import RULES
    from runsheet.history import charts, export, findings
    from runsheet.report import history as told
    from runsheet.report import history_data

    if unknown := [number for number in asked.rules if number not in RULES]:
        raise Refusal(f"no run rule {unknown[0]}; there are {', '.join(map(str, RULES))}")
    with _tables(asked) as tables:
        if asked.form == "csv":
            _tell(findings.findings(tables))
            return _out(asked, export.points(tables))
        if asked.form == "sql":
            return _out(asked, "".join(f"{line}\n" for line in export.sql(tables)))
        made = charts.all_charts(tables, asked.points, asked.rules, asked.of)
        if asked.form == "json":
            return _json(asked, history_data.charts(tables, made))
        return _out(asked, _written(asked, told.blocks(tables, made, asked.of)))


def detection(asked: argparse.Namespace) -> int:
    """Print the detection studies and demonstrations of capability of a folder."""
    from runsheet.compute.statistics import demonstration
    from runsheet.compute.statistics.detection_study import Options
    from runsheet.history import studies
    from runsheet.report import detection as told
    from runsheet.report import history_data

    criteria = {
        "interim": demonstration.INTERIM_8000D,
        "1664-oil-grease": demonstration.OIL_GREASE_1664B,
        "1664-petroleum": demonstration.PETROLEUM_1664B,
    }
    with _tables(asked) as tables:
        now = asked.now or datetime.now().astimezone()
        options = Options(recent_blanks=asked.recent_blanks, percentile=asked.percentile)
        found = studies.detections(tables, now, options)
        shown = studies.capabilities(tables, criteria[asked.criteria], now.date())
        if asked.form == "json":
            return _json(asked, history_data.studies(tables, found, shown))
        return _out(asked, _written(asked, told.blocks(tables, found, shown, now)))


def find(asked: argparse.Namespace) -> int:
    """Print where a text is, and the issued results that stand on it; exit code 1 where it is nowhere."""
    from runsheet.history import search
    from runsheet.report import history as told

    if not asked.text.strip():
        raise Refusal("nothing was asked for")
    with _tables(asked) as tables:
        runs, hits = search.runs(tables, asked.text), search.samples(tables, asked.text)
        places, recalled = search.lots(tables, asked.text), search.recall(tables, asked.text)
        _out(asked, _written(asked, told.found(tables, asked.text, runs, hits, places, recalled)))
        return 0 if runs or hits or places or recalled else 1


def audit(asked: argparse.Namespace) -> int:
    """Print what a data-integrity review looks for in a folder of runs."""
    from runsheet.history import audit as audits
    from runsheet.report import audit as told

    try:
        runs, unread = audits.audited(Path(asked.folder), _progress())
    except OSError as error:
        raise Refusal(f"{asked.folder}: {error.strerror or error}") from None
    except KeyboardInterrupt:
        raise Refusal("stopped; nothing is kept of it") from None
    same, groups = list(audits.same_readings(runs)), list(audits.grouped(runs))
    if asked.form == "csv":
        _tell(told.not_judged(runs, unread))
        return _out(asked, told.csv(runs, same))
    if asked.form == "json":
        return _json(asked, told.as_data(runs, unread, same, groups))
    return _out(asked, _written(asked, told.blocks(runs, unread, same, groups)))


def uncertainty(asked: argparse.Namespace) -> int:
    """Print the uncertainty a laboratory's own controls, duplicates and rounds tell."""
    from runsheet.history import findings
    from runsheet.history import uncertainty as own
    from runsheet.report import uncertainty as told

    with _tables(asked) as tables:
        found, wrong = own.evaluations(tables, asked.since or "", asked.reference)
        problems = [*findings.findings(tables), *wrong]
    if asked.form == "json":
        return _json(asked, told.as_data(found, problems))
    return _out(asked, _written(asked, told.blocks(found, problems)))


def day(text: str) -> str:
    """Read a day, as it is compared with others."""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a day, as 2026-01-31") from None


def percent(text: str) -> float:
    """Read a standard uncertainty in percent."""
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = -1.0
    if not 0 <= value < 100:
        raise argparse.ArgumentTypeError(f"{text!r}: expected percent from 0 to below 100, as 1.5")
    return value


def baseline(asked: argparse.Namespace) -> int:
    """Freeze the points of a kind of chart as its baseline."""
    from runsheet.history import baselines
    from runsheet.run.disk import files

    with _tables(asked) as tables:
        found = _to_freeze(asked, tables)
    known = {(point.path, point.row) for points in found.values() for point in points}
    causes = {(path, row): cause for path, row, cause in asked.leave_out}
    if unknown := [f"{path}:{row}" for path, row in causes if (path, row) not in known]:
        raise Refusal(f"{unknown[0]} is none of the points to freeze")
    before = baselines.read(tables.folder)
    if before.problems:
        raise Refusal(f"{before.problems[0]}; put that right first")
    made, now = [], datetime.now().astimezone().replace(microsecond=0)
    for series, points in found.items():
        try:
            made.append((series.title, baselines.freeze(series, points, causes, asked.by, asked.why, now)))
        except ValueError as error:
            streams.tell(f"{series.title}: not frozen, {error}")
    if not made:
        raise Refusal("no chart has points enough; nothing was written")
    path = tables.folder / baselines.NAME
    data = baselines.text((*before.baselines, *(each for _, each in made))).encode()
    try:
        files.write_over(files.DISK, path, data)
    except OSError as error:
        raise Refusal(f"{path}: {files.words(error)}") from None
    for title, each in made:
        streams.tell(f"{title}: {len(each.values)} points are its baseline now, in {path}")
    return 0


def _to_freeze(asked: argparse.Namespace, tables: Tables) -> dict[Series, list[PointRow]]:
    """The latest points of each chart that is asked for, up to the day that is asked for."""
    from runsheet.history import charts

    every = charts.all_series(tables)
    wanted = [series for series in every if series.what == asked.of and asked.fraction in ("", series.fraction)]
    if not wanted:
        raise Refusal(f"no point of {charts.named_kind(asked.of, asked.fraction)} counts; nothing was written")
    found = {}
    for series in wanted:
        until = [p for p in charts.points_of(tables, series, every[series]) if not asked.to or p.at[:10] <= asked.to]
        found[series] = until[-asked.points :]
    return found


def left_out(text: str) -> tuple[str, str, str]:
    """Read a point left out of a baseline, as `day-3.toml:LCS1=spiking solution spoilt`."""
    place, equals, cause = text.partition("=")
    path, colon, row = place.rpartition(":")
    if not (equals and colon and path and row and any(sign.isalpha() for sign in cause)):
        raise argparse.ArgumentTypeError(f"{text!r}: expected DOCUMENT:ROW=its assigned cause, in words")
    return path, row, cause.strip()


def words(text: str) -> str:
    """Read words that have a letter."""
    if not any(sign.isalpha() for sign in text):
        raise argparse.ArgumentTypeError(f"{text!r} has no word in it")
    return text.strip()


def with_history(document: Path, sheet: Sheet, folder: Path) -> tuple[Sheet, tuple[Block, ...]]:
    """A run's sheet with what its folder's history says of it, and its control charts for the report."""
    from runsheet.history import open_run
    from runsheet.report import history as told

    try:
        found = open_run.load(document, sheet.run, _progress(), folder=folder)
    except OSError as error:
        raise Refusal(f"{folder}: {error.strerror or error}") from None
    _tell(found.wrong)
    return found.judged(sheet), tuple(told.of_run(found.charts(sheet), found.unread))


@contextlib.contextmanager
def _tables(asked: argparse.Namespace) -> Iterator[Tables]:
    """The folder's tables, brought up to date with progress on a terminal; refused where it cannot be read."""
    from runsheet.history import cache

    try:
        made = cache.bring_up(Path(asked.folder), _progress())
    except OSError as error:
        raise Refusal(f"{asked.folder}: {error.strerror or error}") from None
    except KeyboardInterrupt:
        raise Refusal("stopped; what was read is kept for the next time") from None
    with contextlib.closing(made) as tables:
        yield tables


def _tell(lines: Iterable[str]) -> None:
    """Say what a table of points or cases has no line for: without it, the table seems to be of every document."""
    for line in lines:
        streams.tell(f"runsheet: {line}")


def _progress() -> Callable[[Progress], bool]:
    if not sys.stderr.isatty():
        return lambda _progress: True

    def show(progress: Progress) -> bool:
        last = progress.done == progress.of
        if last or progress.done % 20 == 0:
            words = f"\rreading {progress.done} of {progress.of} runs; Ctrl+C stops"
            print(words if not last else "\r" + " " * len(words) + "\r", end="", file=sys.stderr, flush=True)
        return True

    return show


def _written(asked: argparse.Namespace, blocks: Iterable[Block]) -> str:
    from runsheet.report import html, markdown, text

    told: Sequence[Block] = tuple(blocks)
    if asked.form == "html":
        of = Path(asked.folder).resolve()  # "." has no name of its own
        return html.write(told, f"{asked.command_name} of {of.name or of}   {datetime.now().astimezone():%Y-%m-%d}")
    return {"text": text.write, "markdown": markdown.write}[asked.form](told)


def _json(asked: argparse.Namespace, data: dict[str, Any]) -> int:
    import json

    return _out(asked, json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n")


def _out(asked: argparse.Namespace, told: str) -> int:
    output.write(asked.output, told)
    if asked.output is not None:
        streams.tell(f"{asked.output}: written")
    return 0


# --- arguments --------------------------------------------------------------------------------------------------


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser], moment: Callable[[str], datetime]) -> None:
    """Add the commands to the parser; `moment` reads a time."""
    from runsheet.history.rows import SERIES

    charted = _over(
        commands, "history", "control charts over a folder of runs", history, (*BLOCKS, "csv", "sql", "json")
    )
    charted.add_argument("--of", choices=tuple(SERIES), help="one kind of chart only")
    charted.add_argument("--points", type=_count, default=100, metavar="N", help="the latest N points of each (100)")
    charted.add_argument("--rules", type=_rules, default=(1, 2, 3, 5), metavar="1,2,3,5", help="the run rules, 1 to 8")

    words_ = "detection studies and demonstrations over a folder of runs"
    studied = _over(commands, "detection", words_, detection, (*BLOCKS, "json"))
    studied.add_argument("--now", type=moment, metavar="TIME", help="as of this time, with its offset")
    studied.add_argument(
        "--recent-blanks", action="store_true", help="in a verification, blanks of six months or the fifty latest"
    )
    studied.add_argument("--percentile", action="store_true", help="99th percentile of 100 blanks or more")
    studied.add_argument(
        "--criteria",
        choices=("interim", "1664-oil-grease", "1664-petroleum"),
        default="interim",
        help="what a demonstration is judged by",
    )

    _over(
        commands,
        "audit",
        "what a data-integrity review looks for, over a folder of runs",
        audit,
        (*BLOCKS, "csv", "json"),
    )

    told = "uncertainty from the laboratory's own controls, duplicates and proficiency rounds (rounds.toml)"
    own = _over(commands, "uncertainty", told, uncertainty, (*BLOCKS, "json"))
    own.add_argument("--since", type=day, metavar="DATE", help="nothing before this day, 2026-01-01")
    own.add_argument(
        "--reference", type=percent, metavar="PERCENT", help="standard uncertainty of the controls' true value"
    )

    frozen = commands.add_parser("baseline", help="freeze the points of a control chart, to judge later ones by them")
    frozen.add_argument("folder", help="a folder; run documents in it and below are read")
    frozen.add_argument("--of", choices=tuple(SERIES), required=True, help="the kind of chart")
    frozen.add_argument("--fraction", choices=("oil_grease", "petroleum"), default="", help="of one fraction only")
    frozen.add_argument("--by", type=words, required=True, metavar="NAME", help="who freezes it")
    frozen.add_argument("--why", type=words, required=True, metavar="WORDS", help="why these points")
    frozen.add_argument("--to", type=day, metavar="DATE", help="the last day of it, 2026-06-30")
    frozen.add_argument("--points", type=_count, default=100, metavar="N", help="the latest N points until then (100)")
    frozen.add_argument(
        "--leave-out", type=left_out, action="append", default=[], metavar="DOCUMENT:ROW=CAUSE", help="a point, and why"
    )
    frozen.set_defaults(command=baseline, command_name="baseline")

    found = _over(commands, "find", "where a sample, a lot, a run is, and which issued results stand on it", find)
    found.add_argument("text", help="an id, a site, a lot, an analyst, a photometer; * stands for anything")


def _over(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    words: str,
    command: Callable[[argparse.Namespace], int],
    forms: tuple[str, ...] = BLOCKS,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words)
    parser.add_argument("folder", help="a folder; run documents in it and below are read")
    output.arguments(parser, forms)
    parser.set_defaults(command=command, command_name=name)
    return parser


def _count(text: str) -> int:
    if not text.isdecimal() or int(text) < 2:
        raise argparse.ArgumentTypeError(f"{text!r} is no number of points from 2 on")
    return int(text)


def _rules(text: str) -> tuple[int, ...]:
    try:
        return tuple(int(part) for part in text.split(","))
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no list of rules, as 1,2,3,5") from None
