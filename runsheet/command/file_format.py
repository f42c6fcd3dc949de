"""The command that prints the format of the files a person writes.

Owns: its arguments and what it prints. Invariant: as in `main`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from runsheet import streams
from runsheet.exits import Exit

if TYPE_CHECKING:
    import argparse

FILES = ("document", "method", "laboratory")


def add(commands: Any) -> None:
    """Add the command to the others."""
    made = commands.add_parser("format", help="every table and field of document, method and laboratory file")
    made.add_argument("file_kind", nargs="?", choices=FILES, metavar="KIND", help=f"one only: {', '.join(FILES)}")
    made.add_argument(
        "--as", dest="form", choices=("text", "markdown", "html", "schema"), default="text", help="the form"
    )
    made.set_defaults(command=print_)


def print_(asked: argparse.Namespace) -> int:
    """Print the reference, or the JSON Schema (2020-12) of one file, the document where none is named."""
    import json

    from runsheet.report import file_format, html, markdown, text
    from runsheet.show import json_schema

    if asked.form == "schema":
        file = file_format.FILES[asked.file_kind or "document"]
        made = json_schema.schema(file.cls, f"{file.title} of runsheet")
        streams.data(json.dumps(made, ensure_ascii=False, indent=1) + "\n")
        return Exit.FINE
    blocks = tuple(file_format.blocks([asked.file_kind] if asked.file_kind else FILES))
    if asked.form == "html":
        streams.data(html.write(blocks, "The files of runsheet"))
    else:
        streams.data({"text": text.write, "markdown": markdown.write}[asked.form](blocks))
    return Exit.FINE
