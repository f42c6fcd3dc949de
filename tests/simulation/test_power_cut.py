"""The power cut at every file call of a day: every state opens, nothing accepted is lost, and torn is not changed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from runsheet.run.disk import rescue, store
from tests.effort import FULL
from tests.simulation.days import DAYS, Lost, cut, recorded
from tests.simulation.power_cut import Call, Recording

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(autouse=True)
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The whole disk of a machine, the state folder on it two folders deep."""
    folder = tmp_path / "machine"
    folder.mkdir()
    monkeypatch.setenv("RUNSHEET_STATE", str(folder / "home" / "state"))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.setenv("RUNSHEET_MEMORY", str(tmp_path / "none"))
    return folder


@pytest.mark.parametrize("day", list(DAYS) if FULL else ["plain", "full"])
def test_no_power_cut_loses_anything(day: str, machine: Path) -> None:
    told = cut(machine, day, each=1)
    assert told.states > 90
    assert told.torn > 3
    assert (told.rescued > 10) == (day != "plain")


@pytest.mark.parametrize(
    ("name", "day"),
    [
        ("sync_data", "plain"),
        ("sync_folder", "plain"),
        ("sync", "full"),
        ("sync_folder", "full"),
        ("make_folder", "full"),
    ],
)
def test_the_simulation_finds_a_sync_that_is_left_out(
    name: str, day: str, machine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A program that does not wait for the disk, by calls that are made and not waited for."""
    if name == "make_folder":

        def unsynced(disk: Recording, path: Path) -> None:
            path.mkdir(exist_ok=True)
            disk.calls.append(Call(name, path=path))

        monkeypatch.setattr(Recording, name, unsynced)
    else:
        monkeypatch.setattr(Recording, name, lambda *_: None)
    with pytest.raises(Lost):
        cut(machine, day, each=6)


def test_a_rescue_cut_short_counts_up_to_there(machine: Path) -> None:
    document, _, _ = recorded(machine, "full")
    (kept,) = rescue.known(document)
    whole = store.read_only(document).found
    assert whole.rescued
    kept.write_bytes(kept.read_bytes()[:-30] + b"\0" * 30)
    assert store.read_only(document).found.rescued == whole.rescued - 1
