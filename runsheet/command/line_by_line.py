"""The command that works on a run line by line.

Owns: how it opens a run, and the loop. Invariant: same store, log and lock as the screen; the end of the input ends it
as :quit does, and what could not be kept is told.
"""

from __future__ import annotations

import io
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from runsheet import streams
from runsheet.exits import Exit, Refusal

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator
    from typing import TextIO

    from runsheet.run.disk.store import Store


def add(commands: Any) -> None:
    """Add the command to the others."""
    made = commands.add_parser(
        "type",
        help="work on a run line by line: for screen readers, braille, scripts",
        epilog="It takes no --from: what a photometer sends is looked at before it is a reading, and here each number "
        "is accepted at once. A script that is sure of its photometer can write the lines itself.",
    )
    made.add_argument("file", help="a run document, NAME.toml")
    made.set_defaults(command=type_)


def type_(asked: argparse.Namespace) -> int:
    """Work on a run, one line in, lines out."""
    from runsheet.run.disk import lock
    from runsheet.screen import start
    from runsheet.screen.linear import Linear
    from runsheet.screen.session import Session

    path, who = Path(asked.file), lock.login()["account"]
    lines = _lines(sys.stdin)
    opened = _opened(path, lines)
    try:
        session = Session(opened, path, lambda: datetime.now().astimezone(), who)
        session.load_history()
        session.take_history()
        linear = Linear(session, _say)
        linear.begin()
        for line in lines:
            linear.line(line)
            if linear.left is not None:
                break
    finally:
        opened.close()
    for line in start.told(opened):
        streams.tell(line)
    return linear.left or (Exit.BAD if opened.unkept else Exit.FINE)


def _opened(path: Path, lines: Iterator[str]) -> Store:
    """Open the run; the first of the lines answers where a lock was left behind."""
    from runsheet.run.disk import store
    from runsheet.screen import start
    from runsheet.screen.typing_line import agreed

    def ask(words: str) -> bool:
        _say(words)
        _say(start.TAKE_OVER)
        return agreed(next(lines, ""))

    try:
        return start.for_writing(path, ask)
    except store.CannotOpenError as error:
        for problem in error.problems:
            streams.tell(f"{path}: {problem}")
        raise Refusal(f"{error}; nothing was changed") from None


def _say(line: str) -> None:
    streams.lines([line])
    streams.finish()


def _lines(source: TextIO) -> Iterator[str]:
    """The lines of the input; of one without an end only the beginning, which is told to be too long."""
    if isinstance(source, io.TextIOWrapper):  # a byte that is no text is shown, and refused with its line
        source.reconfigure(errors="surrogateescape")
    while line := source.readline(1 << 16):
        rest = line
        while not rest.endswith("\n") and (rest := source.readline(1 << 16)):
            pass
        yield line
