"""Who may read what is kept: nobody else the state folder, and a copy of a run whoever may read the run."""

from __future__ import annotations

import os
import stat
from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk import files, opening, saver, store
from runsheet.screen.welcome import remember
from tests.run.disk.test_store import NOW, START, read, until

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(params=[0o000, 0o022, 0o077], ids=oct)
def mask(request: pytest.FixtureRequest) -> Iterator[int]:
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.usefixtures("mask")
@pytest.mark.parametrize("kept", [0o600, 0o640, 0o644, 0o664])
def test_what_is_beside_a_run_has_its_mode_and_the_rest_is_private(
    kept: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = tmp_path / "home" / "state" / "runsheet"
    monkeypatch.setenv("RUNSHEET_STATE", str(state))
    monkeypatch.setattr(saver, "LOOK_EVERY", 0.05)
    folder = tmp_path / "runs"
    folder.mkdir(0o755)
    document = folder / "run.toml"
    document.write_text(f"# a comment\n{START}")
    document.chmod(kept)
    run = store.open_for_writing(document, "I. Varga", NOW)
    read(run, 1, "0.130")
    run.draft("0.1", "queue[2].readings")
    remember(document)
    assert run.flush()
    document.write_text(START.replace("KB-0311", "other"))
    until(lambda: run.conflict)
    read(run, 2, "0.140")
    run.draft("0.1", "queue[2].readings")
    assert run.flush()
    run.keep("ours", NOW)
    assert run.flush()
    whole = files.log_of(document).read_bytes()
    files.log_of(document).write_bytes(b"")  # so that the log goes to the state folder
    until(lambda: run.trouble)
    beside = {path.name: mode(path) for path in folder.iterdir() if path != files.lock_of(document)}
    assert len(beside) == 5  # the run, its log, and a copy each: before the first edit, ours, theirs
    assert set(beside.values()) == {kept}
    private = {path: mode(path) for path in state.iterdir()}
    assert {path.suffix for path in private} == {".rescue", ".draft", ""}
    assert set(private.values()) == {0o600}
    assert {mode(path) for path in (state, state.parent, state.parent.parent)} == {0o700}
    files.log_of(document).write_bytes(whole)
    assert run.close()
    assert [problem for problem in opening.verify(document) if problem.level == "error"] == []


def test_a_new_run_has_what_the_mask_leaves(mask: int, tmp_path: Path) -> None:
    from runsheet import methods
    from runsheet.work import new_run

    method = methods.find("og-water")
    assert method is not None
    store.create(tmp_path / "new.toml", new_run.new("new", method, NOW))
    assert mode(tmp_path / "new.toml") == 0o666 & ~mask
