"""The printable page: self-contained, and nothing from a run gets out of the place it is shown in."""

from __future__ import annotations

import re
from datetime import datetime
from html.parser import HTMLParser

import pytest

from runsheet import demo, evaluate, read
from runsheet.report import formats, html
from runsheet.report.blocks import Heading, Table
from runsheet.report.making import Report
from runsheet.review import signing
from tests.make import NOW, row
from tests.make import run as made_run

HOSTILE = '"; } </style><script>alert(1)</script> @import url(http://x.invalid/) \\22 \n\x1b[2J'


class Reader(HTMLParser):
    """Collects the elements, their attributes, and the text of the style sheet."""

    def __init__(self) -> None:
        """Start empty."""
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.style = ""
        self._in_style = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.tags.append(tag)
        self.attributes += attrs
        self._in_style = tag == "style"

    def handle_endtag(self, tag: str) -> None:
        """Leave it."""
        self._in_style &= tag != "style"

    def handle_data(self, text: str) -> None:
        """Keep the style sheet."""
        self.style += text if self._in_style else ""


def parsed(page: str) -> Reader:
    """Read a page as a browser would."""
    reader = Reader()
    reader.feed(page)
    return reader


def page(name: str) -> str:
    """Write an invented day's report."""
    run, _ = read(demo.text(name))
    assert run is not None
    return formats.FORMATS["html"](Report(evaluate(run, demo.NOW[name])))


@pytest.mark.parametrize("name", demo.NAMES)
def test_the_page_loads_nothing_and_runs_nothing(name: str) -> None:
    found = parsed(page(name))
    assert "svg" in found.tags
    assert not {"script", "link", "img", "iframe", "object", "embed"} & set(found.tags)
    names = {attribute for attribute, _ in found.attributes}
    assert not {each for each in names if each.startswith("on")} | names & {"src", "style"}
    places = [f"#{value}" for attribute, value in found.attributes if attribute == "id"]
    assert len(places) == len(set(places))
    assert {value for attribute, value in found.attributes if attribute == "href"} <= set(places)
    assert not re.search(r"url\(|@import", found.style)


def test_every_printed_page_says_the_run_the_digest_and_its_number() -> None:
    run, _ = read(demo.text("soil-day"))
    assert run is not None
    style = parsed(page("soil-day")).style
    assert signing.digest(run)[:16] in style.replace(" ", "").replace("\\2d", "-")
    assert 'content: "page " counter(page) " of " counter(pages)' in style
    assert not re.search(r"[^-]size:", style)  # A4 or US Letter, whichever is in the printer
    assert "h1, h2, h3 { break-after: avoid; }" in style


def test_a_hostile_run_id_stays_inside_its_quotes() -> None:
    run = made_run([row(HOSTILE, 0.1)], run={"id": HOSTILE, "title": HOSTILE})
    found = parsed(formats.FORMATS["html"](Report(evaluate(run, datetime.fromisoformat(NOW)))))
    assert "script" not in found.tags
    assert found.tags.count("style") == 1
    content = re.search(r"@top-left \{ content: (\"[^\"]*\");", found.style)
    assert content is not None
    assert not re.search(r"[^A-Za-z0-9 \\\"]", content[1])
    assert "\x1b" not in found.style


def test_columns_nothing_stands_in_are_left_out() -> None:
    table = Table(("a", "b"), (("1", ""), ("2", "")), (True, False))
    told = html.write([Heading("T", 1), table])
    assert "<th" in told
    assert ">b<" not in told
