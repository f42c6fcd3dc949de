"""The command line: arguments in, exit code out.

Owns: the commands and what each prints where. Invariant: stdout is data and stays empty when a command fails; stderr is
narration. Everything a command needs is imported inside it, so that `--help` costs no more than a bare interpreter.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from datetime import datetime
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from runsheet import cli_folder
from runsheet.cli_folder import Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from runsheet.compute.outcome import Sheet
    from runsheet.problem import Problem
    from runsheet.report.blocks import Block
    from runsheet.run.log import Trail
    from runsheet.run.model import Run


class Exit(IntEnum):
    """What a command ends with."""

    FINE = 0
    FAILS = 1
    """The run's state is `fail` (`check`), or its log is not whole (`log --verify`)."""
    BAD = 2
    """Bad usage or an unreadable document."""


def run() -> NoReturn:
    """Run the command line and leave."""
    with contextlib.suppress(AttributeError, ValueError):  # a stream that is closed or replaced stays as it is
        sys.stdout.reconfigure(errors="backslashreplace")  # type: ignore[union-attr]
    try:
        code = main(sys.argv[1:])
        sys.stdout.flush()
    except BrokenPipeError:  # the reader of a pipe left: nobody is there to be told
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = Exit.FINE
    except KeyboardInterrupt:
        code = Exit.BAD
    sys.exit(code)


def main(arguments: Sequence[str]) -> int:
    """Run one command; give its exit code."""
    parser = _parser()
    words = list(arguments)
    if not words or words[0] == "--" or (words[0] not in COMMANDS and not words[0].startswith("-")):
        words = ["open", *words]
    asked = parser.parse_args(words)
    try:
        return int(asked.command(asked))
    except Refusal as refusal:
        from runsheet.report.blocks import visible

        print(f"runsheet: {visible(str(refusal))}", file=sys.stderr)
        return Exit.BAD


# --- the commands -----------------------------------------------------------------------------------------------


def _open(asked: argparse.Namespace) -> int:
    if asked.file is not None and "." not in asked.file and not Path(asked.file).exists():
        raise Refusal(f"{asked.file} is neither a file nor a command; the commands are {', '.join(COMMANDS[1:])}")
    if not (sys.stdin.isatty() and sys.stdout.isatty() and sys.stderr.isatty()):  # frames go to stderr
        raise Refusal("the screen needs a terminal; see runsheet --help for the commands that do not")
    from runsheet.screen import start

    return start.start(asked.file, read_only=asked.read_only, ascii_only=asked.ascii, theme=asked.theme)


def _demo(asked: argparse.Namespace) -> int:
    from runsheet import demo

    name = asked.name or demo.NAMES[0]
    if name not in demo.NAMES:
        raise Refusal(f"no demo run {name!r}; there are {', '.join(demo.NAMES)}")
    if sys.stdin.isatty() and sys.stdout.isatty():
        from runsheet.screen import start

        return start.demo(name, ascii_only=asked.ascii, theme=asked.theme)
    from runsheet import evaluate, read
    from runsheet.report import formats
    from runsheet.report.parts import Report

    document, _ = read(demo.text(name))
    if document is None:
        raise Refusal("the demo run cannot be read")
    print(formats.FORMATS["text"](Report(evaluate(document, demo.NOW[name]))), end="")
    return Exit.FINE


def _new(asked: argparse.Namespace) -> int:
    from runsheet import methods
    from runsheet.run import begin, store

    method = methods.find(asked.method)
    if method is None:
        raise Refusal(f"no method {asked.method!r}; there are {', '.join(methods.names())}")
    path = Path(asked.file)
    try:
        store.create(path, begin.new(path.stem, method, datetime.now().astimezone().replace(microsecond=0)))
    except FileExistsError as error:
        raise Refusal(f"{path} is there already; a new run is a new file ({error.strerror or error})") from None
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror}") from None
    print(f"{path}: a new run by {method.name}; runsheet {path} opens it", file=sys.stderr)
    return Exit.FINE


def _methods(asked: argparse.Namespace) -> int:
    from runsheet import methods
    from runsheet.methods import words

    found, problems = methods.all_methods()
    for problem in problems:
        print(f"runsheet: {problem}", file=sys.stderr)
    wanted = [method for method in found if asked.name in (None, method.name)]
    if not wanted:
        raise Refusal(f"no method {asked.name!r}; there are {', '.join(methods.names())}")
    for method in wanted:
        print("\n".join(words.lines(method)))
        print()
    print("\n".join(words.solvent_lines()))
    return Exit.FINE


def _results(asked: argparse.Namespace) -> int:
    from runsheet.report import formats

    sheet, problems = _evaluated(asked)
    print(formats.RESULTS[asked.form](sheet, problems), end="")
    return Exit.FINE


def _check(asked: argparse.Namespace) -> int:
    from runsheet.report import findings

    sheet, problems = _evaluated(asked)
    for line in [*map(str, problems), *findings.lines(sheet)]:
        print(line)
    return Exit.FAILS if sheet.state == "fail" else Exit.FINE


def _report(asked: argparse.Namespace) -> int:
    from runsheet import audit, evaluate
    from runsheet.report import formats
    from runsheet.report.parts import Report

    if asked.output is not None and Path(asked.output).resolve() == Path(asked.file).resolve():
        raise Refusal(f"{asked.output} is the run itself; the report needs a file of its own")
    found = _found(Path(asked.file))
    sheet = evaluate(found.run, asked.now or datetime.now().astimezone())
    charts: tuple[Block, ...] = ()
    if asked.history is not None:
        sheet, charts = cli_folder.with_history(Path(asked.file), sheet, Path(asked.history))
    text = formats.FORMATS[asked.form](Report(sheet, audit.audit(found.trail.steps, found.run), charts))
    if asked.output is None:
        print(text, end="")
        return Exit.FINE
    try:
        Path(asked.output).write_text(text, encoding="utf-8")
    except OSError as error:
        raise Refusal(f"{asked.output}: {error.strerror}") from None
    print(f"{asked.output}: the report is written", file=sys.stderr)
    return Exit.FINE


