"""What holds for every test: nothing of the person who runs them is touched, and all of them run the same each time."""

from __future__ import annotations

import gc
import itertools
import os
import signal
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from runsheet import processes
from tests.effort import FULL, tries

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

settings.register_profile("full", deadline=None, derandomize=True, max_examples=100)
settings.register_profile("everyday", parent=settings.get_profile("full"), max_examples=tries(100))
settings.load_profile("full" if FULL else "everyday")


def pytest_addoption(parser: pytest.Parser, pluginmanager: pytest.PytestPluginManager) -> None:
    """Know the number of processes also where nothing is there to start them: then it is one."""
    if not pluginmanager.hasplugin("xdist"):
        parser.addoption("--numprocesses", help="not used: pytest-xdist is not there")
        parser.addoption("--dist", help="not used: pytest-xdist is not there")


processes.collect_seldom()  # as the program does
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as well: the cores are the other tests'


def pytest_collection_finish() -> None:
    """Leave what is there before the first test out of every later look for unused objects."""
    gc.freeze()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Twice the cores: half of the time a test waits for a terminal."""
    return 2 * (os.cpu_count() or 1)


@pytest.fixture(scope="session", autouse=True)
def _own_folders(tmp_path_factory: pytest.TempPathFactory) -> None:
    for name in ("RUNSHEET_STATE", "RUNSHEET_CONFIG", "RUNSHEET_CACHE"):
        os.environ.setdefault(name, str(tmp_path_factory.mktemp(name)))  # pytest removes it, some runs later


@pytest.fixture(scope="session", autouse=True)
def _signals() -> None:
    """The signals that a shell or nohup has its jobs ignore: the programs of a test would inherit that."""
    for name, how in (("SIGINT", signal.default_int_handler), ("SIGQUIT", signal.SIG_DFL), ("SIGHUP", signal.SIG_DFL)):
        number = getattr(signal, name, None)  # Windows has but one of them
        if number is not None and signal.getsignal(number) is signal.SIG_IGN:
            signal.signal(number, how)


@pytest.fixture(scope="session")
def _memories(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Names for folders; the factory itself would look through all its others for each new one."""
    base = tmp_path_factory.mktemp("memory")
    return (base / str(number) for number in itertools.count())


@pytest.fixture(autouse=True)
def _own_memory(_memories: Iterator[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder of the test's own in the place of the shared memory: what it leaves there is of no other test."""
    memory = next(_memories)
    memory.mkdir()
    monkeypatch.setenv("RUNSHEET_MEMORY", str(memory))
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
