"""The golden outputs: what each is made of, and the script that writes them anew.

Run `python -m tests.goldens` after a change that is meant to change them, and read the difference before it is kept.
"""

from __future__ import annotations

import re
import tempfile
from datetime import datetime
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from runsheet import demo, evaluate, read
from runsheet.history import cache, charts, studies
from runsheet.report import detection, formats, history, html, markdown, text
from runsheet.report.making import Report
from runsheet.review.trail import NO_TRAIL
from runsheet.show import findings
from tests import many
from tests.history.folder import put
from tests.history.test_studies import NOW as STUDIED
from tests.history.test_studies import capability, study
from tests.make import standards

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from runsheet.compute.results import Sheet
    from runsheet.problem import Problem
    from runsheet.report.blocks import Block

FIXTURES = Path(__file__).parents[1] / "fixtures"
ENDINGS = {"text": "txt", "markdown": "md", "html": "html"}
BLOCKS = ("history", "detection")
WRITERS: dict[str, Callable[[tuple[Block, ...]], str]] = {"txt": text.write, "md": markdown.write, "html": html.write}


def outputs() -> Iterator[tuple[Path, Callable[[], str]]]:
    """Every golden file, and what makes the text that should stand in it."""
    for name in demo.NAMES:
        for form, ending in ENDINGS.items():
            yield FIXTURES / "reports" / f"{name}.report.{ending}", partial(_reported, name, form)
        for form in formats.RESULTS:
            yield FIXTURES / "reports" / f"{name}.results.{form}", partial(_results, name, form)
    for name in BLOCKS:
        for ending, write in WRITERS.items():
            yield FIXTURES / "reports" / f"bench-one.{name}.{ending}", partial(_of_a_folder, name, write)
    for document in sorted((FIXTURES / "good").glob("*.toml")):
        yield document.with_suffix(".check.txt"), partial(_checked, document)
    for document in sorted((FIXTURES / "bad").glob("*.toml")):
        if decoded(document) is not None:
            yield document.with_suffix(".problems.txt"), partial(_problems, document)


@lru_cache
def _demo(name: str) -> tuple[Sheet, list[Problem]]:
    run, problems = read(demo.text(name))
    assert run is not None
    return evaluate(run, demo.NOW[name]), problems


def _reported(name: str, form: str) -> str:
    return formats.FORMATS[form](Report(_demo(name)[0]))


def _results(name: str, form: str) -> str:
    sheet, problems = _demo(name)
    return steady(formats.RESULTS[form](sheet, problems, NO_TRAIL))


def _checked(document: Path) -> str:
    run, problems = read(document.read_text())
    assert run is not None
    now = datetime.fromisoformat(document.with_suffix(".now").read_text().strip())
    return "".join(f"{line}\n" for line in [*map(str, problems), *findings.lines(evaluate(run, now))])


def _problems(document: Path) -> str:
    found = decoded(document)
    assert found is not None
    return "".join(f"{problem}\n" for problem in read(found)[1])


def _of_a_folder(name: str, write: Callable[[tuple[Block, ...]], str]) -> str:
    return write(_blocks()[name])


@lru_cache
def _blocks() -> dict[str, tuple[Block, ...]]:
    """The reports on a folder of invented runs, one of which is half copied."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bench one"
        lab = many.write(folder, 24)
        scattered = standards(ys=(0.026, 0.062, 0.125, 0.251, 0.499))
        study(folder / "study", standard=scattered)
        put(folder / "study", 40, capability(92, 98, 101, 95), standard=scattered)
        (folder / "half.toml").write_text(lab.run(30)[:900], encoding="utf-8")
        tables = cache.bring_up(folder, file=Path(place) / "cache")
        made: dict[str, tuple[Block, ...]] = {
            "history": tuple(history.blocks(tables, charts.all_charts(tables))),
            "detection": tuple(
                detection.blocks(tables, studies.detections(tables, STUDIED), studies.capabilities(tables), STUDIED)
            ),
        }
        tables.close()
    return made


def steady(words: str) -> str:
    """A text with its long figures cut to nine digits: the last ones differ from one machine to the next."""
    return re.sub(r"-?\d+\.\d{7,}(e-?\d+)?", lambda found: f"{float(found[0]):.9g}", words)


def decoded(document: Path) -> str | None:
    """A document's text, or None where it is not UTF-8."""
    try:
        return document.read_bytes().decode()
    except UnicodeDecodeError:
        return None


if __name__ == "__main__":
    for path, made in outputs():
        path.write_text(made(), encoding="utf-8", newline="\n")
