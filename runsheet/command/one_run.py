"""The commands on one run, and those that need none.

Owns: what each prints where. Invariant: stdout is data and stays empty when a command fails; nothing is written but the
file a person names. Everything a command needs is imported inside it.
"""

from __future__ import annotations

import argparse
import shlex
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from runsheet import streams
from runsheet.command import folder, output
from runsheet.exits import Exit, Refusal

if TYPE_CHECKING:
    from runsheet.compute.results import Sheet
    from runsheet.problem import Problem
    from runsheet.report.blocks import Block
    from runsheet.review.trail import Trail
    from runsheet.run.disk.log import ReadLog
    from runsheet.run.model import Run
    from runsheet.screen.start import Shown


def open_(asked: argparse.Namespace) -> int:
    """Open a run on the screen."""
    if asked.file is not None and "." not in asked.file and not Path(asked.file).exists():
        raise Refusal(f"{asked.file} is neither a file nor a command; runsheet --help lists the commands")
    if not (sys.stdin.isatty() and sys.stdout.isatty() and sys.stderr.isatty()):  # frames go to stderr
        raise Refusal("the screen needs a terminal; see runsheet --help for the commands that do not")
    from runsheet.screen import start

    return start.start(asked.file, _shown(asked), read_only=asked.read_only, port=asked.port)


def _shown(asked: argparse.Namespace) -> Shown:
    """How the screen is to look: as asked for, else as the environment says, before it is set for Textual."""
    from runsheet.screen import start

    return start.Shown(asked.ascii, asked.theme or start.default_theme(), asked.cursor)


def demo(asked: argparse.Namespace) -> int:
    """Show an invented run: on the screen, or as a report where there is no terminal."""
    from runsheet import demo

    name = asked.name or demo.NAMES[0]
    if name not in demo.NAMES:
        raise Refusal(f"no demo run {name!r}; there are {', '.join(demo.NAMES)}")
    if sys.stdin.isatty() and sys.stdout.isatty():
        from runsheet.screen import start

        return start.demo(name, _shown(asked), port=asked.port)
    from runsheet import evaluate, read
    from runsheet.report import formats
    from runsheet.report.making import Report

    document, _ = read(demo.text(name))
    if document is None:
        raise Refusal("the demo run cannot be read")
    streams.data(formats.FORMATS["text"](Report(evaluate(document, demo.NOW[name]))))
    return Exit.FINE


def new(asked: argparse.Namespace) -> int:
    """Make a new run by a method."""
    from runsheet import methods
    from runsheet.methods import laboratory
    from runsheet.run.disk import files, store
    from runsheet.work import new_run

    method = methods.find(asked.method)
    if method is None:
        for problem in methods.all_methods()[1]:  # it may have a file, with an error in it
            streams.tell(f"runsheet: {problem}")
        raise Refusal(f"no method {asked.method!r}; there are {', '.join(methods.names())}")
    path = Path(asked.file)
    house, problems = laboratory.find(files.real(path).parent)
    for problem in problems:
        streams.tell(f"runsheet: {problem}")
    now = datetime.now().astimezone().replace(microsecond=0)
    try:
        store.create(path, new_run.new(new_run.id_of(path), method, now, house.laboratory))
    except FileExistsError as error:
        raise Refusal(f"{path} is there already; a new run is a new file ({error.strerror or error})") from None
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror}") from None
    plain = path.name.endswith(".toml") and not path.name.startswith(".")
    first = ("" if plain else "open ") + ("-- " if str(path).startswith("-") else "")  # `check` alone is a command
    opens = f"runsheet {first}{shlex.quote(str(path))} opens it"
    lost = "" if plain else "; the commands over a folder read NAME.toml only, and pass it over"
    streams.tell(f"{path}: a new run by {method.name}; {opens}{lost}")
    return Exit.FINE


def methods(asked: argparse.Namespace) -> int:
    """Print the methods with their limits and sources."""
    from runsheet import methods
    from runsheet.methods import words

    found, problems = methods.all_methods()
    for problem in problems:
        streams.tell(f"runsheet: {problem}")
    wanted = [method for method in found if asked.name in (None, method.name)]
    if not wanted:
        raise Refusal(f"no method {asked.name!r}; there are {', '.join(methods.names())}")
    for method in wanted:
        streams.lines([*words.lines(method), ""])
    streams.lines(words.solvent_lines())
    return Exit.FINE


def results(asked: argparse.Namespace) -> int:
    """Print everything computed from a run."""
    from runsheet.report import formats

    found, sheet = _evaluated(asked)
    problems = list(found.problems)
    if asked.draws is None:
        streams.data(formats.RESULTS[asked.form](sheet, problems, found.trail))
        return Exit.FINE
    if asked.form not in formats.DRAWN:
        raise Refusal(f"--monte-carlo goes with --as {' or '.join(formats.DRAWN)}, not {asked.form}")
    from runsheet.compute.statistics import monte_carlo  # and numpy with it

    made = monte_carlo.propagate(sheet, asked.draws)
    streams.data(formats.DRAWN[asked.form](sheet, problems, found.trail, made))
    return Exit.FINE


def draws(text: str) -> int:
    """Read a number of draws given as an argument."""
    if not text.isascii() or not text.isdigit() or not LEAST_DRAWS <= int(text[:9]) <= MOST_DRAWS:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a number of draws from {LEAST_DRAWS} to {MOST_DRAWS}")
    return int(text)


LEAST_DRAWS, MOST_DRAWS = 1000, 1_000_000
"""Fewer say little of the ends of an interval; more need memory and no run needs them."""


