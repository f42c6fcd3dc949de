"""What leaves for standard output and standard error.

Owns: the streams as a program finds them, and the one writer for each. Invariant: no text from a file or an argument
steers a terminal; an output that takes nothing is told, and a stream that was closed is never another file's.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
from typing import TYPE_CHECKING, Any

from runsheet.exits import Refusal
from runsheet.figures import visible

if TYPE_CHECKING:
    from collections.abc import Iterable

_MODES = {0: os.O_RDONLY, 1: os.O_RDONLY, 2: os.O_WRONLY}
"""What stands for a stream that was closed: standard output refuses what is written, so that nothing is lost unsaid."""


def prepare() -> None:
    """Put something in the place of every stream that was closed: else the next file opened would get its number."""
    for number, mode in _MODES.items():
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, mode)  # the lowest free number is just this one
    if sys.stdin is None:
        sys.stdin = io.TextIOWrapper(io.FileIO(0, "r"))
    for number, name in ((1, "stdout"), (2, "stderr")):
        if getattr(sys, name) is None:
            setattr(sys, name, io.TextIOWrapper(io.FileIO(number, "w"), errors="backslashreplace"))
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(AttributeError, ValueError):  # a stream that is replaced stays as it is
            _settle(stream)


def _settle(stream: Any) -> None:
    """Have a file or a pipe take UTF-8 and plain line ends whatever the locale; a terminal keeps what it shows."""
    if stream.isatty():
        stream.reconfigure(errors="backslashreplace")
    else:
        stream.reconfigure(encoding="utf-8", newline="\n", errors="backslashreplace")


def lines(texts: Iterable[object]) -> None:
    """Write texts to standard output, each as one line whatever is in it."""
    data("".join(f"{visible(str(text))}\n" for text in texts))


def data(text: str) -> None:
    """Write text to standard output as it is; a terminal is steered by nothing in it but the ends of its lines."""
    if sys.stdout.isatty():
        text = "\n".join(visible(line.removesuffix("\r")) for line in text.split("\n"))
    try:
        sys.stdout.write(text)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise Refusal(_unwritten(error)) from None


def tell(text: object) -> None:
    """Write one line to standard error; where that takes nothing, nobody is there to be told."""
    with contextlib.suppress(OSError, ValueError):
        sys.stderr.write(f"{visible(str(text))}\n")
        sys.stderr.flush()


def finish() -> None:
    """See that standard output has taken all. Raises Refusal, BrokenPipeError."""
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise Refusal(_unwritten(error)) from None


def give_up() -> None:
    """Let standard output swallow what is left, so that leaving writes no more about it."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _unwritten(error: OSError) -> str:
    return f"standard output takes nothing ({error.strerror or error}): what was asked is not written"