def _log(asked: argparse.Namespace) -> int:
    from runsheet.problem import has_errors
    from runsheet.run import files, log, opening

    path = Path(asked.file)
    try:
        problems = opening.verify(path) if asked.verify else []
        lines = [] if asked.verify else log.lines(files.DISK.read(files.log_of(files.real(path))))
    except FileNotFoundError as error:
        if path.exists():
            raise Refusal(f"{path}: it has no edit log; one begins when it is opened for work") from None
        raise Refusal(f"{path}: {error.strerror}") from None
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    for line in lines or problems:
        print(line)
    if asked.verify and not has_errors(problems):
        print(f"{path}: the log is whole and leads to the document")
    return Exit.FAILS if has_errors(problems) else Exit.FINE


# --- reading ----------------------------------------------------------------------------------------------------


def _evaluated(asked: argparse.Namespace) -> tuple[Sheet, list[Problem]]:
    """Read the document a command names and compute it; warnings are given, errors end the command."""
    from runsheet import evaluate

    found = _found(Path(asked.file))
    return evaluate(found.run, asked.now or datetime.now().astimezone()), list(found.problems)


class _Readable(NamedTuple):
    """A run that can be computed from."""

    run: Run
    problems: tuple[Problem, ...]
    trail: Trail


def _found(path: Path) -> _Readable:
    """Read a document, with what its log has ahead of it. Nothing is written."""
    from runsheet.run import store

    try:
        found = store.read_only(path).found
    except OSError as error:
        raise Refusal(f"{path}: {error.strerror or error}") from None
    if found.run is None or not found.readable:
        for problem in found.problems:
            print(f"{path}: {problem}", file=sys.stderr)
        raise Refusal(f"{path} cannot be computed from; nothing was changed")
    if found.ahead:
        print(f"runsheet: {path}: {found.ahead} entries of its log are ahead of it and are counted in", file=sys.stderr)
    for note in found.notes:
        print(f"runsheet: {path}: {note}", file=sys.stderr)
    return _Readable(found.run, found.problems, found.trail)


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is no date and time, as 2026-03-11T10:24:00+01:00") from None
    if moment.utcoffset() is None:
        raise argparse.ArgumentTypeError(f"{text!r} has no offset: write 2026-03-11T10:24:00+01:00")
    return moment


# --- arguments --------------------------------------------------------------------------------------------------

COMMANDS = ("open", "demo", "new", "methods", "results", "check", "report", "log", "history", "detection", "find")


def _parser() -> argparse.ArgumentParser:
    from runsheet import __version__

    parser = argparse.ArgumentParser(
        prog="runsheet",
        description="A run sheet for oil and grease and petroleum hydrocarbons by infrared absorbance.",
        epilog="runsheet FILE opens a run on the screen; runsheet alone offers recent runs and a new one.",
    )
    parser.add_argument("--version", action="version", version=f"runsheet {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    opened = commands.add_parser("open", help="open a run on the screen; `runsheet FILE` is the same")
    opened.add_argument("file", nargs="?", help="a run document, NAME.toml")
    opened.add_argument("--read-only", action="store_true", help="look on without writing")
    _screen_arguments(opened)
    opened.set_defaults(command=_open)

    demo = commands.add_parser("demo", help="a copy of an invented run on the screen; without a terminal its report")
    demo.add_argument("name", nargs="?", help="which of the invented runs")
    _screen_arguments(demo)
    demo.set_defaults(command=_demo)

    new = commands.add_parser("new", help="a new run with a method copied in")
    new.add_argument("file", help="the document to make, NAME.toml")
    new.add_argument("--method", required=True, help="a method's name; `runsheet methods` lists them")
    new.set_defaults(command=_new)

    listed = commands.add_parser("methods", help="the methods, their limits, each with its source")
    listed.add_argument("name", nargs="?", help="one method only")
    listed.set_defaults(command=_methods)

    results = _reading(commands, "results", "everything computed from a run")
    results.add_argument("--as", dest="form", choices=("text", "json", "csv"), default="text", help="the form")
    results.set_defaults(command=_results)

    check = _reading(commands, "check", "the findings, one a line; exit code 1 when the run fails")
    check.set_defaults(command=_check)

    report = _reading(commands, "report", "the report")
    report.add_argument("--as", dest="form", choices=("text", "markdown", "html"), default="text", help="the form")
    report.add_argument("-o", dest="output", metavar="OUT", help="the file to write; else to standard output")
    report.add_argument(
        "--history", metavar="FOLDER", help="with control charts, and warnings, from earlier runs there"
    )
    report.set_defaults(command=_report)

    log = commands.add_parser("log", help="the edit log of a run; with --verify whether it is whole")
    log.add_argument("file", help="a run document, NAME.toml")
    log.add_argument("--verify", action="store_true", help="find changed, missing or reordered lines; exit code 1")
    log.set_defaults(command=_log)

    cli_folder.add(commands, _moment)
    return parser


def _screen_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--ascii", action="store_true", help="draw with ASCII characters only")
    parser.add_argument("--theme", choices=("dark", "light", "ansi", "mono"), help="the screen's colours")


def _reading(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words)
    parser.add_argument("file", help="a run document, NAME.toml")
    parser.add_argument("--now", type=_moment, metavar="TIME", help="evaluate as of this time, with its offset")
    return parser
