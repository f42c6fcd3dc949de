"""The command line: arguments in, exit code out.

Owns: the commands and what each prints where. Invariant: stdout is data and stays empty when a command fails; stderr is
narration. Everything a command needs is imported inside it, so that `--help` costs no more than a bare interpreter.
"""

from __future__ import annotations

import argparse
import difflib
import os
import sys
from functools import cache
from typing import TYPE_CHECKING, Any, NoReturn

from runsheet import processes, streams
from runsheet.command import completion, file_format, folder, issuing, line_by_line, one_run, output
from runsheet.exits import Exit, Refusal
from runsheet.figures import visible

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence


def run() -> NoReturn:
    """Run the command line and leave."""
    processes.collect_seldom()
    streams.prepare()
    try:
        code = _ended(sys.argv[1:])
    except BrokenPipeError:  # the reader of a pipe left: nobody is there to be told
        streams.give_up()
        code = Exit.FINE
    except KeyboardInterrupt:
        code = Exit.BAD
    sys.exit(code)


def _ended(arguments: Sequence[str]) -> int:
    """The exit code of a command, once standard output has taken all of it."""
    try:
        code = main(arguments)
    except SystemExit as end:  # --help, --version, bad usage
        code = end.code if isinstance(end.code, int) else Exit.BAD
    try:
        streams.finish()
    except Refusal as refusal:
        streams.give_up()
        streams.tell(f"runsheet: {refusal}")
        return Exit.BAD
    return code


def main(arguments: Sequence[str]) -> int:
    """Run one command; its exit code."""
    words = list(arguments)
    try:
        if not words or words[0] == "--" or (words[0] not in COMMANDS and not words[0].startswith("-")):
            _no_command(words)
            words = ["open", *words]
        asked = _parser(words[0] if words[0] in COMMANDS else None).parse_args(words)
        if "forms" in asked:
            asked.form = asked.form or output.form(asked.output, asked.forms)
        return int(asked.command(asked))
    except Refusal as refusal:
        streams.tell(f"runsheet: {refusal}")
    except ImportError as error:  # a package that is missing or cannot be loaded: said, not a fault of the run
        streams.tell(f"runsheet: this needs a package that cannot be loaded: {error}")
    return Exit.BAD


def _no_command(words: Sequence[str]) -> None:
    """Refuse a first word that is neither a command nor a file, where it was meant as a command."""
    if not words or words[0] == "--" or "." in words[0] or os.path.lexists(words[0]):
        return
    near = difflib.get_close_matches(words[0], COMMANDS, n=1)
    if near:
        raise Refusal(f"{words[0]}: no such command; did you mean {near[0]}?")
    if len(words) > 1 and not words[1].startswith("-"):
        raise Refusal(f"{words[0]}: no such command; runsheet --help lists them")


class _Parser(argparse.ArgumentParser):
    """A parser that shows no argument raw, and whose help is data like any other."""

    def print_help(self, file: Any = None) -> None:
        """Write the help to standard output."""
        if file is None:
            streams.data(self.format_help())
        else:
            super().print_help(file)

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the arguments, and end."""
        super().error(visible(message))


# --- arguments --------------------------------------------------------------------------------------------------


@cache
def _parser(only: str | None = None) -> argparse.ArgumentParser:
    """The command line, or `only` what one command takes: all of it costs a start a hundredth of a second."""
    from runsheet import __version__

    parser = _Parser(
        prog="runsheet",
        description="A run sheet for oil and grease and petroleum hydrocarbons by infrared absorbance.",
        epilog="runsheet FILE opens a run on the screen; runsheet alone offers recent runs and a new one.",
    )
    parser.add_argument("--version", action="version", version=f"runsheet {__version__}")
    commands: Any = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for names, add in ADDED.items():
        if only is None or only in names:
            add(commands)
    return parser


def _opening(commands: Any) -> None:
    opened = commands.add_parser("open", help="open a run on the screen; `runsheet FILE` is the same")
    opened.add_argument("file", nargs="?", help="a run document, NAME.toml")
    opened.add_argument("--read-only", action="store_true", help="look on without writing")
    _screen_arguments(opened)
    opened.set_defaults(command=one_run.open_)


def _beginning(commands: Any) -> None:
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


def _computing(commands: Any) -> None:
    results = _reading(commands, "results", "everything computed from a run")
    results.add_argument("--as", dest="form", choices=("text", "json", "csv"), default="text", help="the form")
    results.add_argument(
        "--monte-carlo", dest="draws", type=one_run.draws, metavar="N", help="with N draws of every result beside its U"
    )
    results.set_defaults(command=one_run.results)

    check = _reading(commands, "check", "the findings, one a line; exit code 1 when the run fails")
    check.set_defaults(command=one_run.check)

    report = _reading(commands, "report", "the report")
    output.arguments(report, ("text", "markdown", "html"))
    report.add_argument(
        "--history", metavar="FOLDER", help="with control charts, and warnings, from earlier runs there"
    )
    report.add_argument("--short", action="store_true", help="the client's pages only")
    report.set_defaults(command=one_run.report)


def _logging(commands: Any) -> None:
    log = commands.add_parser("log", help="the edit log of a run; with --verify whether it is whole")
    log.add_argument("file", help="a run document, NAME.toml")
    one = log.add_mutually_exclusive_group()  # with both, nothing was verified and the exit code was 0
    one.add_argument(
        "--verify",
        action="store_true",
        help="what it says of the document, each change from outside; exit code 1 where one was, or it is broken",
    )
    one.add_argument("--digest", action="store_true", help="the SHA-256 of the document that its reports print")
    log.set_defaults(command=one_run.log)


def _folders(commands: Any) -> None:
    folder.add(commands, one_run.moment)


def _completing(commands: Any) -> None:
    completion.add(commands, _parser)


ADDED: dict[tuple[str, ...], Callable[[Any], None]] = {
    ("open",): _opening,
    ("type",): line_by_line.add,
    ("demo", "new", "methods"): _beginning,
    ("results", "check", "report"): _computing,
    ("log",): _logging,
    ("issue", "issued"): issuing.add,
    ("history", "detection", "find", "audit", "baseline", "uncertainty"): _folders,
    ("format",): file_format.add,
    ("completion",): _completing,
}
"""The commands by what adds them; a test holds that each adds just these."""
COMMANDS = tuple(name for names in ADDED for name in names)


def _screen_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--ascii", action="store_true", help="draw with ASCII characters only")
    parser.add_argument(
        "--from",
        dest="port",
        metavar="PORT",
        help="readings from the photometer: /dev/ttyUSB0@9600, a FIFO, tcp:HOST:PORT; none: not those of the "
        "laboratory file",
    )
    parser.add_argument("--theme", choices=("dark", "light", "ansi", "mono"), help="the screen's colours")
    parser.add_argument("--cursor", action="store_true", help="with the terminal's own cursor, for screen readers")


def _reading(
    commands: argparse._SubParsersAction[argparse.ArgumentParser], name: str, words: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=words)
    parser.add_argument("file", help="a run document, NAME.toml")
    parser.add_argument("--now", type=one_run.moment, metavar="TIME", help="evaluate as of this time, with its offset")
    return parser
