"""The command line: arguments in, exit code out.

Owns: the commands and what each prints where. Invariant: stdout is data and stays empty when a command fails; stderr is
narration. Everything a command needs is imported inside it, so that `--help` costs no more than a bare interpreter.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import sys
from typing import TYPE_CHECKING, NoReturn

from runsheet.command import folder, one_run
from runsheet.exits import Exit, Refusal

if TYPE_CHECKING:
    from collections.abc import Sequence


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
        from runsheet.figures import visible

        print(f"runsheet: {visible(str(refusal))}", file=sys.stderr)
        return Exit.BAD


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
    opened.set_defaults(command=one_run.open_)

    demo = commands.add_parser("demo", help="a copy of an invented run on the screen; without a terminal its report")
    demo.add_argument("name", nargs="?", help="which of the invented runs")
    _screen_arguments(demo)
    demo.set_defaults(command=one_run.demo)

    new = commands.add_parser("new", help="a new run with a method copied in")
    new.add_argument("file", help="the document to make, NAME.toml")
    new.add_argument("--method", required=True, help="a method's name; `runsheet methods` lists them")
    new.set_defaults(command=one_run.new)

    listed = commands.add_parser("methods", help="the methods, their limits, each with its source")
    listed.add_argument("name", nargs="?", help="one method only")
    listed.set_defaults(command=one_run.methods)

    results = _reading(commands, "results", "everything computed from a run")
    results.add_argument("--as", dest="form", choices=("text", "json", "csv"), default="text", help="the form")
    results.set_defaults(command=one_run.results)

    check = _reading(commands, "check", "the findings, one a line; exit code 1 when the run fails")
    check.set_defaults(command=one_run.check)

    report = _reading(commands, "report", "the report")
    report.add_argument("--as", dest="form", choices=("text", "markdown", "html"), default="text", help="the form")
    report.add_argument("-o", dest="output", metavar="OUT", help="the file to write; else to standard output")
    report.add_argument(
        "--history", metavar="FOLDER", help="with control charts, and warnings, from earlier runs there"
    )
    report.set_defaults(command=one_run.report)

    log = commands.add_parser("log", help="the edit log of a run; with --verify whether it is whole")
    log.add_argument("file", help="a run document, NAME.toml")
    log.add_argument("--verify", action="store_true", help="find changed, missing or reordered lines; exit code 1")
    log.set_defaults(command=one_run.log)

    folder.add(commands, one_run.moment)
    return parser


def _screen_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--ascii", action="store_true", help="draw with ASCII characters only")
    parser.add_argument("--theme", choices=("dark", "light", "ansi", "mono"), help="the screen's colours")


def _reading(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words)
    parser.add_argument("file", help="a run document, NAME.toml")
    parser.add_argument("--now", type=one_run.moment, metavar="TIME", help="evaluate as of this time, with its offset")
    return parser
