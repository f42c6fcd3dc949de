"""Whether characters beyond ASCII are drawn: by what the terminal says, not by what Python made of it."""

from __future__ import annotations

import io
import sys

import pytest

from runsheet.screen import terminal

NAMES = ("LC_ALL", "LC_CTYPE", "LANG", "TERM")


@pytest.mark.parametrize(
    ("said", "drawn"),
    [
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8"}, False),  # what Python makes of LANG=C
        ({"LANG": "POSIX", "LC_CTYPE": "C.UTF-8"}, False),
        ({"LANG": "C"}, False),
        ({"LC_ALL": "C", "LANG": "en_GB.UTF-8"}, False),
        ({"LANG": "en_GB.UTF-8"}, True),
        ({"LANG": "C.UTF-8"}, True),
        ({"LC_ALL": "C.UTF-8", "LANG": "C", "LC_CTYPE": "C.UTF-8"}, True),
        ({"LC_CTYPE": "UTF-8"}, True),  # as one system has it where nobody chose
        ({"LANG": "C", "LC_CTYPE": "de_DE.UTF-8"}, True),
        ({"LANG": "en_GB.UTF-8", "TERM": "vt220"}, False),
    ],
)
def test_what_is_drawn(said: dict[str, str], drawn: bool, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: FBT001
    for name in NAMES:
        monkeypatch.delenv(name, raising=False)
    for name, value in ({"TERM": "xterm-256color"} | said).items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "__stderr__", io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert terminal.shows_utf8() == drawn