def check(asked: argparse.Namespace) -> int:
    """Print the findings; a run that fails ends with 1."""
    from runsheet.show import findings

    found, sheet = _evaluated(asked)
    streams.lines([*found.problems, *findings.lines(sheet)])
    return Exit.FAILS if sheet.state == "fail" else Exit.FINE


def report(asked: argparse.Namespace) -> int:
    """Write the report."""
    from runsheet.report import formats, issuing
    from runsheet.report.making import Report
    from runsheet.review import entries

    found, sheet = _evaluated(asked)
    charts: tuple[Block, ...] = ()
    if asked.history is not None:
        sheet, charts = folder.with_history(Path(asked.file), sheet, Path(asked.history))
    told = entries.audit(found.log.steps, found.run)
    issue, why = issuing.issued_as(found.run, found.document, found.data, found.trail, found.log.steps)
    text = formats.FORMATS[asked.form](Report(sheet, told, charts, found.trail, issue, why, asked.short))
    output.write(asked.output, text)
    if asked.output is not None:
        streams.tell(f"{asked.output}: the report is written")
    return Exit.FINE


def log(asked: argparse.Namespace) -> int:
    """Print the edit log, or with --verify what it says of the document, or the document's digest."""
    from runsheet.problem import has_errors
    from runsheet.run.disk import files, log, opening

    path = Path(asked.file)
    if asked.digest:
        return _digest(path)
    try:
        problems = opening.verify(path) if asked.verify else []
        lines = [] if asked.verify else log.lines(files.DISK.read(files.log_of(files.real(path))))
    except FileNotFoundError as error:
        if path.is_dir():
            raise Refusal(f"{path}: a folder stands in the file's place") from None
        if path.exists():
            run = _workable(path)
            if run is not None and run.run.log is not None:  # it had one
                if asked.verify:
                    return _verified(path, broken=True)
                raise Refusal(f"{path}: the log that [run] log names is not there") from None
            begins = "" if run is None else "; one begins when it is opened for work"
            raise Refusal(f"{path}: it has no edit log{begins}") from None
        raise Refusal(f"{path}: {error.strerror}") from None
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    streams.lines(lines or problems)
    return _verified(path, broken=has_errors(problems)) if asked.verify else Exit.FINE


def _workable(path: Path) -> Run | None:
    """The run of a document that is there; None where it cannot be worked on."""
    from runsheet.problem import has_errors
    from runsheet.run.disk import opening

    try:
        found = opening.look(path)
    except OSError:
        return None
    return None if has_errors(found.problems) else found.run


def _digest(path: Path) -> int:
    """Print the digest that reports of a document print, as long as nothing in it is changed."""
    from runsheet.review import signing

    streams.lines([signing.digest(found_at(path).run)])
    return Exit.FINE


def _verified(path: Path, *, broken: bool) -> int:
    """Say what the log says of the document, each change from outside, and what no log can show."""
    from runsheet.report.quality_sections import TRAIL_LIMIT
    from runsheet.review import trail_rule

    if not path.exists():
        return Exit.FAILS  # said above: the log holds the document
    found = found_at(path)
    said = found.trail
    for change in said.outside:
        was = f"{change.path}: {change.old or 'nothing'} to {change.new or 'nothing'}"
        streams.lines([f"changed outside the log, {change.when}: {was}"])
    answered = said.state in ("changed", "broken") and bool(trail_rule.answers(found.run, said))
    acted = ", acted on" if answered else ""
    why = f": {said.why}" if said.why else ""
    streams.lines([f"{path}: {said.words}{why}{acted}", TRAIL_LIMIT])
    fails = said.state in ("changed", "broken") or broken
    return Exit.FAILS if fails and not answered else Exit.FINE


# --- reading ----------------------------------------------------------------------------------------------------


def _evaluated(asked: argparse.Namespace) -> tuple[Readable, Sheet]:
    """Read the document a command names, compute it, and judge it by its log; errors end the command."""
    from runsheet import evaluate
    from runsheet.review import trail_rule

    found = found_at(Path(asked.file))
    sheet = evaluate(found.run, asked.now or datetime.now().astimezone())
    return found, trail_rule.judged(sheet, found.trail)


class Readable(NamedTuple):
    """A run that can be computed from."""

    run: Run
    problems: tuple[Problem, ...]
    log: ReadLog
    trail: Trail
    document: Path
    """The file itself, no link."""
    data: bytes
    """Its bytes, as they are or will be once its log is level with it."""


def found_at(path: Path) -> Readable:
    """Read a document, with what its log has ahead of it and says of it. Nothing is written."""
    from runsheet.review import trail
    from runsheet.run import text
    from runsheet.run.disk import files, store

    try:
        found = store.read_only(path).found
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    if found.run is None or not found.readable:
        for problem in found.problems:
            streams.tell(f"{path}: {problem}")
        raise Refusal(f"{path} cannot be computed from; nothing was changed")
    if found.ahead:
        ahead = f"{found.ahead} entries of its log are ahead of it and are"
        ahead = "1 entry of its log is ahead of it and is" if found.ahead == 1 else ahead
        streams.tell(f"runsheet: {path}: {ahead} counted in")
    for note in found.notes:
        streams.tell(f"runsheet: {path}: {note}")
    said = trail.trail(found.told, found.data)
    data = text.write(found.run).encode() if found.behind else found.data or b""
    return Readable(found.run, found.problems, found.log, said, files.real(path), data)


def moment(text: str) -> datetime:
    """Read a time given as an argument; one without an offset is refused."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date and time, as 2026-03-11T10:24:00+01:00") from None
    if moment.utcoffset() is None:
        raise argparse.ArgumentTypeError(f"{text!r} has no offset: write 2026-03-11T10:24:00+01:00")
    return moment
