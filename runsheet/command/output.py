"""The file a person names for what a command makes.

Owns: `write`. Invariant: a run, its log, its lock, or anything that reads as one is never written over, by whatever
name or link; the file is the old one or the new one, whole.
"""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import streams
from runsheet.exits import Refusal

if TYPE_CHECKING:
    from argparse import ArgumentParser
    from os import stat_result

_RUN = re.compile(r"^\s*(format\s*=|\[run\]|\[\[(queue|standard|setup|calibration)\]\])", re.MULTILINE)
_LOG = b'{"time": "'
_LOCK = ('"host"', '"pid"', '"heartbeat"')


TABLES = {".csv": "csv", ".json": "json", ".sql": "sql"}
"""The form of what is no report, by the ending of its file."""


def arguments(parser: ArgumentParser, forms: tuple[str, ...]) -> None:
    """Add the form and the file to what a command takes."""
    parser.add_argument("--as", dest="form", choices=forms, help="the form; else by the ending of OUT, else text")
    parser.add_argument("-o", dest="output", metavar="OUT", help="the file to write; else to standard output")
    parser.set_defaults(forms=forms)


def form(output: str | None, forms: tuple[str, ...]) -> str:
    """The form of a file that is asked for by its name alone: a page is no text for its name's sake."""
    if output is None:
        return "text"
    from runsheet.report.issuing import ENDINGS

    ending = (ENDINGS | TABLES).get(Path(output).suffix.lower(), "text")
    return ending if ending in forms else "text"


def write(output: str | None, text: str) -> None:
    """Write to the file named, else to standard output. Raises Refusal where that cannot or must not be."""
    if output is None:
        streams.data(text)
        return
    from runsheet.run.disk import files

    path = files.real(Path(output))
    try:
        if reason := _kept(path, files.DISK.look(path)):
            raise Refusal(f"{output} {reason}; what a command makes needs a file of its own")
        files.write_over(files.DISK, path, text.encode())
    except OSError as error:
        raise Refusal(f"{output}: {error.strerror or error}") from None


def writable(output: str) -> None:
    """Raise Refusal where `write` would refuse, or the folder takes no file: before anything else is done."""
    from runsheet.run.disk import files

    path = files.real(Path(output))
    try:
        reason = _kept(path, files.DISK.look(path))
    except OSError as error:
        raise Refusal(f"{output}: {error.strerror or error}") from None
    if reason:
        raise Refusal(f"{output} {reason}; what a command makes needs a file of its own")
    if not (path.parent.is_dir() and os.access(path.parent, os.W_OK)):
        raise Refusal(f"{output}: its folder is not there or cannot be written to")


def _kept(path: Path, found: stat_result | None) -> str:
    """Why a file must stay as it is; empty where it need not."""
    if path.name.endswith(".log") and path.with_suffix("").exists():
        return f"is the place of the edit log of {path.stem}"
    if found is None:
        return ""
    if not stat.S_ISREG(found.st_mode):
        return "is a folder" if stat.S_ISDIR(found.st_mode) else "is a pipe or a device"
    from runsheet.run.disk import files

    with path.open("rb") as file:
        data = file.read(files.LARGEST_DOCUMENT)
    if data.startswith(_LOG):
        return "is an edit log, or a copy of one"
    told = data.decode(errors="replace").removeprefix("\ufeff")
    if all(word in told[:4096] for word in _LOCK):
        return "is the lock of a run"
    return "is a run" if _RUN.search(told) else ""
