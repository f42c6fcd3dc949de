"""The golden outputs: what each is made of, and the script that writes them anew.

Run `python tests/goldens.py` after a change that is meant to change them, and read the difference before it is kept.
"""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import demo, evaluate, read
from runsheet.report import findings, formats
from runsheet.report.parts import Report

if TYPE_CHECKING:
    from collections.abc import Iterator

FIXTURES = Path(__file__).parents[1] / "fixtures"
ENDINGS = {"text": "txt", "markdown": "md", "html": "html"}


def outputs() -> Iterator[tuple[Path, str]]:
    """Give every golden file and what should stand in it."""
    for name in demo.NAMES:
        run, problems = read(demo.text(name))
        assert run is not None
        sheet = evaluate(run, demo.NOW[name])
        for form, ending in ENDINGS.items():
            yield FIXTURES / "reports" / f"{name}.report.{ending}", formats.FORMATS[form](Report(sheet))
        for form in formats.RESULTS:
            yield FIXTURES / "reports" / f"{name}.results.{form}", steady(formats.RESULTS[form](sheet, problems))
    for document in sorted((FIXTURES / "good").glob("*.toml")):
        run, problems = read(document.read_text())
        assert run is not None
        now = datetime.fromisoformat(document.with_suffix(".now").read_text().strip())
        lines = [*map(str, problems), *findings.lines(evaluate(run, now))]
        yield document.with_suffix(".check.txt"), "".join(f"{line}\n" for line in lines)
    for document in sorted((FIXTURES / "bad").glob("*.toml")):
        if (text := decoded(document)) is not None:
            yield document.with_suffix(".problems.txt"), "".join(f"{problem}\n" for problem in read(text)[1])


def steady(text: str) -> str:
    """Give a text with its long figures cut to nine digits: the last ones differ from one machine to the next."""
    return re.sub(r"-?\d+\.\d{7,}(e-?\d+)?", lambda found: f"{float(found[0]):.9g}", text)


def decoded(document: Path) -> str | None:
    """Give a document's text, or None where it is not UTF-8."""
    try:
        return document.read_bytes().decode()
    except UnicodeDecodeError:
        return None


if __name__ == "__main__":
    for path, text in outputs():
        path.write_text(text, encoding="utf-8", newline="\n")
