"""The README's pictures: what stands on the screen and nothing else."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import pytest

from tests.goldens import FIXTURES
from tests.screen.pictures import PICTURES, drawn

NAMES = sorted(PICTURES)


def test_each_picture_is_there_and_no_other() -> None:
    assert sorted(file.stem for file in (FIXTURES / "pictures").iterdir()) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_is_what_the_program_draws(name: str) -> None:
    assert (FIXTURES / "pictures" / f"{name}.svg").read_text(encoding="utf-8") == drawn(name)


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_has_no_frame_no_makers_line_and_no_typeface(name: str) -> None:
    text = (FIXTURES / "pictures" / f"{name}.svg").read_text(encoding="utf-8")
    made = list(ET.fromstring(text).iter())  # noqa: S314 - the project's own file
    assert {each.tag.rpartition("}")[2] for each in made} == {"svg", "rect", "text"}
    assert re.findall(r"font-family=.([^\"']*)", text) == ["monospace"]
    assert re.search(r"generat|@font|https?://(?!www\.w3\.org/2000/svg)|<!--|<style", text, re.IGNORECASE) is None
    words = " ".join(each.text or "" for each in made)
    assert "NEXT" in words
