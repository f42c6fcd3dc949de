"""The half-typed entry is written off the way of a key, seldom, and the last one always."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING

from runsheet.run.disk import drafts
from runsheet.run.disk.drafts import DraftFile

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def until(path: Path, data: bytes | None) -> bool:
    """Whether the file comes to hold this, in time."""
    end = time.monotonic() + 10
    while time.monotonic() < end:
        if (path.read_bytes() if path.exists() else None) == data:
            return True
        time.sleep(0.02)
    return False


def test_the_last_of_many_keys_is_written_and_not_each(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    written: list[bytes | None] = []
    real = vars(drafts)["_put"]

    def put(path: Path, data: bytes | None) -> None:
        written.append(data)
        real(path, data)

    monkeypatch.setattr(drafts, "_put", put)
    made = DraftFile(tmp_path / "draft")
    for key in range(200):
        made.keep(b"%d" % key)
    assert until(made.path, b"199")
    assert len(written) < 20
    made.keep(None)
    assert until(made.path, None)


def test_a_key_waits_for_no_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stuck, reached = threading.Event(), threading.Event()

    def put(_path: Path, _data: bytes | None) -> None:
        reached.set()
        stuck.wait(30)

    monkeypatch.setattr(drafts, "_put", put)
    made = DraftFile(tmp_path / "draft")
    made.keep(b"0")
    assert reached.wait(10)
    made.keep(b"0.1")  # returns, though the disk does not
    stuck.set()


def test_closing_writes_at_once(tmp_path: Path) -> None:
    made = DraftFile(tmp_path / "draft")
    made.keep(b"0")
    made.keep(b"0.11")
    made.write()
    assert made.path.read_bytes() == b"0.11"


def test_a_draft_that_was_left_is_forgotten(tmp_path: Path) -> None:
    (tmp_path / "draft").write_bytes(b"left")
    made = DraftFile(tmp_path / "draft")
    made.keep(None)
    made.write()
    assert not made.path.exists()
